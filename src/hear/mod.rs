//! Microphone, WAV file or typed line to utterances, and utterances to hypotheses.

pub mod activity;
mod ears;
#[cfg(feature = "sound")]
mod mic;
#[cfg(not(feature = "sound"))]
#[path = "no_mic.rs"]
mod mic;
mod mic_error;
mod pedal;
pub mod resample;
mod script;
mod typed;
mod wav;

pub use activity::{Activity, ActivitySettings, Voiced};
pub use ears::{EarEvent, EarSender, Ears, PedalKey, RATE, Utterance};
pub use mic::Mic;
#[cfg(feature = "sound")]
pub use mic::MicLevel;
pub use mic_error::MicError;
pub use pedal::Pedal;
pub use script::{Given, Script};
pub use typed::Typed;
pub(crate) use wav::decode as decode_wav;
pub use wav::{WavEars, WavError, read_wav, read_wav_as_is, to_16_bit, write_wav};
