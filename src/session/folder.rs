//! The real storage: plain files in one folder, an advisory lock, fsync of files and folders. New files are private to their owner, and
//! only plain files are opened.

use super::storage::{Stamp, Storage, refuse_name};
use crate::system::{self, Links, private, sync_folder};
use std::collections::BTreeMap;
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// The file that is locked while a session is being written.
pub const LOCK: &str = "lock";
/// Most files listed in one session. A day's work has a few hundred clips.
const MOST_FILES: usize = 100_000;
/// Deepest folder listed.
const DEEPEST: usize = 4;

/// A session's folder on disk.
#[derive(Debug)]
pub struct Folder {
    path: PathBuf,
    open: BTreeMap<String, File>,
    lock: Option<File>,
}

impl Folder {
    /// The folder at `path`, which need not exist yet. Touches nothing.
    pub fn at(path: impl Into<PathBuf>) -> Self {
        Folder { path: path.into(), open: BTreeMap::new(), lock: None }
    }

    /// Creates the folder and its missing parents, and syncs the parent of each.
    pub fn create(path: impl Into<PathBuf>) -> io::Result<Self> {
        let path = path.into();
        private::folder(&path)?;
        // An existing folder may come from a program that was killed before it synced.
        if let Some(above) = path.canonicalize()?.parent() {
            sync_folder(above)?;
        }
        Ok(Self::at(path))
    }

    /// A warning for the user if others on this machine can read the record.
    pub fn open_to_others(&self) -> Option<String> {
        private::open_to_others(&self.path)
    }

    /// Opens or creates a file in the folder.
    fn open_file(&self, name: &str, options: &mut OpenOptions) -> io::Result<File> {
        private::open(&self.path_of(name)?, options).map_err(|error| no_plain_file(name, error))
    }

    /// The path of a plain name. Fails if any part of it below the folder is a link.
    fn path_of(&self, name: &str) -> io::Result<PathBuf> {
        refuse_name(name)?;
        let mut path = self.path.clone();
        for part in name.split('/') {
            path.push(part);
            match fs::symlink_metadata(&path) {
                Ok(about) if about.file_type().is_symlink() => {
                    return Err(io::Error::new(
                        io::ErrorKind::InvalidFilename,
                        format!("{name:?}: it is a link, not a plain file"),
                    ));
                }
                Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
                _ => {}
            }
        }
        Ok(path)
    }

    /// The open handle of an existing file.
    fn handle(&mut self, name: &str) -> io::Result<&mut File> {
        if !self.open.contains_key(name) {
            let file = self.open_file(name, OpenOptions::new().append(true))?;
            self.open.insert(name.to_owned(), file);
        }
        self.open.get_mut(name).ok_or_else(|| io::ErrorKind::NotFound.into())
    }

    fn list_into(&self, under: &Path, prefix: &str, depth: usize, found: &mut Vec<String>) -> io::Result<()> {
        for item in fs::read_dir(under)? {
            let item = item?;
            let name = format!("{prefix}{}", item.file_name().to_string_lossy());
            if item.file_type()?.is_dir() && depth < DEEPEST {
                self.list_into(&item.path(), &format!("{name}/"), depth + 1, found)?;
            } else {
                found.push(name);
            }
            if found.len() > MOST_FILES {
                return Err(io::Error::other(format!("there are more than {MOST_FILES} files in it")));
            }
        }
        Ok(())
    }
}

/// The error for a folder, pipe or device in place of a file, with the file's name.
fn no_plain_file(name: &str, error: io::Error) -> io::Error {
    match error.kind() {
        io::ErrorKind::InvalidInput | io::ErrorKind::IsADirectory => {
            io::Error::new(io::ErrorKind::InvalidFilename, format!("{name:?}: {error}"))
        }
        _ => error,
    }
}

