//! One person's voice.

mod personal;
pub(super) mod speaker_bias;

pub use personal::{PersonalVoice, Take, VOICES_VARIABLE, file_of, forget, names, voice_of};
