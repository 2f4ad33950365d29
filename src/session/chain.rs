//! The journal's lines and the chain that holds them together: how an entry is written as one line of JSON, and how a file of
//! such lines is read again, with every way in which it may be damaged told apart.
//!
//! A line is `{"seq":n,"mono_ms":t,"wall":"RFC 3339","kind":"...","body":{...},"prev":"..."}` and a line feed. `prev` is the SHA-256 of
//! the raw bytes of the line before, without its line feed, in lower-case hexadecimal; 64 zeros in the first line. `seq` counts from
//! 0, the header. `wall` is what the machine's clock showed. `mono_ms` is session time: real where somebody walks with a microphone, and
//! counted by the length of what is said and heard where a walk is typed or heard from a file; an entry of kind `time` says which, from
//! there on (before there were such entries, counted walks had counted wall times, too). Since the last line has nobody after it, its own hash, the digest, is kept elsewhere.

use super::limits;
use super::record::Now;
use crate::trade::names;
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

/// Hash before the first line.
pub const NO_LINE: &str = "0000000000000000000000000000000000000000000000000000000000000000";

names! {
    /// Kinds of entries that this version writes. A reader passes over kinds it does not know.
    Kind {
        /// First line: who, what, which bike, hashes of the copies. Body: [`super::Header`].
        Header = "header",
        /// How session time, `mono_ms`, passes from here on. Body: [`super::SessionTime`].
        Time = "time",
        /// An event as the walker got it; replaying them is resuming. Body: the event.
        Event = "event",
        /// What the walker wrote down. Body: [`super::Record`]. Always synced.
        Record = "record",
        /// A prompt was said. Body: [`super::Spoken`].
        Said = "said",
        /// An utterance was heard. Body: [`super::Spoken`].
        Heard = "heard",
        /// A remark for the reader: a reviewer's, or the program's own. Body: [`super::Remark`].
        Note = "note",
        /// The hash of a clip that is about to be stored. Body: [`super::Clip`]. Always synced.
        Clip = "clip",
        /// The clip is stored. Body: [`super::Clip`].
        ClipStored = "clip-stored",
        /// A torn end was cut off on opening. Body: [`super::Repair`]. Always synced.
        Repaired = "repaired",
        /// Sound is removed at somebody's wish. Body: [`super::Forgotten`]. Always synced.
        Forgotten = "forgotten",
        /// The session was finished; a later resume may still add lines. Body: `{}`. Always synced.
        End = "end",
    }
}

impl Kind {
    /// Whether an entry of this kind is never left unsynced.
    pub fn always_synced(self) -> bool {
        !matches!(self, Kind::Time | Kind::Event | Kind::Said | Kind::Heard | Kind::Note | Kind::ClipStored)
    }
}

/// One line of a journal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// Number of the line, from 0.
    pub seq: u64,
    /// Milliseconds of session time since the session began.
    pub mono_ms: u64,
    /// Wall time, RFC 3339 with offset.
    pub wall: String,
    /// Kind by name, see [`Kind`].
    pub kind: String,
    /// What it says.
    pub body: serde_json::Value,
    /// SHA-256 of the line before.
    pub prev: String,
}

impl Entry {
    /// Whether it is of this kind.
    pub fn is(&self, kind: Kind) -> bool {
        self.kind == kind.name()
    }

    /// The body as a type of this program; `None` when it is not of that shape.
    pub fn body_as<T: serde::de::DeserializeOwned>(&self) -> Option<T> {
        T::deserialize(&self.body).ok()
    }

    /// When it was written.
    pub fn at(&self) -> Now {
        Now { mono_ms: self.mono_ms, wall: self.wall.clone() }
    }
}

/// SHA-256 in lower-case hexadecimal.
pub fn sha256_hex(bytes: &[u8]) -> String {
    let digest = Sha256::digest(bytes);
    digest.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[derive(Serialize)]
struct Line<'a, T: Serialize> {
    seq: u64,
    mono_ms: u64,
    wall: &'a str,
    kind: Kind,
    body: &'a T,
    prev: &'a str,
}

/// The line of an entry, without its line feed.
pub(super) fn line(seq: u64, now: &Now, kind: Kind, body: &impl Serialize, prev: &str) -> serde_json::Result<Vec<u8>> {
    serde_json::to_vec(&Line { seq, mono_ms: now.mono_ms, wall: &now.wall, kind, body, prev })
}

/// How whole a journal is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum State {
    /// Every line follows from the one before.
    Whole,
    /// The end is not a whole line and nothing whole comes after: a write was cut short.
    Torn {
        /// The torn line, from 1.
        line: u64,
        /// What is wrong with it.
        why: String,
    },
    /// A line does not fit, and it is not a torn end: the journal was altered.
    Broken {
        /// The first line that does not fit, from 1.
        line: u64,
        /// What is wrong with it.
        why: String,
    },
}

/// What [`scan`] found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Scan {
    /// Lines that follow from one another, from the first.
    pub lines: u64,
    /// Bytes of these lines, line feeds included.
    pub bytes: u64,
    /// Hash of the last of these lines, the digest of the journal up to there.
    pub digest: String,
    /// What comes after them.
    pub state: State,
}

