//! Damages one place in a journal from a typed walk. The journal must be rejected, or be complete up to a torn last line, but never be
//! silently shorter.

use super::disk::Disk;
use super::typed_round::{ANSWERS, Round};
use probeside::review::{gather, verify};
use probeside::session::{DIGEST_FILE, Folder, JOURNAL_FILE, Journal, SessionError, Storage};
use std::collections::BTreeMap;

/// A change to a byte.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Change {
    Zero,
    Ones,
    /// Flips one of its bits.
    Flip(u8),
    /// Cuts it off, with everything after it.
    Cut,
}

impl Change {
    pub const ALL: [Change; 11] = [
        Change::Zero,
        Change::Ones,
        Change::Cut,
        Change::Flip(0),
        Change::Flip(1),
        Change::Flip(2),
        Change::Flip(3),
        Change::Flip(4),
        Change::Flip(5),
        Change::Flip(6),
        Change::Flip(7),
    ];
}

/// The outcome of resuming the session.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fate {
    /// Rejected, and nothing was changed.
    Refused,
    /// The last line was torn. It was set aside, and this was reported.
    Torn,
    /// Cut between two lines: the rest is complete, and not ended.
    Shorter,
    /// The last line was altered into another valid one, which only the digest could reveal.
    Unseen,
}

/// The files of a session.
pub struct Written(BTreeMap<String, Vec<u8>>);

impl Written {
    /// The files after a typed walk.
    pub fn walked() -> Self {
        let temp = tempfile::tempdir().expect("a folder");
        let (round, into) = (Round::new(), temp.path().join("session"));
        round.walk(&into, &round.answers(&[("drop", &["correct that", "twelve point one"])], &ANSWERS));
        let mut folder = Folder::at(&into);
        let names = folder.list().expect("a list");
        let read = |name: String| {
            let bytes = folder.read(&name, u64::MAX - 1).expect("a file");
            (name, bytes)
        };
        Self(names.into_iter().map(read).collect())
    }

    pub fn journal(&self) -> &[u8] {
        &self.0[JOURNAL_FILE]
    }

    /// Damages the byte `at`, with or without the session's digest beside the journal. `None` if that changes nothing. With `thoroughly` it
    /// also checks what review and verify say.
    pub fn damaged(&self, at: usize, change: Change, digest: bool, thoroughly: bool) -> Option<Fate> {
        let what = format!("{change:?} at {at}, digest {digest}");
        let mut journal = self.journal().to_vec();
        match change {
            Change::Zero => journal[at] = 0,
            Change::Ones => journal[at] = 0xff,
            Change::Flip(bit) => journal[at] ^= 1 << bit,
            Change::Cut => journal.truncate(at),
        }
        if journal == self.journal() {
            return None;
        }
        let disk = Disk::new();
        for (name, bytes) in self.0.iter().filter(|(name, _)| digest || *name != DIGEST_FILE) {
            disk.put(name, if name == JOURNAL_FILE { &journal } else { bytes });
        }
        if thoroughly {
            if let Ok(found) = verify(&mut disk.folder(), None) {
                assert!(!(found.sound && found.ended), "{what}: it is called whole");
                assert!(!digest || !found.sound, "{what}: the digest is not looked at");
            }
            let _ = gather(&mut disk.folder());
        }
        Some(self.fate(&disk, &journal, at, change, digest, &what))
    }

    fn fate(&self, disk: &Disk, journal: &[u8], at: usize, change: Change, digest: bool, what: &str) -> Fate {
        let lines = |bytes: &[u8]| bytes.iter().filter(|byte| **byte == b'\n').count();
        let all = lines(self.journal());
        let before = lines(&self.journal()[..at]);
        let opened = match Journal::open(Box::new(disk.folder())) {
            Ok(opened) => opened,
            Err(why) => {
                assert_eq!(disk.contents(JOURNAL_FILE).as_deref(), Some(journal), "{what}: it is left as it is");
                let named = matches!(why, SessionError::Broken { .. } | SessionError::NotASession { .. });
                assert!(named, "{what}: {why}");
                return Fate::Refused;
            }
        };
        assert!(!digest, "{what}: the digest is overlooked");
        let kept = opened.entries.len() - usize::from(opened.repair.is_some());
        assert_eq!(
            kept,
            lines(&disk.contents(JOURNAL_FILE).expect("a journal")) - usize::from(opened.repair.is_some())
        );
        match (&opened.repair, change) {
            (Some(repair), _) => {
                let aside = disk.contents(&repair.file).expect("what was set aside");
                assert!(journal.ends_with(&aside), "{what}: it is kept");
                assert_eq!(kept, before, "{what}: every whole line is there");
                assert!(change == Change::Cut || before + 1 == all, "{what}: only the last line can be torn");
                Fate::Torn
            }
            (None, Change::Cut) => {
                assert_eq!(kept, before, "{what}");
                Fate::Shorter
            }
            (None, _) => {
                assert_eq!((kept, before + 1), (all, all), "{what}: it is not noticed");
                Fate::Unseen
            }
        }
    }
}
