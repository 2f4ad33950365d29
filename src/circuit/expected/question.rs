//! A step's question rendered for a bike and a loop's round, what an observer sees at it, and the answer that is then expected.

use crate::circuit::instruments::NotValid;
use crate::expression::{Scope, evaluate_number, render, render_names};
use crate::procedure::{Ask, Observe, ReadingAsk, Step};
use crate::source::Diagnostic;
use crate::units::Unit;

/// A band of a reading with numeric limits in the step's unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Limits {
    /// The band's id.
    pub id: String,
    /// Lower limit, inclusive.
    pub from: f64,
    /// Upper limit, exclusive.
    pub below: f64,
}

/// The possible answers.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Answers {
    /// Choices by id, each with the observations that make it right.
    Choices(Vec<(String, Vec<String>)>),
    /// A number.
    Reading { unit: Unit, resolution: f64, bands: Vec<Limits> },
    /// Nothing is observed: an acknowledgement or a note.
    Nothing,
}

/// What the user looks at.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Watched {
    Look { look: String, at: Vec<String> },
    Sweep(String),
    Flick(String),
    Lit(String),
    Move(Vec<String>),
    Complaint,
}

/// A step rendered for a bike and a round. It can be answered many times.
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    pub(super) watched: Option<Watched>,
    pub(super) answers: Answers,
    /// What counts as new from this step on, before its answer.
    pub mends: Vec<String>,
}

/// The expected answer.
#[derive(Debug, Clone, PartialEq)]
pub enum Expected {
    /// These choices, the typical one first. More than one if parts within tolerance give different answers.
    Choices(Vec<String>),
    /// A number.
    Reading(Reading),
    /// Nothing is observed at this step.
    Nothing,
    /// The answer cannot be computed, with the reason.
    Unknown(String),
}

/// An expected reading, in the step's unit.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// On the typical bike, as the instrument shows it. `None` means over range.
    pub typical: Option<f64>,
    /// Lowest value.
    pub low: f64,
    /// Highest value.
    pub high: f64,
    /// The bands it can fall into, the typical bike's first.
    pub bands: Vec<String>,
    /// Whether it can be over range.
    pub over_range: bool,
    /// Why an ohmmeter's reading is meaningless, if it is.
    pub not_valid: Option<NotValid>,
}

impl Question {
    /// Whether parts and wires are moved while the instrument is watched.
    pub fn is_moved(&self) -> bool {
        matches!(self.watched, Some(Watched::Move(_)))
    }

    /// The step for the bike and the round in `scope`. Limits are evaluated with what was seen so far.
    ///
    /// # Errors
    /// A template or a limit that cannot be evaluated.
    pub fn new(step: &Step, scope: &Scope) -> Result<Self, Diagnostic> {
        let watched = match &step.observe {
            None => None,
            Some(Observe::Look { look, at }) => {
                let at = at.iter().map(|part| render(part, scope)).collect::<Result<_, _>>()?;
                Some(Watched::Look { look: look.value.clone(), at })
            }
            Some(Observe::Sweep(switch)) => Some(Watched::Sweep(render(switch, scope)?)),
            Some(Observe::Flick(set)) => Some(Watched::Flick(render(set, scope)?)),
            Some(Observe::Lit(bulb)) => Some(Watched::Lit(render(bulb, scope)?)),
            Some(Observe::Move(what)) => Some(Watched::Move(render_names(what, scope)?)),
            Some(Observe::Complaint(_)) => Some(Watched::Complaint),
        };
        let answers = match &step.ask {
            Ask::Choice(choices) | Ask::Watch { choices, .. } => {
                let shown = |choice: &crate::procedure::Choice| {
                    let shows = match choice.shows.as_slice() {
                        [] => vec![choice.id.value.clone()],
                        several => several.iter().map(|text| render(text, scope)).collect::<Result<_, _>>()?,
                    };
                    Ok((choice.id.value.clone(), shows))
                };
                Answers::Choices(choices.iter().map(shown).collect::<Result<_, Diagnostic>>()?)
            }
            Ask::Reading(ask) => reading_answers(ask, scope)?,
            Ask::Done(_) | Ask::Note(_) => Answers::Nothing,
        };
        Ok(Self { watched, answers, mends: render_names(&step.mends, scope)? })
    }

    /// The limits of a reading's bands.
    pub fn limits(&self) -> &[Limits] {
        match &self.answers {
            Answers::Reading { bands, .. } => bands,
            _ => &[],
        }
    }
}

fn reading_answers(ask: &ReadingAsk, scope: &Scope) -> Result<Answers, Diagnostic> {
    let edge = |edge: &Option<crate::expression::Expression>, none: f64| {
        edge.as_ref().map_or(Ok(none), |edge| evaluate_number(edge, scope))
    };
    let mut bands = Vec::new();
    for band in &ask.bands {
        let (from, below) = (edge(&band.from, f64::NEG_INFINITY)?, edge(&band.below, f64::INFINITY)?);
        bands.push(Limits { id: band.id.value.clone(), from, below });
    }
    Ok(Answers::Reading { unit: ask.unit, resolution: ask.resolution, bands })
}

/// One observation.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Seen {
    /// In words, the most specific first.
    Words(Vec<String>),
    /// A number in this unit, or over range.
    Number(Option<f64>, Unit, Option<NotValid>),
}

pub(super) fn words(all: &[&str]) -> Seen {
    Seen::Words(all.iter().map(|word| (*word).to_owned()).collect())
}
