//! The conversation: what is listened for, which prompts were heard to the end, barge-in, silence, controls, microphone and pedal. It does
//! not know where an answer leads or where the walk is.

mod control;
mod devices;
mod grammar;
mod heard;
mod over;
mod silence;

pub use grammar::asked;
