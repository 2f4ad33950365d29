//! Checkup: judges recordings, of the room and the microphone for the sound check, and takes of a phrase for enrolment.
//!
//! This folder must not know how a recording was made, nor what the user is told about it.

mod recording;
pub mod takes;

pub use recording::{Echo, RoomNoise, Speech, decibels, echo, milliseconds, room, speech, sweep};
