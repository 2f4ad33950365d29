//! The room a journal has left before it reaches its limit.

use super::limits;

/// How much room is left before the journal's limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Room {
    /// Enough.
    Ample,
    /// Little. The user should be warned.
    Short,
    /// Only enough to end the walk.
    Ending,
}

impl Room {
    /// The room left after this many bytes.
    pub fn beside(length: u64) -> Self {
        match limits::JOURNAL.saturating_sub(length) {
            left if left <= limits::ENDING => Room::Ending,
            left if left <= limits::WARNED => Room::Short,
            _ => Room::Ample,
        }
    }
}
