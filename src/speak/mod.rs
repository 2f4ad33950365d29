//! Speech output: turns a prompt's text into sound, print or a WAV file.
//!
//! [`Mouth`] is the trait of every output, [`Voice`] the trait of every synthesiser; each has one file per implementation.

#[cfg(feature = "sound")]
mod aloud;
#[cfg(not(feature = "sound"))]
#[path = "no_aloud.rs"]
mod aloud;
mod cache;
#[cfg(feature = "sound")]
mod device;
mod espeak;
mod flite;
mod printed;
mod program;
#[cfg(any(feature = "sound", feature = "system-voice"))]
mod prompt_queue;
mod say;
#[cfg(feature = "system-voice")]
mod system;
mod tape;
mod tones;
mod voice;
mod volume;

pub use aloud::Aloud;
pub use cache::Cached;
pub use espeak::Espeak;
pub use flite::Flite;
pub use printed::Printed;
pub use say::{Mouth, MouthEvent, MouthSender, RATE, Say, Tone};
#[cfg(feature = "system-voice")]
pub use system::SystemVoice;
pub use tape::Tape;
pub use tones::tone_samples;
pub use voice::{Pcm, SpeakError, Voice};