/// Reads a journal line by line and hands over every line that is an entry: its number from 1, the entry, the hash of its line, and
/// whether all lines up to it fit. Lines after a break are handed over too, so that they can be shown, but not vouched for.
pub fn scan(bytes: &[u8], mut each: impl FnMut(u64, Entry, &str, bool)) -> Scan {
    let mut scan = Scan { lines: 0, bytes: 0, digest: NO_LINE.to_owned(), state: State::Whole };
    let (mut number, mut hole) = (0, false);
    for raw in bytes.split_inclusive(|byte| *byte == b'\n') {
        number += 1;
        let fits = scan.state == State::Whole;
        match read_line(raw) {
            Ok((entry, hash)) => {
                if fits {
                    match misfit(&entry, &scan) {
                        None => {
                            scan.lines += 1;
                            scan.bytes += raw.len() as u64;
                            scan.digest.clone_from(&hash);
                        }
                        Some(why) => scan.state = State::Broken { line: number, why },
                    }
                } else if let State::Torn { line, why } = &scan.state
                    && !hole
                {
                    scan.state = State::Broken { line: *line, why: format!("{why}, and whole lines come after it") };
                }
                each(number, entry, &hash, fits && scan.state == State::Whole);
            }
            Err(why) => {
                // Zero bytes never stand in a line; they are blocks that a power cut left unwritten, perhaps before others that were.
                hole |= raw.contains(&0);
                if fits {
                    scan.state = State::Torn { line: number, why };
                }
            }
        }
    }
    scan
}

fn read_line(raw: &[u8]) -> Result<(Entry, String), String> {
    let Some(raw) = raw.strip_suffix(b"\n") else { return Err("the line has no end".to_owned()) };
    if raw.len() as u64 > limits::LINE {
        return Err(format!("the line is longer than {} bytes", limits::LINE));
    }
    let entry = serde_json::from_slice(raw).map_err(|_| "the line is not an entry of a journal".to_owned())?;
    Ok((entry, sha256_hex(raw)))
}

fn misfit(entry: &Entry, before: &Scan) -> Option<String> {
    if entry.seq != before.lines {
        return Some(format!(
            "it is numbered {} where {} is due, so a line was removed, added or moved",
            entry.seq, before.lines
        ));
    }
    if entry.prev != before.digest {
        let what = if before.lines == 0 {
            "the first line claims a line before it".to_owned()
        } else {
            format!("it does not follow from line {}, so one of the two was altered", before.lines)
        };
        return Some(what);
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn journal(count: u64) -> Vec<u8> {
        let mut bytes = Vec::new();
        let mut prev = NO_LINE.to_owned();
        for seq in 0..count {
            let now = Now { mono_ms: seq, wall: "2026-11-25T10:14:03.120+01:00".into() };
            let raw = line(seq, &now, Kind::Event, &serde_json::json!({"n": seq}), &prev).unwrap();
            prev = sha256_hex(&raw);
            bytes.extend(raw);
            bytes.push(b'\n');
        }
        bytes
    }

    /// Test vectors of FIPS 180-2, appendix B.1 ("abc"), and of the empty message (NIST CAVS SHA256ShortMsg, Len = 0).
    #[test]
    fn hashes_are_those_of_the_standard() {
        assert_eq!(sha256_hex(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
        assert_eq!(sha256_hex(b""), "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
    }

    #[test]
    fn every_cut_is_torn_and_keeps_what_was_before() {
        let bytes = journal(5);
        for cut in 0..bytes.len() {
            let ends = bytes[..cut].iter().filter(|b| **b == b'\n').count() as u64;
            let mut seen = 0;
            let scan = scan(&bytes[..cut], |_, _, _, fits| seen += u64::from(fits));
            assert_eq!((scan.lines, seen), (ends, ends));
            let whole = cut == 0 || bytes[cut - 1] == b'\n';
            assert_eq!(scan.state == State::Whole, whole, "cut at {cut}: {:?}", scan.state);
            assert!(!matches!(scan.state, State::Broken { .. }));
        }
    }

    #[test]
    fn removed_swapped_and_altered_lines_break_the_chain() {
        let bytes = journal(6);
        let lines: Vec<&[u8]> = bytes.split_inclusive(|b| *b == b'\n').collect();
        let state = |lines: &[&[u8]]| scan(&lines.concat(), |_, _, _, _| {}).state;
        let removed = [&lines[..2], &lines[3..]].concat();
        assert!(matches!(state(&removed), State::Broken { line: 3, .. }));
        let mut swapped = lines.clone();
        swapped.swap(2, 3);
        assert!(matches!(state(&swapped), State::Broken { line: 3, .. }));
        let altered = String::from_utf8(lines[2].to_vec()).unwrap().replace("\"n\":2", "\"n\":7");
        let mut with = lines.clone();
        with[2] = altered.as_bytes();
        assert!(matches!(state(&with), State::Broken { line: 4, .. }));
        with[2] = b"nonsense\n";
        assert!(matches!(state(&with), State::Broken { line: 3, .. }));
        let hole = [lines[0], lines[1], &vec![0; lines[2].len()], lines[3]];
        assert!(matches!(state(&hole), State::Torn { line: 3, .. }), "a block that was never written");
    }

    proptest! {
        #[test]
        fn any_bytes_are_survived(bytes in proptest::collection::vec(any::<u8>(), 0..400), at in 0usize..600) {
            let found = scan(&bytes, |_, _, _, _| {});
            prop_assert!(found.bytes <= bytes.len() as u64);
            let mut mixed = journal(3);
            let at = at.min(mixed.len());
            mixed.splice(at..at, bytes.iter().copied());
            let found = scan(&mixed, |_, _, _, _| {});
            prop_assert!(found.bytes <= mixed.len() as u64);
            prop_assert_eq!(&scan(&mixed[..found.bytes as usize], |_, _, _, _| {}).state, &State::Whole);
        }
    }
}
