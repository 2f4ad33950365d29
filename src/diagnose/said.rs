//! How much a walk says: words, cautions and their acknowledgements, and the words until the first fact about the circuit.

use super::Asked;
use crate::bike::{Engine, InstrumentKind};
use crate::session::Record;
use crate::walk::{Effect, SayKind};

/// What a walk has said so far.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Said {
    /// Words, cautions not counted.
    pub words: usize,
    /// Words of cautions, with what asks for their acknowledgement.
    pub caution_words: usize,
    /// Cautions that were acknowledged.
    pub acknowledged: usize,
    /// Words, cautions not counted, until the first answer that tells something about the circuit.
    pub until_first_fact: Option<usize>,
}

impl Said {
    /// Counts what an effect says or records.
    pub(super) fn count(&mut self, effect: &Effect) {
        match effect {
            Effect::Say { text, kind, .. } => {
                let words = text.split_whitespace().count();
                let of = if *kind == SayKind::Caution { &mut self.caution_words } else { &mut self.words };
                *of += words;
            }
            Effect::Record { record: Record::Acknowledged { .. }, .. } => self.acknowledged += 1,
            _ => {}
        }
    }

    /// Adds what was said meanwhile.
    pub(super) fn add(&mut self, more: &Self) {
        self.words += more.words;
        self.caution_words += more.caution_words;
        self.acknowledged += more.acknowledged;
    }

    /// This question is about to be answered.
    pub(super) fn answered(&mut self, asked: &Asked) {
        let measures = |kind| kind != InstrumentKind::Feeler;
        let measured = asked.state.instrument.as_ref().is_some_and(|one| measures(one.kind));
        let is_fact = asked.decides() && (measured || asked.state.engine == Some(Engine::Kicked));
        if is_fact && self.until_first_fact.is_none() {
            self.until_first_fact = Some(self.words);
        }
    }
}
