//! What a mechanic at the bike knows when a listen begins: the place in the walk, the allowed phrases, what is to be confirmed, and what
//! was accepted.

use crate::diagnose::Asked;
use crate::phrase::{Answer, Grammar};
use crate::session::Record;
use crate::walk::Walker;
use std::sync::Arc;

/// What a simulated mechanic knows when a listen begins.
#[derive(Clone, Default)]
pub struct MechanicView {
    /// The current step.
    pub step: String,
    /// The round of its loop.
    pub round: Option<String>,
    /// The allowed phrases.
    pub grammar: Grammar,
    /// Whether the step's own question is open.
    pub asking: bool,
    /// That question.
    pub asked: Option<Arc<Asked>>,
    /// The answer to be confirmed.
    pub questioned: Option<Answer>,
    /// The last answer accepted, and the number of answers accepted before it.
    pub accepted: Option<(usize, Answer)>,
}

impl MechanicView {
    /// Updates the view when a listen begins.
    pub fn listen(&mut self, walker: &Walker, grammar: &Grammar) {
        let (step, round) = walker.place();
        *self = MechanicView {
            step: step.to_owned(),
            round: round.map(str::to_owned),
            grammar: grammar.clone(),
            asking: walker.is_asking(),
            asked: Asked::by(walker, walker.world()).ok().flatten().map(Arc::new),
            questioned: walker.questioned(),
            accepted: self.accepted.take(),
        };
    }

    /// Remembers an answer that is recorded.
    pub fn note(&mut self, record: &Record) {
        let answer = match record {
            Record::Answered { answer, .. } => answer.clone(),
            Record::Read { reading, .. } => Answer::Reading(reading.clone()),
            Record::Escaped { escape, .. } => Answer::Escape(*escape),
            Record::Acknowledged { .. } => Answer::Done,
            Record::PowerOff { confirmed: true, .. } => Answer::PowerOff,
            Record::Controlled { command, .. } => Answer::Command(*command),
            _ => return,
        };
        let before = self.accepted.as_ref().map_or(0, |(before, _)| before + 1);
        self.accepted = Some((before, answer));
    }
}
