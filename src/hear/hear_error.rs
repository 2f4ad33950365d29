//! The error of hearing.

use super::voice_error::VoiceError;
use std::fmt::Display;
use std::path::Path;

/// Nothing could be heard.
#[derive(Debug, thiserror::Error)]
pub enum HearError {
    /// The model's files are missing.
    #[error(
        "the speech model is not on this machine (looked in {looked}); run models/setup once, with a network connection"
    )]
    ModelMissing {
        /// The folders searched.
        looked: String,
    },
    /// A model file is unusable.
    #[error("the speech model's file {path} cannot be used: {why}; run ./models/setup --verify, which fetches it anew")]
    ModelDamaged {
        /// The file.
        path: String,
        /// What the loader said.
        why: String,
    },
    /// There is no recogniser of this name.
    #[error("there is no recogniser named \"{name}\"; choose one of: {known}")]
    UnknownEngine {
        /// The name that was asked for.
        name: String,
        /// The known names.
        known: String,
    },
    /// A part of the recogniser vosk is missing, or its process ended.
    #[error(
        "the recogniser vosk cannot be used: {why}; models/README.md says what it needs and where to put it: without --engine vosk the recogniser moonshine is used (English only)"
    )]
    VoskMissing {
        /// The reason.
        why: String,
    },
    /// The model does not know some words.
    #[error(
        "the model in {model} does not know these words: {words}; choose other words in the procedure or the vocabulary, or another model"
    )]
    UnknownWords {
        /// The unknown words.
        words: String,
        /// The model.
        model: String,
    },
    /// The recogniser cannot adapt to a voice.
    #[error(
        "the recogniser {engine} cannot learn or use one person's voice; use the recogniser moonshine, or leave the voice out"
    )]
    NoVoices {
        /// The recogniser.
        engine: String,
    },
    /// The voice was enrolled with another model.
    #[error(
        "the voice of {name} was learnt with the recogniser {theirs}, not with {ours}; learn it again with: probeside enrol \"{name}\""
    )]
    OtherVoice {
        /// The person's name.
        name: String,
        /// The model it was enrolled with.
        theirs: String,
        /// The model in use.
        ours: String,
    },
    /// The voice is missing or damaged.
    #[error(transparent)]
    Voice(#[from] VoiceError),
    /// The model failed at run time.
    #[error("the speech model failed on this utterance: {0}")]
    Failed(String),
}

impl HearError {
    /// The error of an unusable model file.
    pub(super) fn damaged(path: &Path, why: impl Display) -> Self {
        HearError::ModelDamaged { path: path.display().to_string(), why: why.to_string() }
    }

    /// Whether the machine lacks something that `models/setup` provides (exit code 3).
    pub fn is_machine(&self) -> bool {
        matches!(self, HearError::ModelMissing { .. } | HearError::ModelDamaged { .. } | HearError::VoskMissing { .. })
    }
}

impl From<ort::Error> for HearError {
    fn from(error: ort::Error) -> Self {
        HearError::Failed(error.to_string())
    }
}
