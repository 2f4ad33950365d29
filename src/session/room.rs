//! How much room a journal has left before its limit.

use super::limits;

/// How much room there is before the journal's limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Room {
    /// Enough.
    Ample,
    /// Little: whoever walks is to be warned.
    Short,
    /// Only for ending the walk.
    Ending,
}

impl Room {
    /// What is left beside so many bytes.
    pub fn beside(length: u64) -> Self {
        match limits::JOURNAL.saturating_sub(length) {
            left if left <= limits::ENDING => Room::Ending,
            left if left <= limits::WARNED => Room::Short,
            _ => Room::Ample,
        }
    }
}
