//! The only file reader. It reads plain files only, never more bytes than requested, and never waits for the other end of a pipe.

use std::fs::{self, File, FileType, OpenOptions};
use std::io::{self, ErrorKind, Read};
use std::path::Path;

/// Whether to follow a symbolic link.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Links {
    /// Follow it: the user who named the file may have made the link.
    Follow,
    /// Refuse it: the folder may come from a stranger.
    Refuse,
}

/// The name for a file type other than a plain file.
pub(super) fn name_of_kind(kind: FileType) -> &'static str {
    #[cfg(unix)]
    {
        use std::os::unix::fs::FileTypeExt;
        if kind.is_fifo() {
            return "a pipe";
        }
        if kind.is_socket() {
            return "a socket";
        }
        if kind.is_char_device() || kind.is_block_device() {
            return "a device";
        }
    }
    if kind.is_dir() {
        "a folder"
    } else if kind.is_symlink() {
        "a link"
    } else {
        "of an unknown kind"
    }
}

/// The error for anything but a plain file.
fn refuse(kind: FileType) -> io::Result<()> {
    if kind.is_file() {
        return Ok(());
    }
    let error = if kind.is_dir() { ErrorKind::IsADirectory } else { ErrorKind::InvalidInput };
    Err(io::Error::new(error, format!("it is {}, not a plain file", name_of_kind(kind))))
}

/// Tells the system never to wait and, if requested, never to follow a link.
pub(super) fn without_waiting(options: &mut OpenOptions, links: Links) {
    #[cfg(unix)]
    {
        use rustix::fs::OFlags;
        use std::os::unix::fs::OpenOptionsExt;
        let mut flags = OFlags::NONBLOCK | OFlags::NOCTTY;
        if links == Links::Refuse {
            flags |= OFlags::NOFOLLOW;
        }
        options.custom_flags(flags.bits().cast_signed());
    }
    #[cfg(not(unix))]
    let _ = (options, links);
}

/// Opens a plain file with these options. Anything else is refused before opening, because opening alone can affect a device. The check is
/// repeated after opening, because the name may lead elsewhere by then.
pub(super) fn open_plain(path: &Path, links: Links, options: &mut OpenOptions) -> io::Result<File> {
    let about = if links == Links::Refuse { fs::symlink_metadata(path) } else { fs::metadata(path) };
    match about {
        Ok(about) => refuse(about.file_type())?,
        // It is created if the options say so.
        Err(error) if error.kind() == ErrorKind::NotFound => {}
        Err(error) => return Err(error),
    }
    without_waiting(options, links);
    let file = options.open(path)?;
    refuse(file.metadata()?.file_type())?;
    Ok(file)
}

/// Opens a plain file for reading.
///
/// # Errors
/// The file is a folder, a pipe, a socket, a device, or a link that may not be followed, in words; or the system's error.
pub fn open(path: &Path, links: Links) -> io::Result<File> {
    open_plain(path, links, OpenOptions::new().read(true))
}

/// The bytes of a plain file of at most `most` bytes.
///
/// # Errors
/// As [`open`]. `FileTooLarge` for a larger file, which is not read further.
pub fn read(path: &Path, most: u64, links: Links) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    open(path, links)?.take(most.saturating_add(1)).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > most {
        return Err(io::Error::new(ErrorKind::FileTooLarge, format!("it is larger than {most} bytes")));
    }
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plain_file_is_read_as_far_as_wanted() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a");
        fs::write(&path, b"12345").unwrap();
        assert_eq!(read(&path, 5, Links::Refuse).unwrap(), b"12345");
        assert_eq!(read(&path, 4, Links::Refuse).unwrap_err().kind(), ErrorKind::FileTooLarge);
        assert_eq!(read(&folder.path().join("b"), 4, Links::Refuse).unwrap_err().kind(), ErrorKind::NotFound);
        assert_eq!(read(folder.path(), 4, Links::Refuse).unwrap_err().kind(), ErrorKind::IsADirectory);
    }

    #[cfg(unix)]
    #[test]
    fn whatever_is_no_plain_file_is_named_at_once() {
        let folder = tempfile::tempdir().unwrap();
        let path = |name: &str| folder.path().join(name);
        assert!(std::process::Command::new("mkfifo").arg(path("pipe")).status().unwrap().success());
        let _listener = std::os::unix::net::UnixListener::bind(path("socket")).unwrap();
        fs::write(path("file"), b"x").unwrap();
        std::os::unix::fs::symlink(path("file"), path("link")).unwrap();
        std::os::unix::fs::symlink(path("pipe"), path("link to a pipe")).unwrap();
        let said = |name: &str, links| read(&path(name), 9, links).unwrap_err().to_string();
        for (name, kind) in [("pipe", "a pipe"), ("socket", "a socket"), ("/dev/zero", "a device")] {
            for links in [Links::Follow, Links::Refuse] {
                assert_eq!(said(name, links), format!("it is {kind}, not a plain file"));
            }
        }
        assert_eq!(said("link", Links::Refuse), "it is a link, not a plain file");
        assert_eq!(said("link to a pipe", Links::Follow), "it is a pipe, not a plain file");
        assert_eq!(read(&path("link"), 9, Links::Follow).unwrap(), b"x");
    }
}
