//! Microphone, WAV file or typed line to utterances, and utterances to hypotheses.

pub mod activity;
mod ears;
mod script;
mod typed;

pub use activity::{Activity, ActivitySettings, Voiced};
pub use ears::{EarEvent, EarSender, Ears, PedalKey, RATE, Utterance};
pub use script::{Given, Script};
pub use typed::Typed;
