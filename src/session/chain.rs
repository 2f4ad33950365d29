//! The journal's lines and the hash chain that links them: how an entry is written as one line of JSON, and how a file of such lines is
//! read back, with each kind of damage told apart.
//!
//! A line is `{"seq":n,"mono_ms":t,"wall":"RFC 3339","on_disk":m,"kind":"...","body":{...},"prev":"..."}` and a line feed. `prev` is the
//! SHA-256 of the raw bytes of the previous line, without its line feed, in lower-case hexadecimal; the first line has 64 zeros. `seq`
//! counts from 0, the header. `wall` is the machine's clock. `mono_ms` is session time. It is real if the user walks with a microphone. In
//! a typed walk, and in one heard from a file, it is counted by the length of what is said and heard. An entry of kind `time` says which
//! applies from there on (before such entries existed, counted walks also had counted wall times). `on_disk` is the number of lines, from
//! the first, that were synced when this line was handed over: whatever happened later, a power cut cannot have removed those. No line
//! follows the last one, so its own hash, the digest, is kept elsewhere.
//!
//! A journal that does not end in a complete line is **torn** if an interruption can explain it, and **broken** if not. It is torn if the
//! last line that fits is followed by nothing but
//!
//! 1. one line that has no line feed or is not an entry, with nothing after it, or
//! 2. sectors that were never written: runs of zero bytes, each from the start of a line or of a sector of 512 bytes to the
//!    end of a sector or of the file. Between and after them there may be fragments of lines, and complete entries as long as the `on_disk`
//!    of each says that the first damaged line was not yet on disk.
//!
//! Everything else is broken. An entry after the damage that was written when the damaged line was on disk proves that the damage came
//! later. So a synced line is never taken for a torn end once another line follows it. The bytes alone leave two questions open: whether
//! the last line was torn or altered, and whether complete lines are missing after it. [`super::Journal::open`] consults the digest, if
//! there is one.

use super::limits;
use super::record::Now;
pub use super::torn::State;
use super::torn::{self, Damage};
use crate::units::names;
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

/// The `prev` of the first line.
pub const NO_LINE: &str = "0000000000000000000000000000000000000000000000000000000000000000";

names! {
    /// Kinds of entry that this version writes. A reader skips kinds it does not know.
    Kind {
        /// First line: the people, the tools, the bike, and the hashes of the copies. Body: [`super::Header`].
        Header = "header",
        /// How session time, `mono_ms`, advances from here on. Body: [`super::SessionTime`].
        Time = "time",
        /// An event as the walker received it. Resuming replays them. Body: the event.
        Event = "event",
        /// The walker's record. Body: [`super::Record`]. Always synced.
        Record = "record",
        /// A prompt was spoken. Body: [`super::Spoken`].
        Said = "said",
        /// An utterance was heard. Body: [`super::Spoken`].
        Heard = "heard",
        /// A remark for the reader, by a reviewer or by the program. Body: [`super::Remark`].
        Note = "note",
        /// The hash of a clip, written before the clip is stored. Body: [`super::Clip`]. Always synced.
        Clip = "clip",
        /// The clip is stored. Body: [`super::Clip`].
        ClipStored = "clip-stored",
        /// A torn end was cut off when the journal was opened. Body: [`super::Repair`]. Always synced.
        Repaired = "repaired",
        /// Audio was removed on request. Body: [`super::Forgotten`]. Always synced.
        Forgotten = "forgotten",
        /// The session ended. A later resume may still add lines. Body: `{}`. Always synced.
        End = "end",
    }
}

impl Kind {
    /// Whether an entry of this kind is always synced.
    pub(super) fn always_synced(self) -> bool {
        !matches!(self, Kind::Time | Kind::Event | Kind::Said | Kind::Heard | Kind::Note | Kind::ClipStored)
    }
}

/// One line of a journal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Entry {
    /// Number of the line, from 0.
    pub seq: u64,
    /// Milliseconds of session time since the session started.
    pub mono_ms: u64,
    /// Wall time, RFC 3339 with offset.
    pub wall: String,
    /// Number of lines, from the first, that were on disk when this one was written. `None` if unknown.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub on_disk: Option<u64>,
    /// The kind's name, see [`Kind`].
    pub kind: String,
    /// The content.
    pub body: serde_json::Value,
    /// SHA-256 of the previous line.
    pub prev: String,
}

impl Entry {
    /// Whether it is of this kind.
    pub fn is(&self, kind: Kind) -> bool {
        self.kind == kind.name()
    }

    /// The body decoded as `T`. `None` if it has another shape.
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
struct EntryLine<'a, T: Serialize> {
    seq: u64,
    mono_ms: u64,
    wall: &'a str,
    on_disk: u64,
    kind: Kind,
    body: &'a T,
    prev: &'a str,
}

/// The line of an entry, without its line feed. `on_disk` is the number of synced lines.
pub(super) fn line(
    seq: u64,
    now: &Now,
    on_disk: u64,
    kind: Kind,
    body: &impl Serialize,
    prev: &str,
) -> serde_json::Result<Vec<u8>> {
    serde_json::to_vec(&EntryLine { seq, mono_ms: now.mono_ms, wall: &now.wall, on_disk, kind, body, prev })
}

