//! What a recogniser is, which ones there are, and what can go wrong with them.

use super::moonshine::Moonshine;
use super::personal::{PersonalVoice, Shape, VoiceError};
use crate::phrase::{Grammar, Hypotheses, Vocabulary};
use std::fmt::Display;
use std::path::Path;

/// Sample rate of all sound handed to a recogniser, in hertz.
pub const SAMPLE_RATE: usize = 16_000;
/// The recogniser that is used when none is named.
pub const DEFAULT_ENGINE: &str = "moonshine";
/// Every recogniser's name.
pub const ENGINES: &[&str] = &[
    DEFAULT_ENGINE,
    #[cfg(feature = "vosk")]
    super::vosk::VOSK,
];
/// The language that the default recogniser knows.
const DEFAULT_LANGUAGE: &str = "en";

/// Which recogniser is wanted.
#[derive(Debug, Clone, Copy, Default)]
pub struct Wanted<'a> {
    /// Its name; none is the default one, or vosk for a language that it does not know.
    pub engine: Option<&'a str>,
    /// The folder of its model, for vosk.
    pub model: Option<&'a Path>,
    /// The language of the vocabulary; none is English.
    pub language: Option<&'a str>,
}

/// Turns one utterance into hypotheses.
pub trait Recogniser: Send {
    /// The name it is chosen by.
    fn name(&self) -> &str;

    /// What may have been said, of what `grammar` allows. `sound` is one utterance, mono at [`SAMPLE_RATE`], -1 to 1.
    fn hear(&mut self, sound: &[f32], grammar: &Grammar) -> Result<Hypotheses, HearError>;

    /// The words of an utterance, best effort, with no grammar. `sound` as in [`Recogniser::hear`], up to half a minute.
    fn transcribe(&mut self, sound: &[f32]) -> Result<String, HearError>;

    /// The model behind it: what is learnt of a voice belongs to it.
    fn model(&self) -> &str {
        self.name()
    }

    /// How an utterance sounds, for learning one person's voice.
    ///
    /// # Errors
    /// When this recogniser cannot learn voices, or the model fails.
    fn shape(&mut self, sound: &[f32]) -> Result<Shape, HearError> {
        let _ = sound;
        Err(HearError::NoVoices { engine: self.name().to_owned() })
    }

    /// Hears this person from now on.
    ///
    /// # Errors
    /// When this recogniser cannot, or the voice was learnt with another one.
    fn use_voice(&mut self, voice: PersonalVoice) -> Result<(), HearError> {
        let _ = voice;
        Err(HearError::NoVoices { engine: self.name().to_owned() })
    }

    /// Does beforehand what hearing against `grammar` needs once, so that the first answer comes as fast as the later
    /// ones. For idle time, such as while the prompt is spoken; never necessary.
    fn prepare(&mut self, grammar: &Grammar) -> Result<(), HearError> {
        let _ = grammar;
        Ok(())
    }

    /// Numbers and units are said in the words of this vocabulary from here on; in English until then. `elsewhere` are phrases that
    /// other moments of the walk allow: where the grammar does not, they are known for what they are instead of being taken for
    /// the nearest phrase of it.
    fn use_words(&mut self, vocabulary: &Vocabulary, elsewhere: &[String]) {
        let _ = (vocabulary, elsewhere);
    }
}

/// Opens a recogniser by name, the default one without a name.
///
/// # Errors
/// When it is not known, or its model is missing.
pub fn open(engine: Option<&str>) -> Result<Box<dyn Recogniser>, HearError> {
    open_for(Wanted { engine, ..Wanted::default() })
}

/// Opens the recogniser that is wanted.
///
/// # Errors
/// When it is not known, or its model is missing.
pub fn open_for(wanted: Wanted<'_>) -> Result<Box<dyn Recogniser>, HearError> {
    let language = wanted.language.unwrap_or(DEFAULT_LANGUAGE);
    let language = language.split('-').next().unwrap_or(DEFAULT_LANGUAGE);
    let usual = if language == DEFAULT_LANGUAGE && wanted.model.is_none() { DEFAULT_ENGINE } else { "vosk" };
    match wanted.engine.unwrap_or(usual) {
        DEFAULT_ENGINE => Ok(Box::new(Moonshine::open()?)),
        #[cfg(feature = "vosk")]
        super::vosk::VOSK => Ok(Box::new(super::vosk::Vosk::open(wanted.model, language)?)),
        other => Err(HearError::UnknownEngine { name: other.to_owned(), known: ENGINES.join(", ") }),
    }
}

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
    #[error("the speech model's file {path} cannot be used: {why}; delete it and run models/setup again")]
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_unknown_engine_is_a_sentence_with_the_choices() {
        let said = open(Some("oracle")).err().expect("no such engine").to_string();
        assert!(said.contains("oracle") && said.contains(DEFAULT_ENGINE), "{said}");
    }
}
