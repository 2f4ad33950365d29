//! Recordings judged before they are used.

mod recording;
pub mod takes;

pub use recording::{Echo, Room, Speech, decibels, echo, milliseconds, room, speech, sweep};
