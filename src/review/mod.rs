//! What a journal says, for the person who reads it afterwards: the conclusion first, then readings with their corrections, the way
//! through the procedure, cautions, what was left out, interruptions and gaps.
//!
//! [`gather`](fn@gather) reads a journal, which may come from a stranger, into a [`Review`]; [`text()`], [`csv()`], [`vtt()`] and serde's
//! JSON print one, [`whole`](fn@whole) gives the whole session's sound where it was kept. [`verify`](fn@verify) says whether a session's folder is complete and unaltered.

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
use crate::session::{Clip, Digest, Job, StoredCopy};
use crate::units::{Quantity, Unit};
use serde::Serialize;

/// Name of the JSON schema, in every review.
pub const SCHEMA: &str = "probeside-review";
/// Version of the JSON schema: counted up when a key is renamed, removed or changes its meaning, not when one is added.
pub const SCHEMA_VERSION: u32 = 1;

/// `10:14:03` of an RFC 3339 time.
fn clock(time: &str) -> String {
    time.split_once('T').map_or(time, |(_, time)| time).chars().take("10:14:03".len()).collect()
}

/// A step with its loop item: `points-gap (left)`.
fn place(step: &str, round: &Option<String>) -> String {
    round.as_ref().map_or_else(|| step.to_owned(), |round| format!("{step} ({round})"))
}

/// A session as its journal tells it. Serialised, this is the documented JSON: keys are the fields' names, times are RFC 3339 with
/// offset, `mono_ms` milliseconds since the session began, absent things `null`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Review {
    /// [`SCHEMA`].
    pub schema: &'static str,
    /// [`SCHEMA_VERSION`].
    pub version: u32,
    /// Which session.
    pub session: Session,
    /// How far the journal can be trusted.
    pub chain: Chain,
    /// The conclusion the walk ended with; none if it did not come to one.
    pub conclusion: Option<Conclusion>,
    /// Every conclusion, those of called procedures included, in order.
    pub conclusions: Vec<Conclusion>,
    /// What was left of everything that could be wrong after each answer, where the walk went with advice.
    pub suspects: Vec<Suspects>,
    /// Every reading in order, amended ones included.
    pub readings: Vec<Reading>,
    /// Choices, acknowledgements of steps, unsure answers.
    pub answers: Vec<Answer>,
    /// Cautions that were acknowledged.
    pub cautions: Vec<Caution>,
    /// Checks that were left out.
    pub untested: Vec<Remark>,
    /// What was heard and not taken, silences included.
    pub not_taken: Vec<Remark>,
    /// Notes of the person and remarks of reviewers.
    pub notes: Vec<Remark>,
    /// Pauses, lost microphones, stops, resumes, torn ends.
    pub interruptions: Vec<Remark>,
    /// Times in which nothing was written, and jumps of the wall clock.
    pub gaps: Vec<Remark>,
    /// Steps in the order they were entered.
    pub path: Vec<Entered>,
    /// Everything the walker wrote down, in order, in words.
    pub events: Vec<Event>,
    /// What was said and heard, by session time.
    pub transcript: Vec<Line>,
    /// Clips of sound that were announced, with their files in the session's folder.
    pub clips: Vec<Clip>,
    /// Lines that this version could not make sense of.
    pub unread: Vec<Remark>,
}

/// Which session it was.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Session {
    /// Its id.
    pub id: String,
    /// The program that wrote it.
    pub program: String,
    /// Wall time of the first entry.
    pub began: String,
    /// Wall time of the last.
    pub ended: String,
    /// It was ended, not broken off.
    pub finished: bool,
    /// The job.
    pub job: Job,
    /// Copies kept with it.
    pub files: Vec<StoredCopy>,
}

/// How whole the journal is.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Chain {
    /// `whole`, `torn` (the last write was cut short) or `broken` (altered).
    pub state: &'static str,
    /// The first line that does not fit, from 1.
    pub line: Option<u64>,
    /// Why not.
    pub why: Option<String>,
    /// Lines that fit.
    pub entries: u64,
    /// Digest of these.
    pub digest: Digest,
}

