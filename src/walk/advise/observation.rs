//! What was observed at a check, as an adviser is told it.

use crate::bike::BikeState;
use crate::circuit::Question;

/// A check as it is made: where, and in which state of the bike.
#[derive(Debug, Clone, PartialEq)]
pub struct Check {
    /// Procedure id.
    pub procedure: String,
    /// Step id.
    pub step: String,
    /// The round of its innermost loop.
    pub round: Option<String>,
    /// The bike's state as agreed.
    pub state: BikeState,
    /// What is observed, and which answers there are.
    pub question: Question,
}

/// What was seen.
#[derive(Debug, Clone, PartialEq)]
pub enum Saw {
    /// A choice by its id.
    Choice(String),
    /// A number in the unit that was asked for.
    Number {
        /// The number.
        value: f64,
        /// The smallest step that it is said in.
        resolution: f64,
        /// It was said to be about so much.
        about: bool,
    },
    /// The meter's end.
    OverRange,
    /// Nothing: something was done.
    Done,
}

/// One answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Observation {
    /// The check.
    pub check: Check,
    /// What was seen.
    pub saw: Saw,
    /// Probability of just this answer when it has nothing to do with what was to be seen: a slip takes any of them alike.
    pub at_random: f64,
    /// The answer in words.
    pub words: String,
    /// The question in words.
    pub asked: String,
    /// It was asked back and agreed to.
    pub confirmed: bool,
    /// How many positions "go back" knew when it was given: its place in the walk.
    pub(in crate::walk) history: usize,
    /// The reading's number.
    pub(in crate::walk) reading: Option<u32>,
}

impl Observation {
    /// Where it is: `points-turn left`.
    pub fn place(&self) -> String {
        let step = &self.check.step;
        self.check.round.as_ref().map_or_else(|| step.clone(), |round| format!("{step} {round}"))
    }

    /// The answer's short name as routes know it: a choice's id, `over-range`, or none for a number.
    pub fn name(&self) -> String {
        match &self.saw {
            Saw::Choice(id) => id.clone(),
            Saw::OverRange => "over-range".to_owned(),
            Saw::Done => "done".to_owned(),
            Saw::Number { value, .. } => {
                let band = self.check.question.limits().iter().find(|band| *value < band.below);
                band.or(self.check.question.limits().last()).map_or_else(String::new, |band| band.id.clone())
            }
        }
    }
}
