//! Extracts the archived data from a session's folder. The folder may come from a stranger: nothing in it is run, followed or written to.

use super::ShopError;
use super::limits;
use super::shelf::Shelf;
use crate::review::{Reading, Review, gather, plain, verify};
use crate::session::Storage;
use crate::session::chain;
use crate::session::{JOURNAL_FILE, StoredCopy, limits as session_limits, plain_name, read_journal, sha256_hex};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// Most bytes in the searchable names of readings.
const OUTSIDE_WORDS: usize = 1_400;

/// A session's entry in the archive.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Archived {
    /// The session's name in the archive and in addresses: 16 hexadecimal digits of the hash of its journal's first line.
    #[serde(serialize_with = "as_name")]
    pub mark: i64,
    /// The session's own id.
    pub id: String,
    /// Whether it passed verification when it was added.
    pub verified: bool,
    /// The first fault, if it failed.
    pub fault: Option<String>,
    /// Full digest of the journal.
    pub digest: String,
    /// Short digest.
    pub short: String,
    /// Number of journal entries that fit the chain.
    pub entries: i64,
    /// Time of the first entry, RFC 3339 with offset.
    pub began: String,
    /// Time of the last entry.
    pub ended: String,
    /// Whether it was ended properly.
    pub finished: bool,
    /// The bike's name.
    pub bike: String,
    /// The odometer reading as given.
    pub mileage: String,
    /// The complaint.
    pub complaint: String,
    /// The person who answered.
    pub person: String,
    /// Procedure of the conclusion.
    pub procedure: Option<String>,
    /// Id of the conclusion the walk ended with.
    pub conclusion: Option<String>,
    /// Its cause.
    pub cause: Option<String>,
    /// Its remedy.
    pub remedy: Option<String>,
    /// Number of readings that count.
    pub readings: i64,
    /// How many of these are out of limits.
    pub outside: i64,
    /// Time of adding, RFC 3339.
    pub added: String,
}

fn as_name<S: serde::Serializer>(mark: &i64, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_str(&mark_name(*mark))
}

/// A mark as written in addresses and JSON.
///
/// ```
/// assert_eq!(probeside::shop::mark_name(-2), "fffffffffffffffe");
/// ```
pub fn mark_name(mark: i64) -> String {
    format!("{mark:016x}")
}

/// The mark with this name. `None` for anything but 16 lower-case hexadecimal digits.
pub(super) fn mark_named(name: &str) -> Option<i64> {
    let hex = name.len() == 16 && name.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f'));
    u64::from_str_radix(name, 16).ok().filter(|_| hex).map(u64::cast_signed)
}

/// A session, ready for the archive.
#[derive(Debug, Clone)]
pub struct PreparedSession {
    pub(super) row: Archived,
    /// Hash of the journal's first line. Two journals with the same one are the same session.
    pub(super) origin: String,
    pub(super) journal: Vec<u8>,
    /// Hashes of the lines that fit.
    pub(super) hashes: Vec<String>,
    pub(super) copies: Vec<(StoredCopy, Vec<u8>)>,
    pub(super) readings: Vec<Reading>,
    pub(super) began_ms: i64,
    pub(super) day: i64,
    pub(super) bike_words: String,
    pub(super) person_words: String,
    pub(super) cause_words: String,
    pub(super) outside_words: String,
}

