//! Segmentation: cuts utterances out of a stream of 16 kHz sound.
//!
//! This folder owns voice activity, the end of an utterance, the voice detector's network, and the judgement whether a speaker is near.
//! It counts samples and reads no clock. It must not know where the sound comes from, what is being played, or what is said.

pub(super) mod activity;
mod detector;
mod nearness;
mod open_speech;
pub(super) mod settings;

pub use activity::{Activity, Voiced};
pub use nearness::Nearness;
pub use settings::ActivitySettings;
