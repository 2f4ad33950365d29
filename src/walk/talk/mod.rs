//! The conversation: what is listened for, what was heard to its end, speaking over prompts, silence, controls, microphone and pedal. What an answer
//! leads to, and where the walk is, it does not know.

mod control;
mod devices;
mod grammar;
mod heard;
mod over;
mod silence;

pub use grammar::asked;
