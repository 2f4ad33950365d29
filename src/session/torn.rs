//! Decides whether an interruption can explain the damage to a journal. The header of [`super::chain`] states the rule.

use serde::Deserialize;
use serde::de::IgnoredAny;
use std::ops::Range;

/// Bytes that a disk writes completely or not at all: the smallest sector in use (ATA and SCSI disks, 512 bytes).
pub const SECTOR: usize = 512;
/// The first bytes of every entry.
const ENTRY: &[u8] = br#"{"seq":"#;

/// The condition of a journal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum State {
    /// Every line follows from the previous one.
    Whole,
    /// The end is torn: the last write was incomplete.
    Torn {
        /// The first torn line, from 1.
        line: u64,
        /// The defect.
        why: String,
    },
    /// A line does not fit, and it is not a torn end: the journal was altered or damaged.
    Broken {
        /// The first line that does not fit, from 1.
        line: u64,
        /// The defect.
        why: String,
    },
}

/// The part of a complete entry that tells when it was written.
#[derive(Deserialize)]
pub(super) struct Later {
    #[serde(rename = "seq")]
    _seq: u64,
    #[serde(rename = "mono_ms")]
    _mono_ms: u64,
    #[serde(rename = "wall")]
    _wall: IgnoredAny,
    #[serde(default)]
    on_disk: Option<u64>,
    #[serde(rename = "kind")]
    _kind: IgnoredAny,
    #[serde(rename = "body")]
    _body: IgnoredAny,
    #[serde(rename = "prev")]
    _prev: IgnoredAny,
}

/// What follows the last line that fits.
pub(super) struct Damage {
    /// Its first line, from 1.
    line: u64,
    why: String,
    /// Number of lines that are not entries.
    lines: u64,
    /// Whether all of these contain only unwritten sectors.
    unwritten: bool,
    /// Number of complete entries.
    entries: u64,
    /// Whether an interruption is ruled out as the cause.
    proved: bool,
}

impl Damage {
    /// Damage that starts with a complete entry that does not fit.
    pub(super) fn altered(line: u64, why: String) -> Self {
        Self { line, why, lines: 0, unwritten: false, entries: 0, proved: true }
    }

    /// Damage that starts with something that is not an entry.
    pub(super) fn torn(line: u64, why: String) -> Self {
        Self { line, why, lines: 0, unwritten: true, entries: 0, proved: false }
    }

    /// Adds a line that is not an entry. It may end in a complete one.
    pub(super) fn line(&mut self, entry: Option<Later>, unwritten: bool) {
        self.lines += 1;
        self.unwritten &= unwritten;
        if let Some(entry) = entry {
            self.entry(entry.on_disk);
        }
    }

    /// Adds a complete entry, with the number of lines that were on disk when it was written.
    pub(super) fn entry(&mut self, on_disk: Option<u64>) {
        self.entries += 1;
        self.proved |= on_disk.is_none_or(|lines| lines >= self.line);
    }

    pub(super) fn state(self) -> State {
        let Self { line, why, lines, unwritten, entries, proved } = self;
        let alone = lines == 1 && entries == 0;
        if !proved && (alone || unwritten) {
            return State::Torn { line, why };
        }
        let after = if entries > 0 && lines > 0 { ", and whole lines come after it" } else { "" };
        State::Broken { line, why: format!("{why}{after}") }
    }
}

/// Whether the line at `at` is only damaged by unwritten sectors, or by the end of the file.
pub(super) fn is_unwritten(bytes: &[u8], at: Range<usize>) -> bool {
    let (mut runs, mut from) = (0, at.start);
    while let Some(begin) = bytes[from..at.end].iter().position(|byte| *byte == 0).map(|zero| from + zero) {
        let end = bytes[begin..at.end].iter().position(|byte| *byte != 0).map_or(at.end, |other| begin + other);
        let begins = begin == at.start || begin.is_multiple_of(SECTOR);
        let ends = end == bytes.len() || end.is_multiple_of(SECTOR);
        if !begins || !ends {
            return false;
        }
        (runs, from) = (runs + 1, end);
    }
    runs > 0 || bytes[at].last() != Some(&b'\n')
}

/// The complete entry at the end of a damaged line, where the line feed before it is lost or only the bytes before it were not written.
pub(super) fn entry_at_end(raw: &[u8]) -> Option<Later> {
    let at = raw.windows(ENTRY.len()).rposition(|bytes| bytes == ENTRY).filter(|at| *at > 0)?;
    serde_json::from_slice(raw[at..].strip_suffix(b"\n")?).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A line that begins at the last byte of a sector: the power went before that sector was written, and the next one had been.
    #[test]
    fn a_sector_that_was_never_written_may_hold_one_byte_of_a_line() {
        let line = br#"{"seq":7,"body":{}}"#;
        let mut bytes = vec![b'x'; SECTOR - 1];
        bytes.extend_from_slice(line);
        bytes.push(b'\n');
        assert!(!is_unwritten(&bytes, SECTOR - 1..bytes.len()), "it is whole");
        bytes[SECTOR - 1] = 0;
        assert!(is_unwritten(&bytes, SECTOR - 1..bytes.len()), "its first byte is all of it that was in that sector");
        bytes[SECTOR - 1] = b'{';
        bytes[SECTOR + 3] = 0;
        assert!(!is_unwritten(&bytes, SECTOR - 1..bytes.len()), "one byte in the middle of a sector is damage");
    }
}