impl PreparedSession {
    /// Reads a session's folder. `unverified` admits one that fails verification, marked as such. `now` is the wall time, RFC 3339.
    ///
    /// # Errors
    /// No session; one that fails verification and is not admitted; exceeded [`limits`]; a missing bike; an unreadable time.
    pub fn from(shelf: &mut Shelf, unverified: bool, now: &str) -> Result<PreparedSession, ShopError> {
        let place = shelf.place();
        let refuse = |why: String| ShopError::NotAdded { place: place.clone(), why };
        let journal = read_journal(shelf)?;
        if journal.len() > limits::JOURNAL {
            return Err(refuse(format!("its {JOURNAL_FILE} is larger than {} bytes", limits::JOURNAL)));
        }
        let found = verify(shelf, None)?;
        let fault = match found.faults.first() {
            None => None,
            Some(first) if unverified => Some(format!("{}: {}", first.place, first.what)),
            Some(first) => {
                let (at, what, faults) = (first.place.clone(), first.what.clone(), found.faults.len());
                return Err(ShopError::Unverified { place, at, what, faults });
            }
        };
        let review = gather(shelf)?;
        if review.readings.len().max(review.path.len()).max(review.answers.len()) > limits::READINGS {
            return Err(refuse(format!("it has more than {} checks or readings", limits::READINGS)));
        }
        let mut hashes = Vec::new();
        let scan = chain::scan(&journal, |_, _, hash, fits| {
            if fits {
                hashes.push(hash.to_owned());
            }
        });
        if scan.digest != review.chain.digest.sha256 {
            return Err(refuse("its journal changed while it was read; try again".to_owned()));
        }
        let Some(origin) = hashes.first().cloned() else {
            return Err(refuse("the first line of its journal does not begin a chain".to_owned()));
        };
        let (began_ms, day) = moment(&review.session.began).ok_or_else(|| {
            refuse("the time of its first entry cannot be read, so it has no place among the others".into())
        })?;
        let copies = copies(shelf, &review).map_err(refuse)?;
        let row = row(&review, &origin, fault, now);
        if row.bike.is_empty() {
            return Err(refuse("its journal names no bike, so it could not be found again".to_owned()));
        }
        let readings: Vec<Reading> = review.readings.into_iter().filter(was_measured).collect();
        let outside: BTreeSet<&str> = readings.iter().filter(|r| r.verdict == "bad").map(|r| r.name.as_str()).collect();
        let outside = outside.into_iter().collect::<Vec<_>>().join(" ");
        let cause =
            format!("{} {}", row.cause.as_deref().unwrap_or_default(), row.conclusion.as_deref().unwrap_or_default());
        Ok(PreparedSession {
            bike_words: folded(&row.bike, limits::NAME),
            person_words: folded(&row.person, limits::NAME),
            cause_words: folded(&cause, limits::TEXT),
            outside_words: folded(&outside, OUTSIDE_WORDS),
            row,
            origin,
            journal,
            hashes,
            copies,
            readings,
            began_ms,
            day,
        })
    }

    /// The session's entry in the archive.
    pub fn row(&self) -> &Archived {
        &self.row
    }
}

/// Whether a reading counts in the archive: not one that was corrected, and not one that is only told.
fn was_measured(reading: &Reading) -> bool {
    reading.effective && !reading.told
}

fn row(review: &Review, origin: &str, fault: Option<String>, now: &str) -> Archived {
    let session = &review.session;
    let name = |text: &str| shortened(&plain(text), limits::NAME);
    let text = |text: &str| shortened(&plain(text), limits::TEXT);
    let counting = || review.readings.iter().filter(|reading| was_measured(reading));
    let concluded = review.conclusion.as_ref();
    let count = |n: usize| i64::try_from(n).unwrap_or(i64::MAX);
    Archived {
        // The first 16 digits of a hash always form a 64-bit number.
        mark: origin.get(..16).and_then(mark_named).unwrap_or_default(),
        id: name(&session.id),
        verified: fault.is_none(),
        fault: fault.as_deref().map(text),
        digest: review.chain.digest.sha256.clone(),
        short: review.chain.digest.short.clone(),
        entries: i64::try_from(review.chain.entries).unwrap_or(i64::MAX),
        began: name(&session.began),
        ended: name(&session.ended),
        finished: session.finished,
        bike: name(&session.job.bike),
        mileage: name(&session.job.mileage),
        complaint: text(&session.job.complaint),
        person: name(&session.job.person),
        procedure: concluded.map(|c| name(&c.procedure)),
        conclusion: concluded.map(|c| name(&c.id)),
        cause: concluded.map(|c| text(&c.cause)),
        remedy: concluded.map(|c| text(&c.remedy)),
        readings: count(counting().count()),
        outside: count(counting().filter(|r| r.verdict == "bad").count()),
        added: now.to_owned(),
    }
}

