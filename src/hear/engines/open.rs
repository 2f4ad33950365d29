//! Which recognisers there are.

use super::moonshine::{MOONSHINE, Moonshine};
use super::recogniser::Recogniser;
use crate::hear::hear_error::HearError;
use std::path::Path;

/// The recogniser that is used when none is named.
pub const DEFAULT_ENGINE: &str = MOONSHINE;
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_unknown_engine_is_a_sentence_with_the_choices() {
        let said = open(Some("oracle")).err().expect("no such engine").to_string();
        assert!(said.contains("oracle") && said.contains(DEFAULT_ENGINE), "{said}");
    }
}
