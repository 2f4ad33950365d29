//! Hearing: one utterance of sound and a grammar to hypotheses with probabilities.
//!
//! [`open`] gives the recogniser; [`Recogniser::hear`] is one utterance against one grammar, [`Recogniser::transcribe`] is
//! free text. Files are found by [`models`]; when they are missing, the error's sentence names the command that mends it.

mod decode;
mod engine;
mod expand;
mod fitted;
mod level;
pub mod models;
mod moonshine;
mod network;
mod prior;
mod score;
mod tokenizer;
mod trie;

pub use engine::{DEFAULT_ENGINE, ENGINES, HearError, Recogniser, SAMPLE_RATE, open};
pub use level::{active_level, signal_to_noise};
pub use moonshine::Moonshine;
pub use score::{FEATURE_NAMES, FEATURES};
