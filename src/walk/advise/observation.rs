//! Observations at checks, as the adviser receives them.

use crate::bike::BikeState;
use crate::circuit::Question;

/// A check as it is made: its place, and the bike's state.
#[derive(Debug, Clone, PartialEq)]
pub struct Check {
    /// Procedure id.
    pub procedure: String,
    /// Step id.
    pub step: String,
    /// The round of the step's innermost loop.
    pub round: Option<String>,
    /// The agreed state of the bike.
    pub state: BikeState,
    /// What is observed, and the possible answers.
    pub question: Question,
}

impl Check {
    /// Its place, as that of a skipped check: `PROCEDURE/STEP/ROUND`.
    pub(in crate::walk) fn key(&self) -> String {
        format!("{}/{}/{}", self.procedure, self.step, self.round.as_deref().unwrap_or_default())
    }
}

/// What was seen.
#[derive(Debug, Clone, PartialEq)]
pub enum Saw {
    /// A choice, by its id.
    Choice(String),
    /// A number in the unit of the question.
    Number {
        /// The number.
        value: f64,
        /// The smallest step in which users say the value.
        resolution: f64,
        /// Whether the user said "about".
        about: bool,
    },
    /// Over range: beyond the meter's scale.
    OverRange,
    /// Nothing was observed, but an action was done.
    Done,
}

/// Probability that a slip at a meter ends in "open line" (chosen).
const OPEN_LINE_AT_RANDOM: f64 = 0.1;

impl Saw {
    /// Probability of this as a slip at one of so many choices, or at a meter whose plausible readings lie between these.
    pub fn at_random(&self, choices: usize, (low, high): (f64, f64)) -> f64 {
        match self {
            Self::Choice(_) => 1.0 / choices.max(1) as f64,
            Self::Number { resolution, .. } => (resolution / (high - low).max(*resolution)).min(1.0),
            Self::OverRange => OPEN_LINE_AT_RANDOM,
            Self::Done => 1.0,
        }
    }

    /// Its short name as routes use it: a choice's id, a band's id, `over-range` or `done`.
    pub fn name(&self, question: &Question) -> String {
        match self {
            Self::Choice(id) => id.clone(),
            Self::OverRange => "over-range".to_owned(),
            Self::Done => "done".to_owned(),
            Self::Number { value, .. } => {
                let band = question.limits().iter().find(|band| *value < band.below);
                band.or(question.limits().last()).map_or_else(String::new, |band| band.id.clone())
            }
        }
    }
}

/// One answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Observation {
    /// The check.
    pub check: Check,
    /// What was seen.
    pub saw: Saw,
    /// Probability of this answer if it is unrelated to what was to be seen: a slip produces any answer with equal probability.
    pub at_random: f64,
    /// The answer in words.
    pub words: String,
    /// The question in words.
    pub asked: String,
    /// Whether the user confirmed it.
    pub confirmed: bool,
    /// Whether the trouble was said to come and go by then.
    pub comes_and_goes: bool,
    /// Whether it is only told: the check was made before.
    pub told: bool,
    /// Length of the "go back" history when it was given: its place in the walk.
    pub(in crate::walk) history: usize,
    /// The reading's number.
    pub(in crate::walk) reading: Option<u32>,
}

impl Observation {
    /// The check's place: `points-turn left`.
    pub fn place(&self) -> String {
        let step = &self.check.step;
        self.check.round.as_ref().map_or_else(|| step.clone(), |round| format!("{step} {round}"))
    }

    /// The answer's short name.
    pub fn name(&self) -> String {
        self.saw.name(&self.check.question)
    }
}