/// The result of [`scan`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Scan {
    /// Number of consecutive valid lines from the first.
    pub lines: u64,
    /// Bytes in these lines, line feeds included.
    pub bytes: u64,
    /// Hash of the last of these lines: the digest of the journal up to there.
    pub digest: String,
    /// What follows them.
    pub state: State,
}

/// Reads a journal line by line and passes on every line that is an entry: its number from 1, the entry, the hash of its line, and whether
/// all lines up to it fit. Lines after a break are passed on too. They can be shown, but not trusted.
pub fn scan(bytes: &[u8], mut each: impl FnMut(u64, Entry, &str, bool)) -> Scan {
    let mut scan = Scan { lines: 0, bytes: 0, digest: NO_LINE.to_owned(), state: State::Whole };
    let (mut number, mut end) = (0, 0);
    let mut damage: Option<Damage> = None;
    for raw in bytes.split_inclusive(|byte| *byte == b'\n') {
        let begin = end;
        (number, end) = (number + 1, begin + raw.len());
        match read_line(raw) {
            Ok((entry, hash)) => {
                match (&mut damage, misfit(&entry, &scan)) {
                    (Some(damage), _) => damage.entry(entry.on_disk),
                    (None, Some(why)) => damage = Some(Damage::altered(number, why)),
                    (None, None) => {
                        scan.lines += 1;
                        scan.bytes = end as u64;
                        scan.digest.clone_from(&hash);
                    }
                }
                each(number, entry, &hash, damage.is_none());
            }
            Err(why) => {
                let unwritten = torn::is_unwritten(bytes, begin..end);
                damage.get_or_insert_with(|| Damage::torn(number, why)).line(torn::entry_at_end(raw), unwritten);
            }
        }
    }
    scan.state = damage.map_or(State::Whole, Damage::state);
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

    /// A journal of this many lines, synced after every third.
    fn journal(count: u64) -> Vec<u8> {
        let mut bytes = Vec::new();
        let mut prev = NO_LINE.to_owned();
        for seq in 0..count {
            let now = Now { mono_ms: seq, wall: "2026-11-25T10:14:03.120+01:00".into() };
            let body = serde_json::json!({"n": seq, "text": "x".repeat(200)});
            let raw = line(seq, &now, seq / 3 * 3, Kind::Event, &body, &prev).unwrap();
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
    }

    /// A byte altered anywhere before the last line breaks the journal, whatever its new value. In the last line it may look like a torn
    /// end.
    #[test]
    fn a_byte_altered_before_the_last_line_breaks_it() {
        let bytes = journal(7);
        let last = bytes.len() - bytes.split_inclusive(|b| *b == b'\n').next_back().map_or(0, <[u8]>::len);
        for at in 0..bytes.len() {
            for byte in [0, 0xff, b'\n', bytes[at] ^ 1, bytes[at] ^ 0x20] {
                if byte == bytes[at] {
                    continue;
                }
                let mut altered = bytes.clone();
                altered[at] = byte;
                let found = scan(&altered, |_, _, _, _| {});
                let torn = matches!(found.state, State::Torn { line: 7, .. });
                let broken = matches!(found.state, State::Broken { .. });
                let whole = found.state == State::Whole;
                assert!(broken || (at >= last && (torn || whole)), "{byte} at {at}: {:?}", found.state);
                assert!(!whole || found.digest != scan(&bytes, |_, _, _, _| {}).digest, "{byte} at {at}: not noticed");
            }
        }
    }

    /// Lines 7 and 8, from 1, were not synced when the last one was written; line 6 was.
    #[test]
    fn sectors_that_were_never_written_are_a_torn_end_unless_they_were_on_disk() {
        let bytes = journal(9);
        let ends: Vec<usize> = (0..bytes.len()).filter(|at| bytes[*at] == b'\n').collect();
        let begin = |line: usize| ends[line - 2] + 1;
        let zeroed = |from: usize, to: usize| {
            let mut bytes = bytes.clone();
            bytes[from..to].fill(0);
            scan(&bytes, |_, _, _, _| {}).state
        };
        let sector = |at: usize| at.next_multiple_of(512);
        assert!(sector(begin(7) + 2) < begin(9), "the sector ends before the last line");
        assert!(matches!(zeroed(begin(7), sector(begin(7) + 2)), State::Torn { line: 7, .. }));
        assert!(matches!(zeroed(begin(7), bytes.len()), State::Torn { line: 7, .. }), "all of the rest");
        assert!(matches!(zeroed(begin(7) + 1, sector(begin(7) + 2)), State::Broken { line: 7, .. }), "within a line");
        assert!(matches!(zeroed(begin(7), sector(begin(7) + 2) - 1), State::Broken { line: 7, .. }), "within a sector");
        assert!(matches!(zeroed(begin(6), sector(begin(6) + 2)), State::Broken { line: 6, .. }), "it was on disk");
        let mut longer = bytes[..begin(9)].to_vec();
        longer.extend([0; 3000]);
        assert!(matches!(scan(&longer, |_, _, _, _| {}).state, State::Torn { line: 9, .. }), "nothing but zero bytes");
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
