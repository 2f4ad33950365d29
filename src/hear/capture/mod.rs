//! Capture: every source of answers, behind the trait [`Ears`](super::Ears): microphone, WAV file, script, typed lines and pedal.
//!
//! This folder owns the devices and their threads, and the decision whether a voice over a prompt is a person or the prompt's echo. It
//! must not know any grammar or recogniser, nor what an answer means.

#[cfg(feature = "sound")]
mod duplex;
#[cfg(feature = "sound")]
mod mic;
#[cfg(not(feature = "sound"))]
#[path = "no_mic.rs"]
mod mic;
mod mic_error;
#[cfg(feature = "sound")]
mod mic_stream;
mod pedal;
mod script;
mod typed;
mod wav_ears;

#[cfg(feature = "sound")]
pub use duplex::{Duplex, EchoState};
pub use mic::Mic;
#[cfg(feature = "sound")]
pub use mic::MicLevel;
pub use mic_error::MicError;
pub use pedal::Pedal;
pub use script::{Script, ScriptAnswer};
pub use typed::Typed;
pub use wav_ears::WavEars;
