//! What the walker waits for. A pause, the question whether to end, and a stop keep what they came between: they cannot be made without it
//! ([`Left`]), since a conclusion that is not on disk yet belongs to no step that could be asked again.

use super::advise::Request;
use super::memory::Taken;
use super::phase_kind::PhaseKind;
use super::table::{Row, row};
use crate::phrase::{Answer, Escape, Hypothesis};
use crate::session::Record;
use crate::sums::Sum;

/// What the walker waits for.
#[derive(Debug, Clone)]
pub(super) enum Phase {
    /// Nothing has begun.
    Idle,
    /// A caution has to be acknowledged; the others follow.
    Caution { now: String, rest: Vec<String> },
    /// A difference in the bike's state has to be confirmed.
    Restate,
    /// The step's question is open.
    Asking,
    /// "Did you say ...?"
    Confirming { heard: Hypothesis, clip: Option<String> },
    /// A number that no bike could show: "is that right?"
    Doubting { answer: Answer, words: String, confidence: f64, clip: Option<String> },
    /// A record is being written.
    Writing { id: u64, owed: Box<Owed> },
    /// Advice is being asked for; then `then`.
    Weighing { id: Request, then: Box<After> },
    /// Which part comes next is being asked; `written` would in the written order.
    Choosing { id: Request, written: usize },
    /// "Shall we make that check again?"
    Offering,
    /// Why is this check left out?
    SkipWhy,
    /// A note is open; what comes after it.
    Noting,
    /// A sum's inputs are asked for; those given so far.
    Reckoning { sum: &'static Sum, given: Vec<f64> },
    /// The last reading is being amended.
    Correcting { index: usize },
    /// Paused by the person, by heat, or in standby; what that came between.
    Waiting { left: Left },
    /// "Shall I end the walk?" What that came between.
    StopConfirm { left: Left },
    /// Storage failed; what is to be written again.
    Stuck { owed: Box<Owed> },
    /// The last words are being said.
    Closing { code: u8, why: String },
    /// The dialogue is over; the guard waits for somebody to confirm that the power is off.
    Guarding { code: u8, why: String },
    /// Over.
    Over,
}

/// A record without which the walk does not go on, and what follows once it is on disk.
#[derive(Debug, Clone)]
pub(super) struct Owed {
    pub record: Record,
    pub then: After,
}

/// What an interruption leaves open.
#[derive(Debug, Clone, Default)]
pub(super) enum Left {
    /// The step at hand: it is asked again.
    #[default]
    Step,
    /// Something that has to be written first.
    Owed(Box<Owed>),
    /// Something is on disk; this has not followed yet.
    Stored(Box<After>),
    /// The choice of the next part; the one that would come in the written order.
    Crossing { written: usize },
}

/// What follows once a record is on disk.
#[derive(Debug, Clone)]
pub(super) enum After {
    /// A choice of the step was taken.
    Chosen { choice: usize, echo: String },
    /// A reading was taken.
    Read { taken: Box<Taken>, amends: bool },
    /// The step was acknowledged or its note taken.
    Done,
    /// An answer that is neither good nor bad was taken.
    Escaped { escape: Escape },
    /// A conclusion was reached.
    Concluded { lines: Vec<String>, last: bool },
    /// The check is left out.
    LeftOut,
    /// A note beside the step was kept.
    NoteKept,
    /// A sum was done; what is said.
    Reckoned { said: String },
    /// The walk was stopped.
    Stopped,
}

impl Phase {
    pub(super) fn kind(&self) -> PhaseKind {
        match self {
            Self::Idle => PhaseKind::Idle,
            Self::Caution { .. } => PhaseKind::Caution,
            Self::Restate => PhaseKind::Restate,
            Self::Asking => PhaseKind::Asking,
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

    /// What the table says of it.
    pub(super) fn row(&self) -> &'static Row {
        row(self.kind())
    }

    /// What is left open where something comes between.
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
