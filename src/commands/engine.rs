//! The choice of recogniser and of the enrolled voice: the same for every command.

use crate::hear::{self, EngineChoice, HearError, Recogniser};
use crate::run::{Failure, unheard};
use crate::system;
use std::path::PathBuf;

/// The choice of a recogniser.
#[derive(Debug, Clone, Default, clap::Args)]
pub(super) struct EngineArgs {
    /// Use this recogniser: moonshine or vosk [default: moonshine]
    #[arg(long, value_name = "NAME")]
    pub engine: Option<String>,
    /// Read vosk's model from this folder [default: models/cache/vosk-model-LANGUAGE...]
    #[arg(long, value_name = "DIR")]
    pub model: Option<PathBuf>,
    /// Listen for this person, whose voice was learnt with 'probeside enrol NAME'
    #[arg(long, value_name = "NAME")]
    pub voice_of: Option<String>,
}

impl EngineArgs {
    /// Opens the recogniser for a vocabulary's language and gives it the voice.
    pub fn open(&self, language: &str) -> Result<Box<dyn Recogniser>, Failure> {
        self.ready(language).map_err(unheard)
    }

    /// The same, with the recogniser's own error type.
    pub fn ready(&self, language: &str) -> Result<Box<dyn Recogniser>, HearError> {
        let choice =
            EngineChoice { engine: self.engine.as_deref(), model: self.model.as_deref(), language: Some(language) };
        let mut engine = hear::open_for(choice)?;
        if let Some(name) = &self.voice_of {
            if let Some(warning) = hear::file_of(name).ok().and_then(|file| system::private::open_to_others(&file)) {
                crate::terminal::errln!("{warning}");
            }
            engine.use_voice(hear::voice_of(name)?)?;
        }
        Ok(engine)
    }
}
