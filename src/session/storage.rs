//! A session's storage as a trait: the few operations a journal needs. Each can fail.
//!
//! A file counts as stored once [`Storage::sync`] has returned for it. A new, renamed or removed name counts once [`Storage::sync_folder`]
//! has returned; [`Storage::write_whole`] and [`Storage::remove`] take care of that. [`super::Folder`] is the real implementation;
//! `tests/support/disk.rs` is a double that loses power.

use std::io;

/// Suffix of an unfinished file.
pub const PART: &str = ".part";

/// Tells the states of a file apart without reading it. Equal stamps mean the same file with the same contents, unless it was written twice
/// within one tick of the file system's clock. Different stamps do not prove different contents.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stamp {
    /// Device and inode number of the file, if the system has them.
    pub file: (u64, u64),
    /// Its length in bytes.
    pub length: u64,
    /// Times of the last change of the contents and of the metadata, in seconds and nanoseconds.
    pub changed: [i64; 4],
}

/// A session's folder. Names are relative, with `/` between folder and file, and plain by [`plain_name`].
pub trait Storage: Send {
    /// The folder's name for messages.
    fn place(&self) -> String;
    /// Locks the folder for this process until the storage is dropped. `WouldBlock` if another process holds it.
    fn lock(&mut self) -> io::Result<()>;
    /// All files in the folder and its subfolders, sorted.
    fn list(&mut self) -> io::Result<Vec<String>>;
    /// The whole file if it has at most `limit` bytes, otherwise `FileTooLarge`.
    fn read(&mut self, name: &str, limit: u64) -> io::Result<Vec<u8>>;
    /// The present stamp of the named file.
    fn stamp(&mut self, name: &str) -> io::Result<Stamp>;
    /// Creates or empties a file. Creates its folder.
    fn create(&mut self, name: &str) -> io::Result<()>;
    /// Appends to an existing file. After an error some of the bytes may be in it.
    fn append(&mut self, name: &str, bytes: &[u8]) -> io::Result<()>;
    /// Truncates a file to `length` bytes.
    fn truncate(&mut self, name: &str, length: u64) -> io::Result<()>;
    /// Returns once the file's contents would survive a power cut.
    fn sync(&mut self, name: &str) -> io::Result<()>;
    /// Renames a file within its folder. Replaces a file with the new name.
    fn rename(&mut self, from: &str, to: &str) -> io::Result<()>;
    /// Removes a file's name. It may reappear after a power cut.
    fn unlink(&mut self, name: &str) -> io::Result<()>;
    /// Returns once the names in this folder, including those of its subfolders, would survive a power cut. The empty name is the session's
    /// own folder.
    fn sync_names(&mut self, folder: &str) -> io::Result<()>;

    /// Returns once the names in the folder of `name`, and that folder's own name, would survive a power cut.
    fn sync_folder(&mut self, name: &str) -> io::Result<()> {
        let mut folder = name;
        while let Some((above, _)) = folder.rsplit_once('/') {
            self.sync_names(above)?;
            folder = above;
        }
        self.sync_names("")
    }

    /// Removes a file permanently, so that a power cut cannot bring it back.
    fn remove(&mut self, name: &str) -> io::Result<()> {
        self.unlink(name)?;
        self.sync_folder(name)
    }

    /// Writes a file so that after a power cut at any moment it exists completely or not at all.
    fn write_whole(&mut self, name: &str, bytes: &[u8]) -> io::Result<()> {
        let part = format!("{name}{PART}");
        self.create(&part)?;
        self.append(&part, bytes)?;
        self.sync(&part)?;
        self.rename(&part, name)?;
        self.sync_folder(name)
    }
}

/// Whether a name is allowed in a session: at most three folders deep, only letters, digits, space, `.`, `_` and `-`, with no part that
/// starts with a dot or ends in a dot or a space.
pub fn plain_name(name: &str) -> bool {
    const LONGEST: usize = 200;
    const DEEPEST: usize = 4;
    let plain = |part: &str| {
        !part.is_empty()
            && !part.starts_with(['.', ' '])
            && !part.ends_with(['.', ' '])
            && part.chars().all(|c| c.is_alphanumeric() || matches!(c, '.' | '_' | '-' | ' '))
    };
    name.len() <= LONGEST && name.split('/').count() <= DEEPEST && name.split('/').all(plain)
}

/// The error for a name that is not plain.
pub(super) fn refuse_name(name: &str) -> io::Result<()> {
    if plain_name(name) { Ok(()) } else { Err(io::Error::new(io::ErrorKind::InvalidFilename, format!("{name:?}"))) }
}

#[cfg(test)]
mod tests {
    use super::plain_name;

    #[test]
    fn names_that_climb_are_refused() {
        for good in ["journal.jsonl", "procedure/no-spark.yaml", "clips/a 1.wav", "bike/größe.yaml"] {
            assert!(plain_name(good), "{good}");
        }
        for bad in
            ["", "/etc/passwd", "../x", "a/../b", "a//b", "a/", ".hidden", "c:\\x", "a\nb", "a\0b", "x.", "1/2/3/4/5"]
        {
            assert!(!plain_name(bad), "{bad:?}");
        }
        assert!(!plain_name(&"x".repeat(201)));
    }
}
