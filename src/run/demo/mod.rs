//! The demonstration's story and its invented mechanic, who stands in for ears: what a real walk's microphone gives, this gives by a synthetic voice.

pub mod story;

mod mechanic;

pub use mechanic::Mechanic;
pub use story::Story;
