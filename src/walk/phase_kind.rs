//! The phases of a walk by name.

/// The phases by name: the rows of the [table](super::row).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PhaseKind {
    /// Nothing has begun.
    Idle,
    /// A caution has to be acknowledged.
    Caution,
    /// A difference in the bike's state has to be confirmed.
    Restate,
    /// The step's question is open.
    Asking,
    /// An answer is asked back.
    Confirming,
    /// A number that no bike could show is questioned.
    Doubting,
    /// A record is being written.
    Writing,
    /// Advice is being asked for.
    Weighing,
    /// Which part comes next is being asked.
    Choosing,
    /// A doubtful check is offered for repeating.
    Offering,
    /// A check is left out: why?
    SkipWhy,
    /// A note is open.
    Noting,
    /// A sum's inputs are asked for.
    Reckoning,
    /// The last reading is being amended.
    Correcting,
    /// A pause.
    Waiting,
    /// Whether to end is asked.
    StopConfirm,
    /// Storage failed.
    Stuck,
    /// The last words are being said.
    Closing,
    /// The dialogue is over, the guard is not.
    Guarding,
    /// Over.
    Over,
}

impl PhaseKind {
    /// All of them, in the order of the table.
    pub const ALL: [Self; 20] = [
        Self::Idle,
        Self::Caution,
        Self::Restate,
        Self::Asking,
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
