//! What a recogniser is, which ones there are, and what can go wrong with them.

use super::moonshine::Moonshine;
use crate::phrase::{Grammar, Hypotheses, Vocabulary};
use std::fmt::Display;
use std::path::Path;

/// Sample rate of all sound handed to a recogniser, in hertz.
pub const SAMPLE_RATE: usize = 16_000;
/// The recogniser that is used when none is named.
pub const DEFAULT_ENGINE: &str = "moonshine";
/// Every recogniser's name.
pub const ENGINES: &[&str] = &[DEFAULT_ENGINE];

/// Turns one utterance into hypotheses.
pub trait Recogniser: Send {
    /// The name it is chosen by.
    fn name(&self) -> &str;

    /// What may have been said, of what `grammar` allows. `sound` is one utterance, mono at [`SAMPLE_RATE`], -1 to 1.
    fn hear(&mut self, sound: &[f32], grammar: &Grammar) -> Result<Hypotheses, HearError>;

    /// The words of an utterance, best effort, with no grammar. `sound` as in [`Recogniser::hear`], up to half a minute.
    fn transcribe(&mut self, sound: &[f32]) -> Result<String, HearError>;

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
pub fn open(engine: Option<&str>) -> Result<Box<dyn Recogniser>, HearError> {
    match engine.unwrap_or(DEFAULT_ENGINE) {
        DEFAULT_ENGINE => Ok(Box::new(Moonshine::open()?)),
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
        matches!(self, HearError::ModelMissing { .. } | HearError::ModelDamaged { .. })
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
