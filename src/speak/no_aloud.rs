//! Stand-in for the loudspeaker in a build without sound.

use super::say::{Mouth, MouthSender, Say};
use super::voice::{SpeakError, Voice};
use crate::hear::PlayedTo;

/// A loudspeaker that cannot be started, since this build has no sound.
#[derive(Debug)]
pub enum Aloud {}

impl Aloud {
    /// Fails with the error that names a build with a loudspeaker.
    ///
    /// # Errors
    /// Always.
    pub fn start(_to: MouthSender, _voice: Box<dyn Voice>) -> Result<Self, SpeakError> {
        Err(SpeakError::NoDevice(String::from(
            "this build has no loudspeaker; build with 'cargo build --release --features sound', or use '--say printed'",
        )))
    }

    /// As [`Aloud::start`].
    ///
    /// # Errors
    /// Always.
    pub fn start_heard(to: MouthSender, voice: Box<dyn Voice>, _played: PlayedTo) -> Result<Self, SpeakError> {
        Self::start(to, voice)
    }
}

impl Mouth for Aloud {
    fn say(&mut self, _say: Say) {}

    fn is_live(&self) -> bool {
        true
    }
}
