//! The real storage: plain files in one folder, advisory lock, fsync of files and of folders.

use super::storage::{Stamp, Storage, refuse_name};
use std::collections::BTreeMap;
use std::fs::{self, File, OpenOptions, TryLockError};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

/// The file that is locked while a session is written.
pub const LOCK: &str = "lock";
/// Most files that are listed in one session; clips of a day's work are some hundreds.
const MOST_FILES: usize = 100_000;
/// Deepest folder that is listed.
const DEEPEST: usize = 4;

/// A session's folder on disk.
#[derive(Debug)]
pub struct Folder {
    path: PathBuf,
    open: BTreeMap<String, File>,
    lock: Option<File>,
}

impl Folder {
    /// The folder at `path`, which need not be there yet; nothing is touched.
    pub fn at(path: impl Into<PathBuf>) -> Self {
        Folder { path: path.into(), open: BTreeMap::new(), lock: None }
    }

    /// Makes the folder, and syncs the folder it is in.
    pub fn create(path: impl Into<PathBuf>) -> io::Result<Self> {
        let path = path.into();
        fs::create_dir_all(&path)?;
        if let Some(above) = path.canonicalize()?.parent() {
            sync_directory(above)?;
        }
        Ok(Self::at(path))
    }

    /// The path of a plain name, once it is sure that no part of it below the folder is a link.
    fn path_of(&self, name: &str) -> io::Result<PathBuf> {
        refuse_name(name)?;
        let mut path = self.path.clone();
        for part in name.split('/') {
            path.push(part);
            match fs::symlink_metadata(&path) {
                Ok(about) if about.file_type().is_symlink() => {
                    return Err(io::Error::new(io::ErrorKind::InvalidFilename, format!("{name:?} is a link")));
                }
                Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
                _ => {}
            }
        }
        Ok(path)
    }

    /// The open handle of a file that is there.
    fn handle(&mut self, name: &str) -> io::Result<&mut File> {
        if !self.open.contains_key(name) {
            let file = OpenOptions::new().append(true).open(self.path_of(name)?)?;
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

/// Returns once the names in a folder are on disk. Windows has no such call; its file systems journal names by themselves.
fn sync_directory(path: &Path) -> io::Result<()> {
    if cfg!(unix) { File::open(path)?.sync_all() } else { Ok(()) }
}

/// Whether the path still leads to the open file: one that was deleted or moved away still takes bytes without a complaint.
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
        let file = OpenOptions::new().create(true).truncate(false).write(true).open(self.path_of(LOCK)?)?;
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
        let path = self.path_of(name)?;
        let about = fs::symlink_metadata(&path)?;
        if !about.is_file() {
            return Err(io::Error::new(io::ErrorKind::InvalidFilename, format!("{name:?} is not a file")));
        }
        let mut bytes = Vec::new();
        File::open(path)?.take(limit.saturating_add(1)).read_to_end(&mut bytes)?;
        if bytes.len() as u64 > limit { Err(io::ErrorKind::FileTooLarge.into()) } else { Ok(bytes) }
    }

    fn stamp(&mut self, name: &str) -> io::Result<Stamp> {
        Ok(stamp_of(&fs::symlink_metadata(self.path_of(name)?)?))
    }

    fn create(&mut self, name: &str) -> io::Result<()> {
        let path = self.path_of(name)?;
        if let Some(above) = path.parent()
            && above != self.path
        {
            fs::create_dir_all(above)?;
        }
        self.open.remove(name);
        drop(OpenOptions::new().write(true).create(true).truncate(true).open(&path)?);
        self.handle(name).map(|_| ())
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

    fn remove(&mut self, name: &str) -> io::Result<()> {
        self.open.remove(name);
        fs::remove_file(self.path_of(name)?)
    }

    fn sync_folder(&mut self, name: &str) -> io::Result<()> {
        let mut folder = self.path_of(name)?;
        while folder.pop() {
            sync_directory(&folder)?;
            if folder == self.path {
                return Ok(());
            }
        }
        Ok(())
    }
}
