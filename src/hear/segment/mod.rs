//! Utterances cut out of a stream of sound.

pub(super) mod activity;
mod detector;
mod nearness;
mod open_speech;
pub(super) mod settings;

pub use activity::{Activity, Voiced};
pub use nearness::Nearness;
pub use settings::ActivitySettings;
