//! What a recogniser is.

use crate::hear::hear_error::HearError;
use crate::hear::shape::Shape;
use crate::hear::speaker::PersonalVoice;
use crate::phrase::{Grammar, Hypotheses, Vocabulary};

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
