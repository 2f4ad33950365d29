//! Knows what the journal's file must contain, and so detects when something else writes to it, truncates it, replaces it or removes it.
//!
//! The rule. Before every write, the path must lead to the file that was written last, with the [`Stamp`] it had after the last write. If
//! the stamp differs, the whole file is read and must match what was written, byte for byte by SHA-256. After every synced write, the path
//! must still lead to that file, and its length must match. At the end of a session the whole file is read, whatever its stamp. So an
//! answer is confirmed aloud only if nothing else touched the journal before the answer was written. One thing is detected only by the
//! complete read at the end: an edit of the same length between the check and the write, or within one tick of the file system's clock. A
//! file that does not match is rejected and left alone. Nothing is repaired by guessing.

use super::storage::Stamp;
use sha2::{Digest as _, Sha256};

/// What somebody else did to a journal, in the words of [`super::SessionError::Meddled`].
pub(super) type Meddling = &'static str;

/// What was written for certain, and what may have been.
#[derive(Debug)]
pub(super) struct Watch {
    /// Length of the part known to be on disk.
    pub synced: u64,
    /// Hash of that part.
    hash: Sha256,
    /// The lines after it.
    pub unsynced: Vec<u8>,
    /// Lines whose write failed. Some of them may be in the file after `unsynced`.
    tried: Option<Vec<u8>>,
    /// The file's stamp after the last write.
    stamp: Stamp,
}

impl Watch {
    /// Watches a file that holds these bytes, all on disk.
    pub fn new(bytes: &[u8], stamp: Stamp) -> Self {
        Watch {
            synced: bytes.len() as u64,
            hash: Sha256::new_with_prefix(bytes),
            unsynced: Vec::new(),
            tried: None,
            stamp,
        }
    }

    /// Number of bytes written.
    pub fn length(&self) -> u64 {
        self.synced + self.unsynced.len() as u64
    }

    /// Whether the file may differ from what was written because a write failed.
    pub(super) fn is_doubtful(&self) -> bool {
        self.tried.is_some()
    }

    /// Notes that writing this line failed.
    pub fn failed(&mut self, line: Vec<u8>) {
        self.tried = Some(line);
    }

    /// Notes that a line was written. `synced`: it and everything before it are on disk.
    pub fn wrote(&mut self, line: &[u8], synced: bool, stamp: Stamp) {
        self.unsynced.extend_from_slice(line);
        if synced {
            self.hash.update(&self.unsynced);
            self.synced += self.unsynced.len() as u64;
            self.unsynced.clear();
        }
        self.stamp = stamp;
    }

    /// Notes that after a failure the file was cut back to what is on disk, and the later lines were written again.
    pub fn settled(&mut self, stamp: Stamp) {
        self.tried = None;
        self.stamp = stamp;
    }

    /// Whether the stamp alone shows that the file is untouched. `Err` if it shows tampering.
    pub(super) fn untouched(&self, stamp: &Stamp) -> Result<bool, Meddling> {
        match stamp.file == self.stamp.file {
            false => Err("replaced"),
            true => Ok(!self.is_doubtful() && *stamp == self.stamp),
        }
    }

    /// Checks that a file's bytes are what was written. After a failure, part of the failed write may stand at the end.
    pub fn holds(&self, bytes: &[u8]) -> Result<(), Meddling> {
        let Some((on_disk, rest)) = bytes.split_at_checked(self.synced as usize) else { return Err("cut") };
        if Sha256::digest(on_disk) != self.hash.clone().finalize() {
            return Err("altered");
        }
        match &self.tried {
            None if rest.len() < self.unsynced.len() => Err("cut"),
            None if rest != self.unsynced => Err("altered"),
            None => Ok(()),
            Some(tried) => {
                let ours = self.unsynced.iter().chain(tried);
                // Blocks that were never written read as zeros.
                let may_be = |(there, ours): (&u8, &u8)| there == ours || *there == 0;
                let fits = rest.len() <= self.unsynced.len() + tried.len() && rest.iter().zip(ours).all(may_be);
                if fits { Ok(()) } else { Err("altered") }
            }
        }
    }

    /// Notes that the whole file was read, matches, and has this stamp.
    pub fn read(&mut self, stamp: Stamp) {
        if !self.is_doubtful() {
            self.stamp = stamp;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stamp(changed: i64) -> Stamp {
        Stamp { file: (1, 2), length: 0, changed: [changed, 0, 0, 0] }
    }

    #[test]
    fn what_was_written_holds_and_all_else_is_named() {
        let mut watch = Watch::new(b"header\n", stamp(0));
        watch.wrote(b"one\n", true, stamp(1));
        watch.wrote(b"two\n", false, stamp(2));
        assert_eq!(watch.length(), 15);
        assert_eq!(watch.holds(b"header\none\ntwo\n"), Ok(()));
        for (there, what) in [
            ("", "cut"),
            ("header\none\nt", "cut"),
            ("header\nome\ntwo\n", "altered"),
            ("header\none\ntwp\n", "altered"),
            ("header\none\ntwo\n{}\n", "altered"),
        ] {
            assert_eq!(watch.holds(there.as_bytes()), Err(what), "{there}");
        }
        assert_eq!(watch.untouched(&stamp(2)), Ok(true));
        assert_eq!(watch.untouched(&stamp(3)), Ok(false));
        assert_eq!(watch.untouched(&Stamp { file: (1, 3), ..stamp(2) }), Err("replaced"));
    }

    #[test]
    fn after_a_failed_write_a_part_of_it_may_be_there() {
        let mut watch = Watch::new(b"header\n", stamp(0));
        watch.wrote(b"one\n", false, stamp(1));
        watch.failed(b"two\n".to_vec());
        assert_eq!(watch.untouched(&stamp(1)), Ok(false));
        for there in ["header\n", "header\non", "header\none\ntw", "header\none\ntwo\n", "header\none\n\0\0"] {
            assert_eq!(watch.holds(there.as_bytes()), Ok(()), "{there:?}");
        }
        for there in ["header\none\ntwo\nx", "header\none\nxx", "headex\none\n"] {
            assert_eq!(watch.holds(there.as_bytes()), Err("altered"), "{there:?}");
        }
        watch.settled(stamp(4));
        assert_eq!(watch.holds(b"header\none\n"), Ok(()));
        assert_eq!(watch.holds(b"header\none\ntw"), Err("altered"));
    }
}