/// Whether the path still leads to the open file. A deleted or moved file still accepts bytes without an error.
#[cfg(unix)]
fn still_there(file: &File, path: &Path) -> io::Result<()> {
    use std::os::unix::fs::MetadataExt;
    let (held, there) = (file.metadata()?, fs::symlink_metadata(path)?);
    if (held.dev(), held.ino()) == (there.dev(), there.ino()) { Ok(()) } else { Err(io::ErrorKind::NotFound.into()) }
}

#[cfg(not(unix))]
fn still_there(_: &File, path: &Path) -> io::Result<()> {
    fs::symlink_metadata(path).map(|_| ())
}

#[cfg(unix)]
fn stamp_of(about: &fs::Metadata) -> Stamp {
    use std::os::unix::fs::MetadataExt;
    let changed = [about.mtime(), about.mtime_nsec(), about.ctime(), about.ctime_nsec()];
    Stamp { file: (about.dev(), about.ino()), length: about.len(), changed }
}

#[cfg(not(unix))]
fn stamp_of(about: &fs::Metadata) -> Stamp {
    let since = about.modified().ok().and_then(|at| at.duration_since(std::time::UNIX_EPOCH).ok()).unwrap_or_default();
    let changed = [i64::try_from(since.as_secs()).unwrap_or(i64::MAX), i64::from(since.subsec_nanos()), 0, 0];
    Stamp { file: (0, 0), length: about.len(), changed }
}

impl Storage for Folder {
    fn place(&self) -> String {
        self.path.display().to_string()
    }

    fn lock(&mut self) -> io::Result<()> {
        if self.lock.is_some() {
            return Ok(());
        }
        let file = self.open_file(LOCK, OpenOptions::new().create(true).truncate(false).write(true))?;
        match file.try_lock() {
            Ok(()) => {
                self.lock = Some(file);
                Ok(())
            }
            Err(TryLockError::WouldBlock) => Err(io::ErrorKind::WouldBlock.into()),
            Err(TryLockError::Error(error)) => Err(error),
        }
    }

    fn list(&mut self) -> io::Result<Vec<String>> {
        let mut found = Vec::new();
        self.list_into(&self.path, "", 1, &mut found)?;
        found.sort();
        Ok(found)
    }

    fn read(&mut self, name: &str, limit: u64) -> io::Result<Vec<u8>> {
        system::read(&self.path_of(name)?, limit, Links::Refuse).map_err(|error| no_plain_file(name, error))
    }

    fn stamp(&mut self, name: &str) -> io::Result<Stamp> {
        Ok(stamp_of(&fs::symlink_metadata(self.path_of(name)?)?))
    }

    fn create(&mut self, name: &str) -> io::Result<()> {
        let path = self.path_of(name)?;
        if let Some(above) = path.parent()
            && above != self.path
        {
            private::folder(above)?;
        }
        let file = private::create(&path).map_err(|error| no_plain_file(name, error))?;
        self.open.insert(name.to_owned(), file);
        Ok(())
    }

    fn append(&mut self, name: &str, bytes: &[u8]) -> io::Result<()> {
        self.handle(name)?.write_all(bytes)
    }

    fn truncate(&mut self, name: &str, length: u64) -> io::Result<()> {
        self.handle(name)?.set_len(length)
    }

    fn sync(&mut self, name: &str) -> io::Result<()> {
        let path = self.path_of(name)?;
        let file = self.handle(name)?;
        file.sync_all()?;
        still_there(file, &path)
    }

    fn rename(&mut self, from: &str, to: &str) -> io::Result<()> {
        self.open.remove(from);
        self.open.remove(to);
        fs::rename(self.path_of(from)?, self.path_of(to)?)
    }

    fn unlink(&mut self, name: &str) -> io::Result<()> {
        self.open.remove(name);
        fs::remove_file(self.path_of(name)?)
    }

    fn sync_names(&mut self, folder: &str) -> io::Result<()> {
        if folder.is_empty() { sync_folder(&self.path) } else { sync_folder(&self.path_of(folder)?) }
    }
}
