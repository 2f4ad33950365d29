//! What the walker remembers: where it is, what was read, what was said.

use super::advise::Observation;
use super::event::SayKind;
use crate::advice::Weighed;
use crate::bike::BikeState;
use crate::phrase::Reading;
use crate::procedure::{Meaning, Route, Seen, Target};
use crate::units::Unit;
use serde_json::Value;
use std::collections::BTreeSet;
use std::sync::Arc;

/// One round of a loop that the walk is in.
#[derive(Debug, Clone)]
pub(super) struct Round {
    /// Loop id.
    pub each: String,
    /// Name of the item in templates.
    pub bind: String,
    /// All items; those who walk the same loop share them.
    pub items: Arc<[Arc<Value>]>,
    /// The one at hand.
    pub at: usize,
}

/// One procedure on the stack of calls.
#[derive(Debug, Clone)]
pub(super) struct Frame {
    pub procedure: String,
    pub rounds: Vec<Round>,
    pub step: String,
    /// In the calling frame: where to go on when the called procedure is over.
    pub then: Option<Target>,
}

/// Where the walk is, whole: what "go back" goes back to.
#[derive(Debug, Clone, Default)]
pub(super) struct Position {
    pub frames: Vec<Frame>,
    pub seen: Seen,
    /// Doubted steps that a `back` returns to, innermost last.
    pub doubting: Vec<Vec<Frame>>,
    /// Number of the reading that was taken here, if one was.
    pub reading: Option<u32>,
    /// Answers that tell something, where advice is asked for.
    pub observed: Vec<Arc<Observation>>,
    /// What was left after the last of them.
    pub weighed: Option<Arc<Weighed>>,
    /// Where it is among the procedure's parts.
    pub parts: Parts,
}

/// How much is said.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Detail {
    Short,
    #[default]
    Normal,
    Long,
}

/// A reading as it was taken.
#[derive(Debug, Clone)]
pub(super) struct Taken {
    pub number: u32,
    pub name: String,
    pub step: String,
    pub frames: Vec<Frame>,
    pub unit: Unit,
    pub resolution: f64,
    pub reading: Reading,
    pub band: Option<usize>,
    /// How many positions "go back" knew when it was taken.
    pub history: usize,
}

/// Where the walk is among the parts of its procedure; which are over is only kept in best order.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Parts {
    /// The part at hand.
    pub at: Option<usize>,
    /// Those that are over.
    pub over: BTreeSet<usize>,
}

/// Why a walker goes through parts in other than the written order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Ordered {
    /// The best part comes next.
    Best,
    /// This part alone is walked, to see what comes of it.
    Only(usize),
}

/// What the guard knows.
#[derive(Debug, Clone, Default)]
pub(super) struct Guard {
    /// The bike may still be as it was here, with current in a coil: what ends it was told, and nobody has confirmed it.
    pub suspect: Option<BikeState>,
    /// The text that told what ends it.
    pub cure: Option<String>,
    /// Current may stand in a coil since then (ms).
    pub since_ms: u64,
    /// Its timer is due then (ms).
    pub due_ms: Option<u64>,
    /// It has asked, and nobody has confirmed.
    pub raised: bool,
    /// It was put off once.
    pub put_off: bool,
    /// What it said last, and the prompt's id.
    pub said: String,
    pub prompt: Option<u64>,
    /// Whether current stands in a coil, by state.
    pub known: Vec<(BikeState, bool)>,
    /// The bike's wiring tells how its coils are fed.
    pub wired: Option<bool>,
}

/// A prompt that has not ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Spoken {
    pub hearing: Hearing,
    pub kind: SayKind,
    pub text: String,
}

/// Whether something that came to its end was only printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Printed {
    /// It was said.
    No,
    /// The loudspeaker was lost.
    Only,
}

/// Whether a prompt may be spoken over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Hearing {
    /// It is cut when somebody begins to speak.
    Cut,
    /// It is heard out.
    Whole,
}

impl Hearing {
    /// Of what is said for this reason.
    pub(super) fn of(kind: SayKind) -> Self {
        match kind {
            SayKind::Caution | SayKind::Echo | SayKind::Question => Self::Whole,
            SayKind::Prompt | SayKind::Notice | SayKind::Conclusion => Self::Cut,
        }
    }
}

/// What is listened for over a prompt.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Over {
    /// Only what silences it.
    Silencing,
    /// Whatever the question allows.
    Answer,
}

/// Where an answer would have led when something came between.
#[derive(Debug, Clone)]
pub(super) struct Pending {
    pub answer: String,
    pub go: Route,
    pub means: Meaning,
}

/// A check that is offered for repeating, or is being repeated.
#[derive(Debug, Clone)]
pub(super) struct Doubt {
    /// Where the walk would go on.
    pub pending: Pending,
    /// The position of the doubtful check among those that "go back" knows.
    pub history: usize,
    /// The bike's state at that check.
    pub state: BikeState,
    /// What was answered there.
    pub was: String,
    /// Set while it is repeated: the whole position at the moment of the offer, and the bike's state then.
    pub saved: Option<Box<(Position, BikeState)>>,
}

/// The round of the innermost loop.
pub(super) fn round_of(frames: &[Frame]) -> Option<String> {
    let round = frames.iter().rev().find_map(|f| f.rounds.last())?;
    round.items[round.at].get("id").and_then(Value::as_str).map(str::to_owned)
}
