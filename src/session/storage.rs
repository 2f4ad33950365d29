//! Where a session is kept, as a trait: the few operations a journal needs, each of which can fail.
//!
//! Nothing counts as kept before [`Storage::sync`] of the file returned, and no new, renamed or taken away name before
//! [`Storage::sync_folder`]: [`Storage::write_whole`] and [`Storage::remove`] see to it. [`super::Folder`] is the real
//! implementation; `tests/support/disk.rs` is a double that loses power.

use std::io;

/// Suffix of a file that is still being written.
pub const PART: &str = ".part";

/// What tells the states of a file apart without reading it: two that are equal are the same file with the same contents, unless it was
/// written twice within one tick of the file system's clock; two that differ need not differ in contents.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stamp {
    /// Device and number of the file, where the system has them.
    pub file: (u64, u64),
    /// Its length in bytes.
    pub length: u64,
    /// When its contents and when anything about it was last changed, seconds and nanoseconds.
    pub changed: [i64; 4],
}

/// A session's folder. Names are relative, `/` between folder and file, and plain by [`plain_name`].
pub trait Storage: Send {
    /// What to call the place in sentences.
    fn place(&self) -> String;
    /// Takes the folder for this process until the storage is dropped. `WouldBlock` when another has it.
    fn lock(&mut self) -> io::Result<()>;
    /// Every file in the folder and in the folders below it, sorted.
    fn list(&mut self) -> io::Result<Vec<String>>;
    /// The whole file, if it has at most `limit` bytes; `FileTooLarge` otherwise.
    fn read(&mut self, name: &str, limit: u64) -> io::Result<Vec<u8>>;
    /// The present stamp of the file that the name leads to.
    fn stamp(&mut self, name: &str) -> io::Result<Stamp>;
    /// Makes an empty file, or empties it, and the folder it is in.
    fn create(&mut self, name: &str) -> io::Result<()>;
    /// Adds to the end of a file that is there. After an error some of the bytes may be in it.
    fn append(&mut self, name: &str, bytes: &[u8]) -> io::Result<()>;
    /// Cuts a file to `length` bytes.
    fn truncate(&mut self, name: &str, length: u64) -> io::Result<()>;
    /// Returns once the file's contents would survive a power cut.
    fn sync(&mut self, name: &str) -> io::Result<()>;
    /// Gives a file a new name in the same folder; what had that name is gone.
    fn rename(&mut self, from: &str, to: &str) -> io::Result<()>;
    /// Takes a file's name away; it may be back after a power cut.
    fn unlink(&mut self, name: &str) -> io::Result<()>;
    /// Returns once the names in this folder itself, those of the folders in it included, would survive a power cut. The empty name is
    /// the session's own folder.
    fn sync_names(&mut self, folder: &str) -> io::Result<()>;

    /// Returns once the names in the folder that holds `name`, and that folder's own name, would survive a power cut.
    fn sync_folder(&mut self, name: &str) -> io::Result<()> {
        let mut folder = name;
        while let Some((above, _)) = folder.rsplit_once('/') {
            self.sync_names(above)?;
            folder = above;
        }
        self.sync_names("")
    }

    /// Takes a file away so that it stays away, also after a power cut.
    fn remove(&mut self, name: &str) -> io::Result<()> {
        self.unlink(name)?;
        self.sync_folder(name)
    }

    /// Writes a whole file so that after a power cut at any moment it is there whole or not at all.
    fn write_whole(&mut self, name: &str, bytes: &[u8]) -> io::Result<()> {
        let part = format!("{name}{PART}");
        self.create(&part)?;
        self.append(&part, bytes)?;
        self.sync(&part)?;
        self.rename(&part, name)?;
        self.sync_folder(name)
    }
}

/// Whether a name can be used inside a session: at most three folders deep, letters, digits, space, `.`, `_` and `-` only, no part
/// of it beginning with a dot or ending in a dot or a space.
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
