//! Presents a journal to a later reader: the conclusion first, then readings with their corrections, the path through the procedure,
//! cautions, skipped checks, interruptions and gaps.
//!
//! [`gather`](fn@gather) reads a journal, which may come from a stranger, into a [`Review`]. [`text()`], [`csv()`], [`vtt()`] and serde's
//! JSON print it. [`whole`](fn@whole) returns the audio of the whole session, if it was kept. [`verify`](fn@verify) checks that a session's
//! folder is complete and unaltered.

mod corrected;
mod csv;
mod gather;
mod page;
mod sentence;
mod text;
mod verify;
mod vtt;
mod whole;

pub use csv::{TABLE, csv};
pub use gather::gather;
pub use page::{Around, PAGE_FILE, customer, dressed, page, page_in, policy};
#[cfg(feature = "shop")]
pub(crate) use sentence::{limits, short, shown};
pub use text::{plain, text};
pub use verify::{Finding, Verification, to_be_done, verify};
pub use vtt::{CAPTIONS, vtt};
pub use whole::{SOUND, Whole, pieces, whole};

use crate::advice::Weighed;
use crate::bike::Instrument;
use crate::phrase::ReadingKind;
use crate::session::{Clip, Digest, JobDetails, StoredCopy};
use crate::units::{Quantity, Unit};
use serde::Serialize;

/// Name of the JSON schema, in every review.
pub const SCHEMA: &str = "probeside-review";
/// Version of the JSON schema. Incremented when a key is renamed, removed or changes its meaning, but not when one is added.
pub const SCHEMA_VERSION: u32 = 1;

/// `10:14:03` of an RFC 3339 time.
fn clock(time: &str) -> String {
    time.split_once('T').map_or(time, |(_, time)| time).chars().take("10:14:03".len()).collect()
}

/// Stands beside an answer that is only told.
fn as_told(told: bool) -> &'static str {
    if told { ", as told" } else { "" }
}

/// A step with its loop item: `points-gap (left)`.
fn place(step: &str, round: &Option<String>) -> String {
    round.as_ref().map_or_else(|| step.to_owned(), |round| format!("{step} ({round})"))
}

/// A session as its journal tells it. Serialised, this is the documented JSON: keys are the fields' names, times are RFC 3339 with offset,
/// `mono_ms` is milliseconds since the session started, and missing values are `null`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Review {
    /// [`SCHEMA`].
    pub schema: &'static str,
    /// [`SCHEMA_VERSION`].
    pub version: u32,
    /// The session.
    pub session: Session,
    /// How trustworthy the journal is.
    pub chain: Chain,
    /// The conclusion that ended the walk, if it reached one.
    pub conclusion: Option<Conclusion>,
    /// Every conclusion, those of called procedures included, in order.
    pub conclusions: Vec<Conclusion>,
    /// The remaining suspects after each answer, if the walk had advice enabled.
    pub suspects: Vec<Suspects>,
    /// Every reading in order, amended ones included.
    pub readings: Vec<Reading>,
    /// Choices, acknowledgements of steps, escapes.
    pub answers: Vec<Answer>,
    /// Cautions that were acknowledged.
    pub cautions: Vec<Caution>,
    /// Skipped checks.
    pub untested: Vec<Remark>,
    /// Rejected utterances, silences included.
    #[serde(rename = "not_taken")]
    pub no_answers: Vec<Remark>,
    /// Notes by the user and remarks by reviewers.
    pub notes: Vec<Remark>,
    /// Pauses, lost microphones, stops, resumes, torn ends.
    pub interruptions: Vec<Remark>,
    /// Periods without entries, and jumps of the wall clock.
    pub gaps: Vec<Remark>,
    /// Steps in the order they were entered.
    pub path: Vec<Entered>,
    /// Every record of the walker, in order, in words.
    pub events: Vec<Event>,
    /// What was said and heard, by session time.
    pub transcript: Vec<TranscriptLine>,
    /// Announced audio clips, with their files in the session's folder.
    pub clips: Vec<Clip>,
    /// Lines that this version could not read.
    pub unread: Vec<Remark>,
}

/// Identifies the session.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Session {
    /// Its id.
    pub id: String,
    /// The program that wrote it.
    pub program: String,
    /// Wall time of the first entry.
    pub began: String,
    /// Wall time of the last entry.
    pub ended: String,
    /// Whether it was ended properly.
    pub finished: bool,
    /// The job.
    pub job: JobDetails,
    /// The copies in its folder.
    pub files: Vec<StoredCopy>,
}

/// The integrity of the journal.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Chain {
    /// `whole`, `torn` (the last write was incomplete) or `broken` (altered).
    pub state: &'static str,
    /// The first line that does not fit, from 1.
    pub line: Option<u64>,
    /// Why it does not fit.
    pub why: Option<String>,
    /// Number of lines that fit.
    pub entries: u64,
    /// Digest of these lines.
    pub digest: Digest,
}

