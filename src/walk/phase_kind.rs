//! The names of a walk's phases.

/// The names of the phases: the rows of the [table](super::row).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PhaseKind {
    /// The walk has not begun.
    Idle,
    /// The user must acknowledge a caution.
    Caution,
    /// The user must confirm a change of the bike's state.
    Restate,
    /// The step's question is open.
    Asking,
    /// The walker asks what a check showed that was made before.
    Telling,
    /// The user must take back the changes that such a check's prompt had asked for.
    Undoing,
    /// The walker asks the user to confirm an answer.
    Confirming,
    /// The walker questions a physically implausible reading.
    Doubting,
    /// A record is being written.
    Writing,
    /// The adviser weighs the suspects.
    Weighing,
    /// The adviser chooses what comes next.
    Choosing,
    /// The walker offers to repeat a doubtful check.
    Offering,
    /// The walker asks why a check is skipped.
    SkipWhy,
    /// A note is open.
    Noting,
    /// A sum's inputs are requested.
    Reckoning,
    /// The last reading is being amended.
    Correcting,
    /// The walk is paused.
    Waiting,
    /// The walker asks whether to end.
    StopConfirm,
    /// Storage failed.
    Stuck,
    /// The closing words are being said.
    Closing,
    /// The dialogue is over, the guard is not.
    Guarding,
    /// The walk is over.
    Over,
}

impl PhaseKind {
    /// All phases, in the order of the table.
    pub const ALL: [Self; 22] = [
        Self::Idle,
        Self::Caution,
        Self::Restate,
        Self::Asking,
        Self::Telling,
        Self::Undoing,
        Self::Confirming,
        Self::Doubting,
        Self::Writing,
        Self::Weighing,
        Self::Choosing,
        Self::Offering,
        Self::SkipWhy,
        Self::Noting,
        Self::Reckoning,
        Self::Correcting,
        Self::Waiting,
        Self::StopConfirm,
        Self::Stuck,
        Self::Closing,
        Self::Guarding,
        Self::Over,
    ];
}
