//! A step's question as an observer needs it: everything rendered for the bike and the loop at hand.

use super::ProveError;
use crate::bike::BikeState;
use crate::circuit::Question;
use crate::expression::evaluate_number;
use crate::phrase::{Answer, Escape, Reading, ReadingKind};
use crate::procedure::{Ask, Choice, Meaning, Step};
use crate::units::Unit;
use crate::walk::{Walker, World};
use std::sync::{Arc, OnceLock};

/// An answer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Seen {
    /// A choice by its number.
    Choice(usize),
    /// A reading in the unit that was asked for.
    Value(f64),
    /// The meter's end.
    OverRange,
    /// Done, or a note.
    Done,
    /// Told freely that it comes and goes.
    Sometimes,
    /// No answer can be given: the measurement means nothing.
    Nothing,
}

/// A question with its surroundings.
#[derive(Clone)]
pub struct Asked {
    /// What the step stands in.
    pub world: Arc<World>,
    /// Procedure id.
    pub procedure: String,
    /// Step id.
    pub id: String,
    /// The round of its innermost loop.
    pub round: Option<String>,
    /// The bike's state.
    pub state: BikeState,
    /// The step rendered for the bike and the loop at hand.
    pub question: Question,
    /// The smallest and the largest plausible reading; nought where it is none.
    pub plausible: (f64, f64),
    /// The number that an observer knows this question by, once it has looked.
    pub(super) number: OnceLock<usize>,
}

/// A state as far as any instrument or eye can tell: the fuel tap shows nowhere.
pub(super) fn shown(state: &BikeState) -> BikeState {
    let mut shown = state.clone();
    shown.switches.remove("fuel");
    shown
}

impl Asked {
    /// The question that a walker waits with; `None` when it waits for something else.
    ///
    /// # Errors
    /// A template or a limit that does not come out.
    pub fn by(walker: &Walker, world: &Arc<World>) -> Result<Option<Self>, ProveError> {
        let (id, round) = walker.place();
        let procedure = walker.procedure_id();
        let found = world.procedures.get(procedure).and_then(|p| p.step(id)).filter(|_| walker.is_asking());
        let Some(step) = found else { return Ok(None) };
        let scope = walker.scope();
        let plausible = match &step.ask {
            Ask::Reading(ask) => (evaluate_number(&ask.low, &scope)?, evaluate_number(&ask.high, &scope)?),
            _ => (0.0, 0.0),
        };
        Ok(Some(Self {
            plausible,
            world: world.clone(),
            procedure: procedure.to_owned(),
            id: id.to_owned(),
            round: round.map(str::to_owned),
            state: walker.bike_state().clone(),
            question: Question::new(step, &scope)?,
            number: OnceLock::new(),
        }))
    }

    /// The step.
    pub fn step(&self) -> &Step {
        self.world.procedures[&self.procedure].step(&self.id).expect("a question is made of a step of its world")
    }

    /// It has more than one answer.
    pub fn decides(&self) -> bool {
        self.choices().len() > 1 || self.question.limits().len() > 1
    }

    /// The choices, if it is a choice.
    pub fn choices(&self) -> &[Choice] {
        match &self.step().ask {
            Ask::Choice(choices) | Ask::Watch { choices, .. } => choices,
            _ => &[],
        }
    }

    /// The unit of a reading and the smallest step that is shown.
    pub fn unit(&self) -> Option<(Unit, f64)> {
        match &self.step().ask {
            Ask::Reading(reading) => Some((reading.unit, reading.resolution)),
            _ => None,
        }
    }

    /// The band that a value falls in.
    pub fn band(&self, value: f64) -> usize {
        let bands = self.question.limits();
        bands.iter().position(|band| value < band.below).unwrap_or(bands.len().saturating_sub(1))
    }

    /// Where it is: `points-turn left`.
    pub fn place(&self) -> String {
        self.round.as_ref().map_or_else(|| self.id.clone(), |r| format!("{} {r}", self.id))
    }

    /// Its name among answers: procedure and place.
    pub fn key(&self) -> String {
        format!("{}/{}", self.procedure, self.place())
    }

    /// What an answer means, by its short name. A reading beyond the meter's end is in no band, and not as it should be.
    pub fn meaning(&self, name: &str) -> Meaning {
        match &self.step().ask {
            Ask::Choice(choices) | Ask::Watch { choices, .. } => {
                choices.iter().find(|choice| *choice.id == *name).map_or(Meaning::Neither, |choice| choice.means)
            }
            Ask::Reading(reading) => {
                reading.bands.iter().find(|band| *band.id == *name).map_or(Meaning::Bad, |band| band.means)
            }
            Ask::Done(_) | Ask::Note(_) => Meaning::Neither,
        }
    }

    /// What a mechanic answers who sees this. Where nothing can be measured: that it cannot be reached.
    pub fn spoken(&self, seen: Seen) -> Answer {
        let reading = |kind, value| match self.unit() {
            Some((unit, _)) => Answer::Reading(Reading { kind, value, unit, said_unit: None }),
            None => Answer::Escape(Escape::CannotReach),
        };
        match seen {
            Seen::Choice(at) => Answer::Choice(self.choices()[at].id.value.clone()),
            Seen::Value(value) => reading(ReadingKind::Plain, value),
            Seen::OverRange => reading(ReadingKind::OverRange, 0.0),
            Seen::Done if matches!(self.step().ask, Ask::Note(_)) => Answer::Note(String::new()),
            Seen::Done => Answer::Done,
            Seen::Sometimes => Answer::Escape(Escape::Sometimes),
            Seen::Nothing => Answer::Escape(Escape::CannotReach),
        }
    }

    /// The bike's state as far as it shows.
    pub fn bare(&self) -> BikeState {
        shown(&self.state)
    }

    /// An answer by its short name: the choice's or band's id, `over-range`, `done`.
    pub fn name(&self, seen: Seen) -> String {
        match seen {
            Seen::Choice(at) => self.choices().get(at).map_or_else(String::new, |c| c.id.value.clone()),
            Seen::Value(value) => match &self.step().ask {
                Ask::Reading(r) => r.bands.get(self.band(value)).map_or_else(String::new, |b| b.id.value.clone()),
                _ => String::new(),
            },
            Seen::OverRange => "over-range".to_owned(),
            Seen::Done => "done".to_owned(),
            Seen::Sometimes => "sometimes".to_owned(),
            Seen::Nothing => "no answer".to_owned(),
        }
    }
}
