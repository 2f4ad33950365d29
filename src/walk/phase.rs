//! What the walker waits for. A pause, a stop, and the question whether to end keep what they interrupted. They cannot be built without it
//! ([`Left`]), because a conclusion that is not on disk yet belongs to no step that could be asked again.

use super::advise::Request;
use super::event::SayKind;
use super::memory::{TakenReading, Told};
use super::phase_kind::PhaseKind;
use super::table::{Row, row};
use crate::bike::BikeState;
use crate::phrase::{Answer, Escape, Hypothesis};
use crate::procedure::Target;
use crate::session::Record;
use crate::sums::Sum;

/// What the walker waits for.
#[derive(Debug, Clone)]
pub(super) enum Phase {
    /// The walk has not begun.
    Idle,
    /// The user must acknowledge a caution; the others follow.
    Caution { now: String, rest: Vec<String> },
    /// The user must confirm a change of the bike's state.
    Restate,
    /// The step's question is open.
    Asking,
    /// "What did it show?"
    Telling { made_in: Box<BikeState> },
    /// "Leave it as it was", then what the check showed. `text` names the changes back.
    Undoing { made_in: Box<BikeState>, text: String },
    /// "Did you say ...?"
    Confirming { heard: Hypothesis, clip: Option<String>, told: Told },
    /// The reading is physically implausible: "is that right?"
    Doubting { answer: Answer, words: String, confidence: f64, clip: Option<String>, told: Told },
    /// A record is being written.
    Writing { id: u64, owed: Box<Owed> },
    /// The adviser is working; `then` follows.
    Weighing { id: Request, then: Box<After> },
    /// The adviser chooses what comes next; `written` is where the written route leads.
    Choosing { id: Request, written: Box<Target> },
    /// "Shall we make that check again?"
    Offering,
    /// "Why is this check skipped?"
    SkipWhy,
    /// A note is open; the next utterance is its text.
    Noting,
    /// A sum's inputs are requested; those given so far.
    Reckoning { sum: &'static Sum, given: Vec<f64> },
    /// The last reading is being amended.
    Correcting { index: usize },
    /// Paused by the user or by heat, or in standby; what was interrupted.
    Waiting { left: Left },
    /// "Shall I end the walk?" What was interrupted.
    StopConfirm { left: Left },
    /// Storage failed; what must be written again.
    Stuck { owed: Box<Owed> },
    /// The closing words are being said.
    Closing { code: u8, why: String },
    /// The dialogue is over; the guard waits until somebody confirms that the power is off.
    Guarding { code: u8, why: String },
    /// The walk is over.
    Over,
}

/// A record that must be on disk before the walk goes on, and what follows then.
#[derive(Debug, Clone)]
pub(super) struct Owed {
    pub record: Record,
    pub then: After,
}

/// What an interruption leaves open.
#[derive(Debug, Clone, Default)]
pub(super) enum Left {
    /// The current step: it is asked again.
    #[default]
    Step,
    /// A record that must be written first.
    Owed(Box<Owed>),
    /// A record is on disk, but what follows it has not happened yet.
    Stored(Box<After>),
    /// The choice of what comes next; `written` is where the written route leads.
    Crossing { written: Box<Target> },
}

/// What follows once a record is on disk.
#[derive(Debug, Clone)]
pub(super) enum After {
    /// A choice of the step was accepted.
    Chosen { choice: usize, echo: String, told: Told },
    /// A reading was accepted.
    Read { taken: Box<TakenReading>, amends: bool },
    /// The step was acknowledged, or its note is stored.
    Done,
    /// An escape was accepted.
    Escaped { escape: Escape },
    /// A conclusion was reached; what is said.
    Concluded { lines: Vec<(SayKind, String)>, last: bool },
    /// The check is skipped; whether the user has not got what it needs.
    Skipped { lacks: bool },
    /// A note that belongs to no question was stored.
    NoteKept,
    /// A sum was computed; what is said.
    Reckoned { said: String },
    /// The walk was stopped.
    Stopped,
}

impl After {
    /// Whether it follows an answer that is only told.
    pub(super) fn is_told(&self) -> bool {
        match self {
            Self::Chosen { told, .. } => told.is_some(),
            Self::Read { taken, .. } => taken.told.is_some(),
            _ => false,
        }
    }
}

impl Phase {
    /// The step's open question, or that for what is told.
    pub(super) fn asking(told: Told) -> Self {
        match told {
            Some(made_in) => Self::Telling { made_in },
            None => Self::Asking,
        }
    }

    pub(super) fn kind(&self) -> PhaseKind {
        match self {
            Self::Idle => PhaseKind::Idle,
            Self::Caution { .. } => PhaseKind::Caution,
            Self::Restate => PhaseKind::Restate,
            Self::Asking => PhaseKind::Asking,
            Self::Telling { .. } => PhaseKind::Telling,
            Self::Undoing { .. } => PhaseKind::Undoing,
            Self::Confirming { .. } => PhaseKind::Confirming,
            Self::Doubting { .. } => PhaseKind::Doubting,
            Self::Writing { .. } => PhaseKind::Writing,
            Self::Weighing { .. } => PhaseKind::Weighing,
            Self::Choosing { .. } => PhaseKind::Choosing,
            Self::Offering => PhaseKind::Offering,
            Self::SkipWhy => PhaseKind::SkipWhy,
            Self::Noting => PhaseKind::Noting,
            Self::Reckoning { .. } => PhaseKind::Reckoning,
            Self::Correcting { .. } => PhaseKind::Correcting,
            Self::Waiting { .. } => PhaseKind::Waiting,
            Self::StopConfirm { .. } => PhaseKind::StopConfirm,
            Self::Stuck { .. } => PhaseKind::Stuck,
            Self::Closing { .. } => PhaseKind::Closing,
            Self::Guarding { .. } => PhaseKind::Guarding,
            Self::Over => PhaseKind::Over,
        }
    }

    /// The phase's row of the table.
    pub(super) fn row(&self) -> &'static Row {
        row(self.kind())
    }

    /// What is left open if something interrupts this phase.
    pub(super) fn into_left(self) -> Left {
        match self {
            Self::Writing { owed, .. } | Self::Stuck { owed } => Left::Owed(owed),
            Self::Weighing { then, .. } => Left::Stored(then),
            Self::Choosing { written, .. } => Left::Crossing { written },
            Self::Waiting { left } | Self::StopConfirm { left } => left,
            _ => Left::Step,
        }
    }
}
