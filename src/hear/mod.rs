//! Hearing: microphone, WAV file or typed line to utterances, and an utterance against a grammar to hypotheses.
//!
//! [`Ears`] are where answers come from. [`open`] gives the recogniser; [`Recogniser::hear`] is one utterance against one
//! grammar, [`Recogniser::transcribe`] is free text. Model files are found by [`models`]; when they are missing, the error's
//! sentence names the command that mends it.

pub mod activity;
#[cfg(feature = "sound")]
mod canceller;
pub mod checkup;
mod decode;
#[cfg(feature = "sound")]
mod delay;
mod detector;
#[cfg(feature = "sound")]
mod duplex;
mod ears;
mod engine;
mod expand;
mod favour;
mod features;
mod fitted;
mod hear_error;
mod known_clip;
mod known_sound;
mod letters;
mod level;
#[cfg(feature = "sound")]
mod likeness;
#[cfg(feature = "sound")]
mod mic;
#[cfg(not(feature = "sound"))]
#[path = "no_mic.rs"]
mod mic;
mod mic_error;
pub mod models;
mod moonshine;
mod nearness;
mod network;
mod opinion;
#[cfg(feature = "sound")]
mod pairing;
mod pedal;
mod personal;
mod pinned;
mod played;
mod prior;
mod recogniser;
mod remembered;
pub mod resample;
#[cfg(feature = "sound")]
mod residual;
mod score;
mod script;
pub mod takes;
mod tokenizer;
mod trie;
mod typed;
mod views;
mod voice_error;
#[cfg(feature = "vosk")]
mod vosk;
mod wav;

pub use activity::{Activity, ActivitySettings, Voiced};
#[cfg(feature = "sound")]
pub use duplex::{Duplex, EchoState};
pub use ears::{EarEvent, EarSender, Ears, PedalKey, RATE, Utterance};
pub use engine::{DEFAULT_ENGINE, ENGINES, Wanted, open, open_for};
pub use features::{FEATURE_NAMES, FEATURES};
pub use hear_error::HearError;
pub use level::{active_level, signal_to_noise};
pub use mic::Mic;
#[cfg(feature = "sound")]
pub use mic::MicLevel;
pub use mic_error::MicError;
pub use moonshine::Moonshine;
pub use nearness::Nearness;
pub use pedal::Pedal;
pub use personal::{PersonalVoice, Shape, Take, VOICES_VARIABLE, file_of, forget, names, voice_of};
pub use played::{PlayedTo, Reference, reference};
pub use recogniser::{Recogniser, SAMPLE_RATE};
pub use score::{Evidence, Spelled, shaped};
pub use script::{Given, Script};
pub use typed::Typed;
pub use voice_error::VoiceError;
#[cfg(feature = "vosk")]
pub use vosk::Vosk;
pub(crate) use wav::decode as decode_wav;
pub use wav::{WavEars, WavError, read_wav, read_wav_as_is, to_16_bit, write_wav};
