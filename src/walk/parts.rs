//! The parts that a walker is made of. Each owns its fields; what a part can do by itself is said beside it.

use super::advise::Observation;
use super::event::SayKind;
use super::memory::{Detail, Doubt, Frame, Guard, Ordered, Over, Position, Printed, Spoken, Taken};
use super::phase::Left;
use crate::advice::Weighed;
use crate::bike::BikeState;
use crate::phrase::Answer;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Where the walk is and has been.
#[derive(Clone)]
pub(super) struct Place {
    pub at: Position,
    /// The positions that "go back" knows.
    pub history: Vec<Position>,
    /// Answers doubted already: step, round and answer.
    pub doubted: BTreeSet<String>,
    /// A battery check is being made again; where the walk goes on.
    pub detour: Option<Position>,
    /// Steps that were left out since the last one that was asked.
    pub steps_taken: u32,
    /// Checks left out, in words.
    pub untested: Vec<(String, String)>,
}

impl Place {
    /// Before the first step of a procedure.
    pub(super) fn start_of(procedure: &str) -> Self {
        let first = Frame { procedure: procedure.to_owned(), rounds: Vec::new(), step: String::new(), then: None };
        Self {
            at: Position { frames: vec![first], ..Position::default() },
            history: Vec::new(),
            doubted: BTreeSet::new(),
            detour: None,
            steps_taken: 0,
            untested: Vec::new(),
        }
    }
}

/// What is said and heard.
#[derive(Clone, Default)]
pub(super) struct Conversation {
    pub detail: Detail,
    /// Prompts that have not ended.
    pub speaking: BTreeMap<u64, Spoken>,
    /// What came to its end since the step was entered.
    pub heard_whole: BTreeMap<String, Printed>,
    /// What was asked last, to be said again.
    pub last_said: Vec<(String, SayKind)>,
    /// Sentences that wait for the end of an answer.
    pub untold: Vec<&'static str>,
    /// The open listen.
    pub listening: Option<u64>,
    /// A listen opens once everything has been said.
    pub listen_after: bool,
    /// Prompts may be spoken over.
    pub bargein: bool,
    /// What the open listen is for while prompts sound.
    pub over: Option<Over>,
    /// A prompt was cut by the speech under way.
    pub cut_short: bool,
    /// Number of consecutive prompts interrupted by a non-answer.
    pub in_vain: u32,
    /// Answers not understood at this step.
    pub misses: u32,
    /// Answers to the question at hand that were asked back and denied.
    pub denied: Vec<Answer>,
    /// "Not sure" so far at this step.
    pub unsure: u32,
    pub silences: u32,
    /// When a stranger was last heard (ms).
    pub stranger_at: Option<u64>,
    /// Since when somebody has been speaking (ms).
    pub speech_since: Option<u64>,
    /// Since when the walk waits (ms).
    pub waiting_since: Option<u64>,
    pub microphone_gone: bool,
    pub loudspeaker_gone: bool,
}

/// Cautions and who acknowledged them.
#[derive(Clone, Default)]
pub(super) struct Cautions {
    /// When each was last acknowledged (ms), by its text: the same words in a called procedure are the same caution.
    pub agreed: BTreeMap<String, u64>,
    /// The prompt with the one at hand: its signal word, and what was said with it.
    pub text: String,
    /// The one at hand in the words that were said.
    pub words: String,
    /// Those that were acknowledged when they could only be printed.
    pub printed: BTreeSet<String>,
    /// After the last one the bike's state is restated.
    pub restates: bool,
}

/// The bike as agreed, and the guard over its coils.
#[derive(Clone, Default)]
pub(super) struct Bike {
    pub state: BikeState,
    pub guard: Guard,
    /// The state in which a check is made out of its turn, until it is agreed.
    pub restoring: Option<BikeState>,
}

/// Readings as taken, for "last reading" and "correct that".
#[derive(Clone, Default)]
pub(super) struct Readings {
    pub all: Vec<Taken>,
    /// The reading being corrected while its new value is questioned.
    pub correcting: Option<usize>,
}

/// What has to do with an adviser.
#[derive(Clone, Default)]
pub(super) struct Advised {
    /// Advice is asked for after every answer.
    pub wanted: bool,
    /// The answer at hand and what is left after it, before they have their place.
    pub fresh: Option<(Arc<Observation>, Option<Arc<Weighed>>)>,
    /// The answer at hand was asked back and agreed to.
    pub was_confirmed: bool,
    /// The doubtful check that is offered or repeated.
    pub doubt: Option<Doubt>,
    /// Checks that were said to be doubtful.
    pub doubts_told: BTreeSet<String>,
    /// The parts come in another order than the written one.
    pub ordered: Option<Ordered>,
}

/// How the walk comes to its end.
#[derive(Clone, Default)]
pub(super) struct Ending {
    /// The program was asked to end from outside; who asks again means at once.
    pub stop_asked: bool,
    /// Why it was, while a record is waited for.
    pub stop_why: Option<String>,
    /// What a stop left open.
    pub left: Left,
    /// Stopped before a conclusion.
    pub stopped: bool,
    pub concluded_as: String,
}
