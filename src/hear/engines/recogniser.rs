//! The trait of every recogniser.

use crate::hear::hear_error::HearError;
use crate::hear::shape::UtteranceShape;
use crate::hear::speaker::PersonalVoice;
use crate::phrase::{Grammar, Hypotheses, Vocabulary};

/// Turns one utterance into hypotheses.
pub trait Recogniser: Send {
    /// The name by which it is chosen.
    fn name(&self) -> &str;

    /// Hypotheses for an utterance against a grammar. `sound` is mono at [`SAMPLE_RATE`](crate::hear::SAMPLE_RATE), -1 to 1.
    fn hear(&mut self, sound: &[f32], grammar: &Grammar) -> Result<Hypotheses, HearError>;

    /// Best-effort transcript without a grammar. `sound` is as in [`Recogniser::hear`], up to half a minute.
    fn transcribe(&mut self, sound: &[f32]) -> Result<String, HearError>;

    /// Name of its model. An enrolled voice belongs to one model.
    fn model(&self) -> &str {
        self.name()
    }

    /// The shape of an utterance, for enrolling a voice.
    ///
    /// # Errors
    /// When this recogniser cannot enrol voices, or the model fails.
    fn shape(&mut self, sound: &[f32]) -> Result<UtteranceShape, HearError> {
        let _ = sound;
        Err(HearError::NoVoices { engine: self.name().to_owned() })
    }

    /// Adapts to this person from now on.
    ///
    /// # Errors
    /// When this recogniser cannot adapt, or the voice was enrolled with another model.
    fn use_voice(&mut self, voice: PersonalVoice) -> Result<(), HearError> {
        let _ = voice;
        Err(HearError::NoVoices { engine: self.name().to_owned() })
    }

    /// Does the one-time work for `grammar` in advance, so that the first answer is as fast as later ones. Meant for idle time, such as while
    /// the prompt is spoken. Optional.
    fn prepare(&mut self, grammar: &Grammar) -> Result<(), HearError> {
        let _ = grammar;
        Ok(())
    }

    /// Sets the vocabulary of numbers and units; it is English until then. `elsewhere` are phrases that other steps of the walk allow. Where
    /// the grammar does not allow them, they count as fillers instead of being taken for the nearest phrase of the grammar.
    fn use_words(&mut self, vocabulary: &Vocabulary, elsewhere: &[String]) {
        let _ = (vocabulary, elsewhere);
    }
}
