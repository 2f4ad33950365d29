//! Files that appear completely or not at all: written next to the target under an unguessable name, synced, then renamed.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::Path;

/// Mode of a private file.
#[cfg(unix)]
pub(super) const FILE: u32 = 0o600;

/// Who may read the written file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Readers {
    /// The readers of the file it replaces, otherwise those that the umask allows.
    AsUsual,
    /// Only its owner.
    Owner,
}

/// Writes `content` next to `path`, syncs it, and renames it: replacing an existing file, or only if there is none.
pub(super) fn put(path: &Path, content: &[u8], readers: Readers, replace: bool) -> io::Result<()> {
    let folder = folder_of(path).canonicalize()?;
    let mut how = tempfile::Builder::new();
    how.prefix(".probeside-").suffix(".part");
    #[cfg(unix)]
    if readers == Readers::AsUsual {
        how.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    }
    // On any error the temporary file is removed when it is dropped.
    let mut beside = how.tempfile_in(&folder)?;
    match readers {
        Readers::Owner => own(beside.as_file())?,
        Readers::AsUsual if replace => beside.as_file().set_permissions(fs::symlink_metadata(path)?.permissions())?,
        Readers::AsUsual => {}
    }
    beside.write_all(content)?;
    beside.as_file().sync_all()?;
    let named = if replace { beside.persist(path) } else { beside.persist_noclobber(path) };
    named.map_err(|failed| failed.error)?;
    sync_folder(&folder)
}

/// Returns once the names in a folder are on disk. Windows has no such call; its file systems journal names by themselves.
///
/// # Errors
/// The system's error.
pub fn sync_folder(path: &Path) -> io::Result<()> {
    if cfg!(unix) { File::open(path)?.sync_all() } else { Ok(()) }
}

/// A umask can also clear the owner's bits.
#[cfg(unix)]
pub(super) fn own(file: &File) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    let mode = file.metadata()?.permissions().mode();
    if mode & 0o777 == FILE { Ok(()) } else { file.set_permissions(fs::Permissions::from_mode(FILE)) }
}

#[cfg(not(unix))]
pub(super) fn own(_: &File) -> io::Result<()> {
    Ok(())
}

/// The folder of a path, which is `.` for a bare name.
pub(super) fn folder_of(path: &Path) -> &Path {
    path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."))
}
