//! Hearing turns a microphone, a WAV file or a typed line into utterances, and an utterance into hypotheses against a grammar.
//!
//! [`Ears`] is the trait of every source of answers. [`open`] opens a recogniser; [`Recogniser::hear`] decodes one utterance against one
//! grammar, [`Recogniser::transcribe`] decodes free text.
//!
//! Two chains of folders stand on the files of this room. A folder may use the folders to its left and never one to its right:
//!
//! - sound to utterances: `models < segment < echo < capture`;
//! - utterance to hypotheses: `models < decode < speaker < engines`.
//!
//! `checkup` judges recordings with both. The files of this room are what several folders share: [`Ears`] and the sample rate, levels,
//! resampling, WAV files, the shape of an utterance, and the errors. `tests/house.rs` finds any circle of files or of folders.

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
pub use capture::{Mic, MicError, Pedal, Script, ScriptAnswer, Typed, WavEars};
pub use checkup::takes;
pub use decode::{DecodingEvidence, FEATURE_NAMES, FEATURES, Spelled, shaped};
pub use ears::{EarEvent, EarSender, Ears, PedalKey, RATE, SAMPLE_RATE, Utterance};
pub use echo::{PlayedTo, Reference, reference};
#[cfg(feature = "vosk")]
pub use engines::Vosk;
pub use engines::{ENGINES, EngineChoice, Moonshine, Recogniser, open, open_for};
pub use hear_error::HearError;
pub use level::active_level;
pub use segment::{Activity, ActivitySettings, Nearness, Voiced};
pub use shape::UtteranceShape;
pub use speaker::{PersonalVoice, Take, file_of, forget, names, voice_of};
pub use voice_error::VoiceError;
pub(crate) use wav::decode as decode_wav;
pub use wav::{WavError, read_wav, read_wav_as_is, to_16_bit, write_wav};
