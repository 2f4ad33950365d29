//! Private files: folders get mode 0700 and files 0600, whatever the umask. Also warns about existing ones that others can read.

use super::put::{Readers, folder_of, own, put, sync_folder};
use super::read::{Links, open_plain};
use std::fs::{self, File, OpenOptions};
use std::io::{self, ErrorKind};
use std::path::Path;

/// Mode of a folder.
#[cfg(unix)]
const FOLDER: u32 = 0o700;

/// Creates a private folder and its missing parents, with their names synced to disk. Existing folders are left as they are.
///
/// # Errors
/// The system's error.
pub fn folder(path: &Path) -> io::Result<()> {
    let missing: Vec<&Path> =
        path.ancestors().take_while(|p| !p.as_os_str().is_empty() && fs::symlink_metadata(p).is_err()).collect();
    for folder in missing.into_iter().rev() {
        match make(folder) {
            // Another process was faster.
            Err(error) if error.kind() == ErrorKind::AlreadyExists => continue,
            made => made?,
        }
        sync_folder(folder_of(folder))?;
    }
    // The name may belong to something other than a folder.
    if fs::metadata(path)?.is_dir() { Ok(()) } else { Err(ErrorKind::NotADirectory.into()) }
}

#[cfg(unix)]
fn make(folder: &Path) -> io::Result<()> {
    use std::os::unix::fs::{DirBuilderExt, PermissionsExt};
    fs::DirBuilder::new().mode(FOLDER).create(folder)?;
    // A umask can also clear the owner's bits.
    let mode = fs::symlink_metadata(folder)?.permissions().mode();
    if mode & 0o777 == FOLDER { Ok(()) } else { fs::set_permissions(folder, fs::Permissions::from_mode(FOLDER)) }
}

#[cfg(not(unix))]
fn make(folder: &Path) -> io::Result<()> {
    fs::create_dir(folder)
}

/// Opens a plain file with these options. If they create it, it is private. Follows no link.
///
/// # Errors
/// The file is a folder, a pipe, a socket, a device or a link, in words; or the system's error.
pub fn open(path: &Path, options: &mut OpenOptions) -> io::Result<File> {
    let new = fs::symlink_metadata(path).is_err();
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(options, super::put::FILE);
    let file = open_plain(path, Links::Refuse, options)?;
    if new {
        own(&file)?;
    }
    Ok(file)
}

/// Creates an empty private file. Replaces a plain file with the same name.
///
/// # Errors
/// The name belongs to a folder, a pipe, a socket, a device or a link, in words; or the system's error.
pub fn create(path: &Path) -> io::Result<File> {
    match open_plain(path, Links::Refuse, OpenOptions::new().read(true)) {
        Ok(_) => fs::remove_file(path)?,
        Err(error) if error.kind() == ErrorKind::NotFound => {}
        Err(error) => return Err(error),
    }
    open(path, OpenOptions::new().append(true).create_new(true))
}

/// Writes one of the program's own files, private, completely or not at all. Replaces a file with the same name.
///
/// # Errors
/// The system's error.
pub fn whole(path: &Path, content: &[u8]) -> io::Result<()> {
    folder(folder_of(path))?;
    put(path, content, Readers::Owner, true)
}

/// A warning if others on this machine can read a file or folder, with the command that fixes it. A folder that others may enter counts if
/// something in it can be read.
pub fn open_to_others(path: &Path) -> Option<String> {
    let name = path.display();
    let about = fs::metadata(path).ok()?;
    if about.is_dir() {
        let inside = || fs::read_dir(path).into_iter().flatten().flatten().map(|entry| entry.path());
        (is_open(path) && inside().any(|path| is_open(&path)))
            .then(|| format!("{name} can be read by others on this machine; type: chmod -R go-rwx {name}"))
    } else {
        is_open(path).then(|| format!("{name} can be read by others on this machine; type: chmod 600 {name}"))
    }
}

#[cfg(unix)]
fn is_open(path: &Path) -> bool {
    use std::os::unix::fs::PermissionsExt;
    fs::symlink_metadata(path).is_ok_and(|about| !about.is_symlink() && about.permissions().mode() & 0o077 != 0)
}

#[cfg(not(unix))]
fn is_open(_: &Path) -> bool {
    false
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use std::os::unix::fs::PermissionsExt;

    fn mode(path: &Path) -> u32 {
        fs::symlink_metadata(path).unwrap().permissions().mode() & 0o777
    }

    fn set(path: &Path, mode: u32) {
        fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
    }

    /// The umask belongs to the whole process, so tests/private.rs tries them in its own process.
    #[test]
    fn what_is_made_is_the_owners_alone_and_what_is_there_stays() {
        let temp = tempfile::tempdir().unwrap();
        let deep = temp.path().join("a/b/c");
        set(temp.path(), 0o755);
        folder(&deep).unwrap();
        folder(&deep).unwrap();
        assert_eq!([mode(temp.path()), mode(&temp.path().join("a")), mode(&deep)], [0o755, 0o700, 0o700]);
        let file = deep.join("d/e");
        whole(&file, b"1").unwrap();
        set(&file, 0o644);
        whole(&file, b"2").unwrap();
        assert_eq!((mode(&file), fs::read(&file).unwrap()), (0o600, b"2".to_vec()));
        let appended = deep.join("f");
        open(&appended, OpenOptions::new().append(true).create(true)).unwrap();
        assert_eq!(mode(&appended), 0o600);
        assert!(folder(&file).is_err());
    }

    #[test]
    fn what_others_can_read_is_said_with_the_command_that_mends_it() {
        let temp = tempfile::tempdir().unwrap();
        let (folder, file) = (temp.path().join("s"), temp.path().join("s/f"));
        fs::create_dir(&folder).unwrap();
        fs::write(&file, b"x").unwrap();
        for (of_folder, of_file, said) in
            [(0o755, 0o600, None), (0o700, 0o644, None), (0o755, 0o644, Some("chmod -R go-rwx "))]
        {
            set(&folder, of_folder);
            set(&file, of_file);
            let sentence = open_to_others(&folder);
            assert_eq!(sentence.is_some(), said.is_some(), "{of_folder:o} {of_file:o} {sentence:?}");
            assert!(said.is_none_or(|said| sentence.unwrap().contains(said)));
        }
        assert!(open_to_others(&file).unwrap().ends_with(&format!("chmod 600 {}", file.display())));
        set(&file, 0o600);
        assert_eq!(open_to_others(&file), None);
        assert_eq!(open_to_others(&temp.path().join("none")), None);
    }
}
