//! What the walker remembers: its place, the readings, and what was said.

use super::advise::Observation;
use super::event::SayKind;
use crate::advice::{Weighed, Why};
use crate::bike::BikeState;
use crate::expression::Seen;
use crate::phrase::Reading;
use crate::procedure::{Meaning, Route, Target};
use crate::units::Unit;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// One round of a loop that the walk is in.
#[derive(Debug, Clone)]
pub(super) struct Round {
    /// Loop id.
    pub each: String,
    /// Name of the item in templates.
    pub bind: String,
    /// All items. Walkers in the same loop share them.
    pub items: Arc<[Arc<Value>]>,
    /// Index of the current item.
    pub at: usize,
}

/// One procedure on the call stack.
#[derive(Debug, Clone)]
pub(super) struct Frame {
    pub procedure: String,
    pub rounds: Vec<Round>,
    pub step: String,
    /// In the calling frame: where to continue after the called procedure.
    pub then: Option<Target>,
}

/// The walk's whole position. "Go back" restores it.
#[derive(Debug, Clone, Default)]
pub(super) struct Position {
    pub frames: Vec<Frame>,
    pub seen: Seen,
    /// Doubted steps that a `back` returns to, innermost last.
    pub doubting: Vec<Vec<Frame>>,
    /// Number of the reading taken here, if any.
    pub reading: Option<u32>,
    /// Answers that carry information. Used with advice only.
    pub observed: Vec<Arc<Observation>>,
    /// The adviser's result after the last of them.
    pub weighed: Option<Arc<Weighed>>,
    /// Whether the checks may come in any order from here on.
    pub free: bool,
    /// Steps before an instrument's first reading that were come to.
    pub readied: BTreeSet<String>,
    /// Names of the instruments and test parts that the user does not have.
    pub lacking: BTreeSet<String>,
    /// Checks whose answer is only told, as for a skipped check, with the answer in words.
    pub told: BTreeMap<String, String>,
    /// The check whose answer was told last, if no other answer came since: its key, and where it stands.
    pub told_last: Option<(String, Vec<Frame>)>,
    /// Cautions, by id, of checks that were told of before these were acknowledged: the next step may rely on such a check's state.
    pub owed_cautions: Vec<String>,
    /// Whether something was made as good as new: what was done before does not tell of it.
    pub mended: bool,
    /// Why the check at hand came next, in best order.
    pub why: Option<Arc<Why>>,
}

impl Position {
    /// A check was made after all: what was told of it no longer counts.
    pub(super) fn made_now(&mut self, key: &str) {
        self.told.remove(key);
        self.told_last.take_if(|(last, _)| last == key);
    }
}

/// How much is said.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Detail {
    Short,
    #[default]
    Normal,
    Long,
}

/// The state of the bike in which a check was made whose answer is only told. `None` for an answer of now.
pub(super) type Told = Option<Box<BikeState>>;

/// A reading as it was taken.
#[derive(Debug, Clone)]
pub(super) struct TakenReading {
    pub number: u32,
    pub name: String,
    pub step: String,
    pub frames: Vec<Frame>,
    pub unit: Unit,
    pub resolution: f64,
    pub reading: Reading,
    pub band: Option<usize>,
    /// Length of the "go back" history when it was taken.
    pub history: usize,
    /// Set if it is only told.
    pub told: Told,
}

/// The guard's state.
#[derive(Debug, Clone, Default)]
pub(super) struct Guard {
    /// The bike may still be in this state, with current in a coil: a prompt asked for the change that ends it, and nobody has confirmed
    /// it.
    pub suspect: Option<BikeState>,
    /// The prompt that asked for that change.
    pub cure: Option<String>,
    /// Time since which current may flow in a coil (ms).
    pub since_ms: u64,
    /// Time at which its timer is due (ms).
    pub due_ms: Option<u64>,
    /// It has asked, and nobody has confirmed.
    pub raised: bool,
    /// It was postponed once.
    pub put_off: bool,
    /// What it said last, and the prompt's id.
    pub said: String,
    pub prompt: Option<u64>,
    /// Cached circuit results: whether current flows in a coil, by state.
    pub known: Vec<(BikeState, bool)>,
    /// Whether the bike's wiring data cover the supply of its coils.
    pub wired: Option<bool>,
}

/// A prompt that has not ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Spoken {
    pub hearing: Hearing,
    pub kind: SayKind,
    pub text: String,
}

/// Whether a prompt that ended was only printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Printed {
    /// It was spoken.
    No,
    /// It was only printed: the loudspeaker was lost.
    Only,
}

/// Whether the user may interrupt a prompt.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Hearing {
    /// It is cut when somebody begins to speak.
    Cut,
    /// It plays to its end.
    Whole,
}

impl Hearing {
    /// The rule for prompts of this kind.
    pub(super) fn of(kind: SayKind) -> Self {
        match kind {
            SayKind::Caution | SayKind::Echo | SayKind::Question => Self::Whole,
            SayKind::Prompt | SayKind::Notice | SayKind::Conclusion => Self::Cut,
        }
    }
}

/// What is listened for while a prompt plays.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Over {
    /// Only the commands that silence it.
    Silencing,
    /// Any answer that the question allows.
    Answer,
}

/// Where an answer would have led, had nothing intervened.
#[derive(Debug, Clone)]
pub(super) struct Pending {
    pub answer: String,
    pub go: Route,
    pub means: Meaning,
}

/// A check that the walker offers to repeat, or is repeating.
#[derive(Debug, Clone)]
pub(super) struct Doubt {
    /// Where the walk would go on.
    pub pending: Pending,
    /// The doubtful check's index in the "go back" history.
    pub history: usize,
    /// The bike's state at that check.
    pub state: BikeState,
    /// The answer given there.
    pub was: String,
    /// Set during the repeat: the whole position at the time of the offer, and the bike's state then.
    pub saved: Option<Box<(Position, BikeState)>>,
}

/// The round of the innermost loop.
pub(super) fn round_of(frames: &[Frame]) -> Option<String> {
    let round = frames.iter().rev().find_map(|f| f.rounds.last())?;
    round.items[round.at].get("id").and_then(Value::as_str).map(str::to_owned)
}
