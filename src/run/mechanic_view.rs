//! What somebody at the bike knows when a listen begins: where the walk is, what may be said, what is asked back, what was taken.

use crate::phrase::{Answer, Grammar};
use crate::session::Record;
use crate::walk::Walker;

/// What an invented mechanic knows when a listen begins.
#[derive(Debug, Clone, Default)]
pub struct MechanicView {
    /// Step at hand.
    pub step: String,
    /// Round of its loop.
    pub round: Option<String>,
    /// What may be said.
    pub grammar: Grammar,
    /// The step's own question is open.
    pub asking: bool,
    /// What is asked back.
    pub questioned: Option<Answer>,
    /// What was taken last for an answer, and how many answers were taken before it.
    pub taken: Option<(usize, Answer)>,
}

impl MechanicView {
    /// A listen begins.
    pub fn listen(&mut self, walker: &Walker, grammar: &Grammar) {
        let (step, round) = walker.place();
        *self = MechanicView {
            step: step.to_owned(),
            round: round.map(str::to_owned),
            grammar: grammar.clone(),
            asking: walker.is_asking(),
            questioned: walker.questioned(),
            taken: self.taken.take(),
        };
    }

    /// Something is written down; an answer is kept in mind.
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
        let before = self.taken.as_ref().map_or(0, |(before, _)| before + 1);
        self.taken = Some((before, answer));
    }
}