/// A conclusion.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Conclusion {
    /// When.
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
    /// Ruled out.
    pub rules_out: Vec<String>,
    /// Not tested.
    pub not_tested: Vec<String>,
    /// Suspects that the answers did not rule out, with their shares.
    pub not_ruled_out: Vec<String>,
    /// To check again after the repair.
    pub recheck: Vec<String>,
    /// To reconnect or switch off.
    pub put_back: Vec<String>,
}

/// What was left after an answer.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Suspects {
    /// When.
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
    /// When.
    pub time: String,
    /// Session time.
    pub mono_ms: u64,
    /// Step.
    pub step: String,
    /// Loop item.
    pub round: Option<String>,
    /// Name.
    pub name: String,
    /// What was measured.
    pub quantity: Quantity,
    /// How it was given: `plain`, `about`, `over-range`, `no-reading`.
    pub kind: ReadingKind,
    /// The number in `unit`; `null` when over range or nothing was shown.
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
    /// It was asked back and agreed to.
    pub confirmed: bool,
    /// Number of the reading it amends or, after going back, takes the place of; its own where both have one number.
    pub amends: Option<u32>,
    /// Number of the last reading that amends it; its own where both have one number.
    pub amended_by: Option<u32>,
    /// No later reading amends it: this is the one that counts. Of a reading and its corrections exactly one does.
    pub effective: bool,
    /// The instrument and where its leads were, as the bike's state was agreed.
    pub instrument: Option<Instrument>,
    /// Clip id.
    pub clip: Option<String>,
}

/// An answer that is not a number.
#[derive(Debug, Default, Clone, PartialEq, Serialize)]
pub struct Answer {
    /// When.
    pub time: String,
    /// Step.
    pub step: String,
    /// Loop item.
    pub round: Option<String>,
    /// The answer: a choice's id, `done`, an escape.
    pub answer: String,
    /// Words heard.
    pub words: String,
    /// How it was said back.
    pub echo: String,
    /// `good`, `bad`, `neither`.
    pub means: String,
    /// Probability, where there is one.
    pub confidence: Option<f64>,
    /// It was asked back and agreed to.
    pub confirmed: bool,
    /// Clip id.
    pub clip: Option<String>,
}

/// A caution that was acknowledged.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Caution {
    /// When.
    pub time: String,
    /// Step it came before.
    pub step: String,
    /// Loop item.
    pub round: Option<String>,
    /// Caution id.
    pub caution: String,
    /// Signal word.
    pub signal: String,
    /// What was said.
    pub said: String,
}

/// Something worth a line.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Remark {
    /// When.
    pub time: String,
    /// Step, where it belongs to one.
    pub step: Option<String>,
    /// Loop item.
    pub round: Option<String>,
    /// What.
    pub what: String,
}

/// A step that was entered.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Entered {
    /// When.
    pub time: String,
    /// Procedure.
    pub procedure: String,
    /// Step.
    pub step: String,
    /// Loop item.
    pub round: Option<String>,
    /// What was asked.
    pub asked: String,
}

/// One record in words.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Event {
    /// Number of the entry.
    pub seq: u64,
    /// When.
    pub time: String,
    /// Session time.
    pub mono_ms: u64,
    /// Kind of record: `entered`, `answered`, `read`, ...
    pub event: &'static str,
    /// Step, where it belongs to one.
    pub step: Option<String>,
    /// Loop item.
    pub round: Option<String>,
    /// In words.
    pub what: String,
}

/// A line of the transcript.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Line {
    /// `program` or `person`.
    pub who: &'static str,
    /// Begin, session time in milliseconds.
    pub began_ms: u64,
    /// End.
    pub ended_ms: u64,
    /// The words.
    pub text: String,
    /// Clip id.
    pub clip: Option<String>,
}