/// The unaltered copies, each once.
fn copies(shelf: &mut Shelf, review: &Review) -> Result<Vec<(StoredCopy, Vec<u8>)>, String> {
    let mut kept: BTreeMap<&str, (StoredCopy, Vec<u8>)> = BTreeMap::new();
    let mut total = 0;
    for copy in review.session.files.iter().filter(|copy| plain_name(&copy.name)) {
        let Ok(bytes) = shelf.read(&copy.name, session_limits::COPY) else { continue };
        if sha256_hex(&bytes) != copy.sha256 {
            continue;
        }
        total += bytes.len();
        if total > limits::COPIES {
            return Err(format!("its copies of procedures and bike are larger than {} bytes", limits::COPIES));
        }
        kept.insert(&copy.name, (copy.clone(), bytes));
    }
    Ok(kept.into_values().collect())
}

/// Milliseconds since 1970 in UTC, and the local day as a number: 20261125.
fn moment(time: &str) -> Option<(i64, i64)> {
    let at: jiff::Timestamp = time.parse().ok()?;
    let day: jiff::civil::Date = time.get(..10)?.parse().ok()?;
    (day.year() > 0).then(|| (at.as_millisecond(), day_number(day)))
}

/// A day as a sortable number: 20261125.
pub(super) fn day_number(day: jiff::civil::Date) -> i64 {
    i64::from(day.year()) * 10_000 + i64::from(day.month()) * 100 + i64::from(day.day())
}

/// Truncated to at most this many bytes, between two characters, and trimmed.
fn shortened(text: &str, most: usize) -> String {
    let text = text.trim();
    let end = (0..=most.min(text.len())).rev().find(|at| text.is_char_boundary(*at)).unwrap_or(0);
    text[..end].trim_end().to_owned()
}

/// Lower case, with one space between words.
pub(super) fn folded(text: &str, most: usize) -> String {
    let words: Vec<String> = plain(text).split_whitespace().map(str::to_lowercase).collect();
    shortened(&words.join(" "), most)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_mark_is_found_by_its_name_only() {
        assert_eq!(mark_named(&mark_name(-2)), Some(-2));
        assert_eq!(mark_named("../../etc/passwd"), None);
    }

    #[test]
    fn a_moment_is_utc_and_its_day_local() {
        // 2026-01-01T00:30 at +01:00 is still 2025 in UTC; 1767223800 s by `date -u -d 2025-12-31T23:30:00 +%s`.
        assert_eq!(moment("2026-01-01T00:30:00.000+01:00"), Some((1_767_223_800_000, 20_260_101)));
        for bad in ["", "yesterday", "99999-01-01T00:00:00Z", "2026-13-01T00:00:00Z", "-000001-01-01T00:00:00Z"] {
            assert_eq!(moment(bad), None, "{bad}");
        }
    }

    proptest! {
        #[test]
        fn texts_are_cut_between_characters(text in "\\PC{0,60}", most in 0usize..40) {
            let cut = shortened(&text, most);
            prop_assert!(cut.len() <= most && text.contains(&cut));
            let words = folded(&text, most);
            prop_assert!(words.len() <= most && !words.contains("  "));
        }

        #[test]
        fn marks_come_back(mark in any::<i64>()) {
            prop_assert_eq!(mark_named(&mark_name(mark)), Some(mark));
        }

        #[test]
        fn any_journal_is_taken_or_refused(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
            let files = BTreeMap::from([(JOURNAL_FILE.to_owned(), bytes)]);
            let _ = PreparedSession::from(&mut Shelf::of("there", files), true, "2026-11-25T10:00:00Z");
        }
    }
}