/// A conclusion.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Conclusion {
    /// Wall time.
    pub time: String,
    /// Procedure.
    pub procedure: String,
    /// Conclusion id.
    pub id: String,
    /// Loop item.
    pub round: Option<String>,
    /// Cause.
    pub cause: String,
    /// Remedy.
    pub remedy: String,
    /// What it rules out.
    pub rules_out: Vec<String>,
    /// What was not tested.
    pub not_tested: Vec<String>,
    /// Suspects that the answers did not rule out, with their shares.
    pub not_ruled_out: Vec<String>,
    /// What to check again after the repair.
    pub recheck: Vec<String>,
    /// What to reconnect or switch off.
    pub put_back: Vec<String>,
}

/// The suspects after an answer.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Suspects {
    /// Wall time.
    pub time: String,
    /// Step that was answered.
    pub step: String,
    /// Loop item.
    pub round: Option<String>,
    /// The suspects.
    #[serde(flatten)]
    pub weighed: Weighed,
}

/// A reading.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Reading {
    /// Number in the session.
    pub number: u32,
    /// Wall time.
    pub time: String,
    /// Session time.
    pub mono_ms: u64,
    /// Step.
    pub step: String,
    /// Loop item.
    pub round: Option<String>,
    /// Name.
    pub name: String,
    /// The measured quantity.
    pub quantity: Quantity,
    /// How it was given: `plain`, `about`, `over-range`, `no-reading`.
    pub kind: ReadingKind,
    /// The number in `unit`. `null` if the meter was over range or showed nothing.
    pub value: Option<f64>,
    /// Its unit.
    pub unit: Unit,
    /// `good`, `bad`, `neither`.
    pub verdict: String,
    /// Band.
    pub band: Option<String>,
    /// Lower limit.
    pub low: Option<f64>,
    /// Upper limit.
    pub high: Option<f64>,
    /// Source of the limits.
    pub source: String,
    /// Words heard.
    pub words: String,
    /// Probability.
    pub confidence: f64,
    /// Whether it was confirmed.
    pub confirmed: bool,
    /// Number of the reading that it amends or, after going back, replaces. Its own number if both have the same.
    pub amends: Option<u32>,
    /// Number of the last reading that amends it. Its own number if both have the same.
    pub amended_by: Option<u32>,
    /// Whether this is the reading that counts, because no later one amends it. Exactly one of a reading and its corrections is.
    pub effective: bool,
    /// The instrument and its leads, from the agreed state of the bike.
    pub instrument: Option<Instrument>,
    /// Clip id.
    pub clip: Option<String>,
    /// Whether it is only told: measured before the walk came to this check.
    pub told: bool,
}

/// An answer that is not a number.
#[derive(Debug, Default, Clone, PartialEq, Serialize)]
pub struct Answer {
    /// Wall time.
    pub time: String,
    /// Step.
    pub step: String,
    /// Loop item.
    pub round: Option<String>,
    /// The answer: a choice's id, `done`, an escape.
    pub answer: String,
    /// Words heard.
    pub words: String,
    /// The spoken confirmation.
    pub echo: String,
    /// `good`, `bad`, `neither`.
    pub means: String,
    /// Probability, if known.
    pub confidence: Option<f64>,
    /// Whether it was confirmed.
    pub confirmed: bool,
    /// Clip id.
    pub clip: Option<String>,
    /// Whether it is only told: the check was made before the walk came to it.
    pub told: bool,
}

/// A caution that was acknowledged.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Caution {
    /// Wall time.
    pub time: String,
    /// The step it precedes.
    pub step: String,
    /// Loop item.
    pub round: Option<String>,
    /// Caution id.
    pub caution: String,
    /// Signal word.
    pub signal: String,
    /// The spoken text.
    pub said: String,
}

/// An event worth a line.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Remark {
    /// Wall time.
    pub time: String,
    /// Step, if it belongs to one.
    pub step: Option<String>,
    /// Loop item.
    pub round: Option<String>,
    /// The event in words.
    pub what: String,
}

/// A step that was entered.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Entered {
    /// Wall time.
    pub time: String,
    /// Procedure.
    pub procedure: String,
    /// Step.
    pub step: String,
    /// Loop item.
    pub round: Option<String>,
    /// The prompt.
    pub asked: String,
}

/// One record in words.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Event {
    /// Number of the entry.
    pub seq: u64,
    /// Wall time.
    pub time: String,
    /// Session time.
    pub mono_ms: u64,
    /// Kind of record: `entered`, `answered`, `read`, ...
    pub event: &'static str,
    /// Step, if it belongs to one.
    pub step: Option<String>,
    /// Loop item.
    pub round: Option<String>,
    /// In words.
    pub what: String,
}

/// A line of the transcript.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct TranscriptLine {
    /// `program` or `person`.
    pub who: &'static str,
    /// Start, session time in milliseconds.
    pub began_ms: u64,
    /// End, session time in milliseconds.
    pub ended_ms: u64,
    /// The words.
    pub text: String,
    /// Clip id.
    pub clip: Option<String>,
}
