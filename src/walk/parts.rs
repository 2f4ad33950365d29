//! The walker's parts. Each owns its fields and has the methods that need no other part.

use super::advise::Observation;
use super::event::SayKind;
use super::memory::{Detail, Doubt, Frame, Guard, Over, Position, Printed, Spoken, TakenReading};
use super::phase::Left;
use crate::advice::{Found, Weighed};
use crate::bike::BikeState;
use crate::phrase::Answer;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Where the walk is and has been.
#[derive(Clone)]
pub(super) struct Place {
    pub at: Position,
    /// The positions that "go back" can restore.
    pub history: Vec<Position>,
    /// Answers that were already doubted: step, round and answer.
    pub doubted: BTreeSet<String>,
    /// Set while a battery check is repeated: where the walk goes on afterwards.
    pub detour: Option<Position>,
    /// Number of consecutive skipped steps.
    pub steps_taken: u32,
    /// Skipped checks, in words.
    pub untested: Vec<(String, String)>,
}

impl Place {
    /// The position before a procedure's first step.
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
    /// Prompts that played to their end since the step was entered.
    pub heard_whole: BTreeMap<String, Printed>,
    /// The last question, for repeating.
    pub last_said: Vec<(String, SayKind)>,
    /// Sentences that wait for the end of an answer.
    pub deferred: Vec<&'static str>,
    /// The open listen.
    pub listening: Option<u64>,
    /// Whether a listen opens once everything has been said.
    pub listen_after: bool,
    /// Whether the user may speak over prompts.
    pub bargein: bool,
    /// What the open listen accepts while prompts play.
    pub over: Option<Over>,
    /// Whether the current speech cut a prompt.
    pub cut_short: bool,
    /// Number of consecutive prompts interrupted by a non-answer.
    pub false_bargeins: u32,
    /// Number of answers not understood at this step.
    pub misses: u32,
    /// Answers to the open question that the user denied when asked to confirm them.
    pub denied: Vec<Answer>,
    /// Number of "not sure" answers at this step.
    pub unsure: u32,
    pub silences: u32,
    /// When a stranger was last heard (ms).
    pub stranger_at: Option<u64>,
    /// When the current speech began (ms).
    pub speech_since: Option<u64>,
    /// Whether the walk waits of its own accord, with the step's question open: an answer ends that.
    pub answer_ends_pause: bool,
    /// Whether the walker has said, since the last answer, that it hears somebody else.
    pub told_of_strangers: bool,
    /// The next listen begins without its tone.
    pub no_tone: bool,
    /// When the walk began to wait (ms).
    pub waiting_since: Option<u64>,
    pub microphone_gone: bool,
    pub loudspeaker_gone: bool,
}

/// Cautions and their acknowledgements.
#[derive(Clone, Default)]
pub(super) struct Cautions {
    /// When each was last acknowledged (ms), by its text: the same words in a called procedure are the same caution.
    pub agreed: BTreeMap<String, u64>,
    /// The prompt with the current caution: signal word and text.
    pub text: String,
    /// The current caution as it was spoken.
    pub words: String,
    /// Cautions acknowledged while they could only be printed.
    pub printed: BTreeSet<String>,
    /// Whether the bike's state is restated after the last one.
    pub restates: bool,
}

/// The bike's agreed state, and the guard over its coils.
#[derive(Clone, Default)]
pub(super) struct Bike {
    pub state: BikeState,
    pub guard: Guard,
    /// The step whose prompt asked for changes last, as for a skipped check, and the state before them.
    pub before: Option<(String, BikeState)>,
    /// The state in which a check is repeated out of turn, until the user agrees to it.
    pub restoring: Option<BikeState>,
}

/// Readings as taken, for "last reading" and "correct that".
#[derive(Clone, Default)]
pub(super) struct Readings {
    pub all: Vec<TakenReading>,
    /// The reading that is being corrected while the walker questions its new value.
    pub correcting: Option<usize>,
}

/// State for the adviser.
#[derive(Clone, Default)]
pub(super) struct Advised {
    /// Whether advice is requested after every answer.
    pub wanted: bool,
    /// The latest answer and the suspects after it, before they are stored in the position.
    pub fresh: Option<(Arc<Observation>, Option<Arc<Weighed>>)>,
    /// Whether the latest answer was confirmed.
    pub was_confirmed: bool,
    /// The doubtful check that is offered for repeating or being repeated.
    pub doubt: Option<Doubt>,
    /// Checks that were already announced as doubtful.
    pub doubts_told: BTreeSet<String>,
    /// Whether the checks come in the best order instead of the written one.
    pub best: bool,
}

/// How the walk ends.
#[derive(Clone, Default)]
pub(super) struct Ending {
    /// Whether something outside asked the program to end. A second request ends it at once.
    pub stop_asked: bool,
    /// The reason for that request, kept while a record is pending.
    pub stop_why: Option<String>,
    /// Whether the user ends here for now because parts have to come first.
    pub awaits_parts: bool,
    /// What a stop left open.
    pub left: Left,
    /// Whether the walk was stopped before a conclusion.
    pub stopped: bool,
    pub concluded_as: String,
    /// What a walk in best order found.
    pub found: Option<Arc<Found>>,
}
