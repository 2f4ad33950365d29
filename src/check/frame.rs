//! Where a walk is: the step, and what has to be gone back to (loops, doubted steps, calling procedures), innermost last.

/// Something to come back to.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(super) enum Frame {
    /// A round of a loop, from 0.
    Loop { id: String, round: usize },
    /// The step that is doubted.
    Doubt { step: String },
    /// The calling procedure, and the number of the target to go on with.
    Call { procedure: usize, then: usize },
}

/// A place on a walk.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(super) struct At {
    /// Number of the procedure; 0 is the one that is checked.
    pub procedure: usize,
    /// Step id.
    pub step: String,
    /// What to come back to.
    pub frames: Vec<Frame>,
    /// The part of the procedure that is checked, by its number, where it has parts and one was begun.
    pub part: Option<usize>,
}

/// The part of `frames` that belongs to the procedure at hand begins here.
pub(super) fn own_from(frames: &[Frame]) -> usize {
    frames.iter().rposition(|frame| matches!(frame, Frame::Call { .. })).map_or(0, |call| call + 1)
}

/// Where the innermost loop of the procedure at hand stands in `frames`.
pub(super) fn innermost_loop(frames: &[Frame]) -> Option<usize> {
    let own = own_from(frames);
    frames[own..].iter().rposition(|frame| matches!(frame, Frame::Loop { .. })).map(|at| own + at)
}

/// Where the innermost doubt of the procedure at hand stands in `frames`.
pub(super) fn innermost_doubt(frames: &[Frame]) -> Option<usize> {
    let own = own_from(frames);
    frames[own..].iter().rposition(|frame| matches!(frame, Frame::Doubt { .. })).map(|at| own + at)
}

/// Where the innermost call stands in `frames`.
pub(super) fn innermost_call(frames: &[Frame]) -> Option<usize> {
    own_from(frames).checked_sub(1)
}
