//! Why nothing could be heard.

use super::voice_error::VoiceError;
use std::fmt::Display;
use std::path::Path;

/// Why nothing could be heard.
#[derive(Debug, thiserror::Error)]
pub enum HearError {
    /// The model's files are not on this machine.
    #[error(
        "the speech model is not on this machine (looked in {looked}); run models/setup once, with a network connection"
    )]
    ModelMissing {
        /// The folders that were looked in.
        looked: String,
    },
    /// The model's files are there and cannot be used.
    #[error("the speech model's file {path} cannot be used: {why}; run ./models/setup --verify, which fetches it anew")]
    ModelDamaged {
        /// The file.
        path: String,
        /// What the loader said.
        why: String,
    },
    /// No such recogniser.
    #[error("there is no recogniser named \"{name}\"; choose one of: {known}")]
    UnknownEngine {
        /// What was asked for.
        name: String,
        /// What there is.
        known: String,
    },
    /// Something of the recogniser vosk is not on this machine, or it ended.
    #[error(
        "the recogniser vosk cannot be used: {why}. models/README.md says what it needs and where to put it; without --engine vosk the recogniser moonshine is used (English only)"
    )]
    VoskMissing {
        /// What.
        why: String,
    },
    /// Words that a model does not know.
    #[error(
        "the model in {model} does not know these words: {words}. Choose other words in the procedure or the vocabulary, or another model"
    )]
    UnknownWords {
        /// The words.
        words: String,
        /// The model.
        model: String,
    },
    /// A recogniser that knows no single person's voice.
    #[error(
        "the recogniser {engine} cannot learn or use one person's voice; use the recogniser moonshine, or leave the voice out"
    )]
    NoVoices {
        /// The recogniser.
        engine: String,
    },
    /// A voice that another recogniser learnt.
    #[error(
        "the voice of {name} was learnt with the recogniser {theirs}, not with {ours}; learn it again with: probeside enrol \"{name}\""
    )]
    OtherVoice {
        /// Whose voice.
        name: String,
        /// The model that it was learnt with.
        theirs: String,
        /// The model in use.
        ours: String,
    },
    /// A voice that is missing or damaged.
    #[error(transparent)]
    Voice(#[from] VoiceError),
    /// The model failed while it ran.
    #[error("the speech model failed on this utterance: {0}")]
    Failed(String),
}

impl HearError {
    /// A file of the model that cannot be used.
    pub(super) fn damaged(path: &Path, why: impl Display) -> Self {
        HearError::ModelDamaged { path: path.display().to_string(), why: why.to_string() }
    }

    /// True when the machine lacks something that `models/setup` brings (exit code 3).
    pub fn is_machine(&self) -> bool {
        matches!(self, HearError::ModelMissing { .. } | HearError::ModelDamaged { .. } | HearError::VoskMissing { .. })
    }
}

impl From<ort::Error> for HearError {
    fn from(error: ort::Error) -> Self {
        HearError::Failed(error.to_string())
    }
}
