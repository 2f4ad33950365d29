//! The demonstration's story and its simulated mechanic, who replaces the microphone: synthetic speech stands in for a real walk's audio.

pub mod story;

mod faulty;
mod mechanic;

pub use faulty::FaultyBike;
pub use mechanic::Mechanic;
pub use story::Story;
