//! The fault library: kinds of fault as data, expanded over a bike's places and their severities.
//!
//! Its file (`procedures/faults/`) is written and hashed before a procedure is tuned to it. [`Library::for_bike`] gives every
//! single fault; what an observer would answer under one is [`super::Subject`]'s.

mod change;
mod expand;
mod load;
mod shape;

use super::Alteration;
use crate::procedure::{Expression, Template};
use crate::source::Written;
use change::Change;
use std::collections::{BTreeMap, BTreeSet};

pub use shape::FAULTS;

/// Something that can be looked at, smelt or felt.
#[derive(Debug, Clone, PartialEq)]
pub struct Look {
    /// What it is.
    pub words: String,
    /// What a healthy bike shows.
    pub healthy: String,
}

/// A kind of fault, not yet expanded.
#[derive(Debug, Clone, PartialEq)]
struct Kind {
    id: Written<String>,
    words: Template,
    over: Option<Expression>,
    bind: Option<Written<String>>,
    place: Option<Template>,
    when: Option<Expression>,
    parts: Vec<Template>,
    likelihood: f64,
    unit: Option<String>,
    severities: Vec<f64>,
    counts: Option<Expression>,
    only_by_substitution: Option<String>,
    alter: Vec<Change>,
    looks: Vec<(Written<String>, Template, Template)>,
}

/// A fault library.
#[derive(Debug, Clone, PartialEq)]
pub struct Library {
    /// Its name.
    pub name: Written<String>,
    /// Where kinds, severities and likelihoods come from.
    pub source: String,
    /// What it does not hold, in words.
    pub outside: Vec<String>,
    /// What can be looked at, by name.
    pub looks: BTreeMap<String, Look>,
    kinds: Vec<Kind>,
}

/// What a fault shows to the eye.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shown {
    /// One of [`Library::looks`].
    pub look: String,
    /// The part it is seen on.
    pub at: String,
    /// What is seen.
    pub is: String,
}

/// One fault at one place, of one severity.
#[derive(Debug, Clone, PartialEq)]
pub struct Fault {
    /// `KIND:PLACE@SEVERITY`, as far as it has them.
    pub id: String,
    /// Its kind.
    pub kind: String,
    /// Its place; empty for the bike as a whole.
    pub place: String,
    /// Its severity, in `unit`.
    pub severity: Option<f64>,
    /// The severity's unit.
    pub unit: Option<String>,
    /// Whether it harms the ignition and has to be found; milder ones are there to tell how small a fault is still found.
    pub counts: bool,
    /// In words.
    pub words: String,
    /// What is at fault: a right conclusion condemns one of these parts.
    pub parts: Vec<String>,
    /// How often, relative to the library's other faults; a kind's likelihood is shared out over its severities.
    pub likelihood: f64,
    /// What no lamp or meter separates from it, and what does.
    pub only_by_substitution: Option<String>,
    /// What it does to the wiring.
    pub alterations: Vec<Alteration>,
    /// What it shows to the eye.
    pub looks: Vec<Shown>,
}

impl Library {
    /// Whether it has this kind of fault.
    pub fn has_kind(&self, kind: &str) -> bool {
        self.kinds.iter().any(|one| *one.id == kind)
    }

    /// The same library with every kind in more degrees: where one severity is more than `step` times the next, others in between, each
    /// the same number of times the one before. For whoever has to know a fault again of whatever severity it is.
    #[must_use]
    pub fn in_between(mut self, step: f64) -> Self {
        for kind in &mut self.kinds {
            kind.severities = in_between(&kind.severities, step);
        }
        self
    }
}

fn in_between(severities: &[f64], step: f64) -> Vec<f64> {
    let mut all = Vec::from_iter(severities.first().copied());
    for pair in severities.windows(2) {
        let times = pair[1] / pair[0];
        // Severities are positive; a ratio that is not a number leaves the two as they are.
        let steps = (times.ln().abs() / step.ln()).ceil().max(1.0);
        all.extend((1..steps as u32).map(|n| pair[0] * times.powf(f64::from(n) / steps)));
        all.push(pair[1]);
    }
    all
}

impl Fault {
    /// Whether one of `names` is its `KIND`, its `KIND:PLACE` or its `KIND@SEVERITY`.
    pub fn is_one_of(&self, names: &[String]) -> bool {
        let here = format!("{}:{}", self.kind, self.place);
        let as_bad = self.severity.map(|severity| format!("{}@{severity}", self.kind));
        names.iter().any(|name| *name == self.kind || *name == here || as_bad.as_ref() == Some(name))
    }

    /// Whether something that is as good as new takes this fault away: its id, its kind, `KIND:PLACE`, or a part of it.
    pub fn is_mended(&self, mended: &BTreeSet<String>) -> bool {
        if mended.is_empty() {
            return false;
        }
        let here = format!("{}:{}", self.kind, self.place);
        let mut names = [&self.id, &self.kind, &here].into_iter().chain(&self.parts);
        names.any(|name| mended.contains(name))
    }
}

#[cfg(test)]
mod tests {
    use super::in_between;

    #[test]
    fn severities_in_between_are_even_steps_up_and_down() {
        let close = |got: Vec<f64>, by_hand: &[f64]| {
            assert_eq!(got.len(), by_hand.len(), "{got:?}");
            assert!(got.iter().zip(by_hand).all(|(a, b)| (a / b - 1.0).abs() < 1e-9), "{got:?}");
        };
        // 2 to 20 is ten times: four steps of 10^(1/4) = 1.7783 are the fewest of at most 2.
        close(
            in_between(&[1.0, 2.0, 20.0], 2.0),
            &[1.0, 2.0, 3.556558820077846, 6.324555320336759, 11.246826503806982, 20.0],
        );
        close(in_between(&[8.0, 2.0], 2.0), &[8.0, 4.0, 2.0]);
        close(in_between(&[0.5, 0.6, 0.8], 2.0), &[0.5, 0.6, 0.8]);
        close(in_between(&[3.0], 1.5), &[3.0]);
        assert!(in_between(&[], 1.5).is_empty());
    }
}
