//! Opens a recogniser by name.

use super::moonshine::{MOONSHINE, Moonshine};
use super::recogniser::Recogniser;
use crate::hear::hear_error::HearError;
use std::path::Path;

/// The default recogniser.
const DEFAULT_ENGINE: &str = MOONSHINE;
/// Names of all recognisers.
pub const ENGINES: &[&str] = &[
    DEFAULT_ENGINE,
    #[cfg(feature = "vosk")]
    super::vosk::VOSK,
];
/// The language of the default recogniser.
const DEFAULT_LANGUAGE: &str = "en";

/// Choice of a recogniser.
#[derive(Debug, Clone, Copy, Default)]
pub struct EngineChoice<'a> {
    /// Its name. Without one it is the default, or vosk for a language that the default does not know.
    pub engine: Option<&'a str>,
    /// The model's folder, for vosk.
    pub model: Option<&'a Path>,
    /// The language of the vocabulary; English by default.
    pub language: Option<&'a str>,
}

/// Opens a recogniser by name; without a name, the default one.
///
/// # Errors
/// When its name is unknown or its model is missing.
pub fn open(engine: Option<&str>) -> Result<Box<dyn Recogniser>, HearError> {
    open_for(EngineChoice { engine, ..EngineChoice::default() })
}

/// Opens the chosen recogniser.
///
/// # Errors
/// When its name is unknown or its model is missing.
pub fn open_for(choice: EngineChoice<'_>) -> Result<Box<dyn Recogniser>, HearError> {
    let language = choice.language.unwrap_or(DEFAULT_LANGUAGE);
    let language = language.split('-').next().unwrap_or(DEFAULT_LANGUAGE);
    let usual = if language == DEFAULT_LANGUAGE && choice.model.is_none() { DEFAULT_ENGINE } else { "vosk" };
    match choice.engine.unwrap_or(usual) {
        DEFAULT_ENGINE => Ok(Box::new(Moonshine::open()?)),
        #[cfg(feature = "vosk")]
        super::vosk::VOSK => Ok(Box::new(super::vosk::Vosk::open(choice.model, language)?)),
        other => Err(HearError::UnknownEngine { name: other.to_owned(), known: ENGINES.join(", ") }),
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
