//! Hearing: microphone, WAV file or typed line to utterances, and an utterance against a grammar to hypotheses.

mod capture;
pub mod checkup;
mod decode;
mod ears;
mod echo;
mod engines;
mod hear_error;
mod level;
pub mod models;
pub mod resample;
mod segment;
mod shape;
mod speaker;
mod voice_error;
mod wav;

#[cfg(feature = "sound")]
pub use capture::{Duplex, EchoState, MicLevel};
pub use capture::{Given, Mic, MicError, Pedal, Script, Typed, WavEars};
pub use checkup::takes;
pub use decode::{Evidence, FEATURE_NAMES, FEATURES, Spelled, shaped};
pub use ears::{EarEvent, EarSender, Ears, PedalKey, RATE, SAMPLE_RATE, Utterance};
pub use echo::{PlayedTo, Reference, reference};
#[cfg(feature = "vosk")]
pub use engines::Vosk;
pub use engines::{DEFAULT_ENGINE, ENGINES, Moonshine, Recogniser, Wanted, open, open_for};
pub use hear_error::HearError;
pub use level::{active_level, signal_to_noise};
pub use segment::{Activity, ActivitySettings, Nearness, Voiced};
pub use shape::Shape;
pub use speaker::{PersonalVoice, Take, VOICES_VARIABLE, file_of, forget, names, voice_of};
pub use voice_error::VoiceError;
pub(crate) use wav::decode as decode_wav;
pub use wav::{WavError, read_wav, read_wav_as_is, to_16_bit, write_wav};
