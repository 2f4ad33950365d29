//! The fault library: kinds of fault as data, expanded over a bike's places and their severities.
//!
//! Its file (`procedures/faults/`) is written and hashed before a procedure is tuned to it. [`Library::for_bike`] lists every single fault;
//! [`super::Subject`] finds what an observer would answer under one.

mod change;
mod counts;
mod expand;
mod load;
mod shape;

use super::Alteration;
use crate::expression::{Expression, Template};
use crate::source::Written;
use change::Change;
use std::collections::{BTreeMap, BTreeSet};

pub use counts::least_reserve;
pub use shape::FAULTS;

/// Something the user can look at, smell or feel.
#[derive(Debug, Clone, PartialEq)]
pub struct Look {
    /// What to look at, in words.
    pub words: String,
    /// What a healthy bike shows.
    pub healthy: String,
}

/// A kind of fault, before expansion.
#[derive(Debug, Clone, PartialEq)]
struct Kind {
    id: Written<String>,
    words: Template,
    over: Option<Expression>,
    bind: Option<Written<String>>,
    place: Option<Template>,
    when: Option<Expression>,
    parts: Vec<Template>,
    cure: Template,
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
    /// The source of kinds, severities and likelihoods.
    pub source: String,
    /// What the library leaves out, in words.
    pub outside: Vec<String>,
    /// What the user can look at, by name.
    pub looks: BTreeMap<String, Look>,
    kinds: Vec<Kind>,
}

/// A visible sign of a fault.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shown {
    /// One of [`Library::looks`].
    pub look: String,
    /// The part that shows it.
    pub at: String,
    /// What it shows.
    pub is: String,
}

/// One fault at one place and of one severity.
#[derive(Debug, Clone, PartialEq)]
pub struct Fault {
    /// `KIND:PLACE@SEVERITY`, without the parts it lacks.
    pub id: String,
    /// Its kind.
    pub kind: String,
    /// Its place. Empty for the bike as a whole.
    pub place: String,
    /// Its severity, in `unit`.
    pub severity: Option<f64>,
    /// The severity's unit.
    pub unit: Option<String>,
    /// Whether a plug then fails to fire, so that the fault must be found. Milder faults measure how small a fault can still be found.
    pub counts: bool,
    /// In words.
    pub words: String,
    /// The faulty parts.
    pub parts: Vec<String>,
    /// What mends it, in words. Faults of a bike with the same cure are one cause.
    pub cure: String,
    /// How often it occurs relative to the library's other faults. A kind's likelihood is divided among its severities.
    pub likelihood: f64,
    /// What cannot be told from it with a lamp or meter, and what can tell them apart.
    pub only_by_substitution: Option<String>,
    /// Its effect on the wiring.
    pub alterations: Vec<Alteration>,
    /// Its visible signs.
    pub looks: Vec<Shown>,
}

impl Library {
    /// Whether it has this kind of fault.
    pub fn has_kind(&self, kind: &str) -> bool {
        self.kinds.iter().any(|one| *one.id == kind)
    }

    /// The same library with finer severities. Where one severity is more than `step` times the next, others are inserted at a constant
    /// ratio. For callers that must recognise a fault at any severity.
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
        // Severities are positive. If the ratio is not a number, nothing is inserted.
        let steps = (times.ln().abs() / step.ln()).ceil().max(1.0);
        all.extend((1..steps as u32).map(|n| pair[0] * times.powf(f64::from(n) / steps)));
        all.push(pair[1]);
    }
    all
}

/// `KIND`, `KIND:PLACE` and, where it has a severity, `KIND@SEVERITY`.
fn kinds(kind: &str, place: &str, severity: Option<f64>) -> impl Iterator<Item = String> + use<> {
    let as_bad = severity.map(|severity| format!("{kind}@{severity}"));
    [kind.to_owned(), format!("{kind}:{place}")].into_iter().chain(as_bad)
}

impl Fault {
    fn kinds(&self) -> impl Iterator<Item = String> {
        kinds(&self.kind, &self.place, self.severity)
    }

    /// Whether `names` contains its `KIND`, its `KIND:PLACE` or its `KIND@SEVERITY`.
    pub fn is_one_of(&self, names: &[String]) -> bool {
        self.kinds().any(|kind| names.contains(&kind))
    }

    /// Its id without a severity: `KIND:PLACE`, or `KIND` where it has no place. Severities of one fault at one place share it.
    pub fn group(&self) -> String {
        if self.place.is_empty() { self.kind.clone() } else { format!("{}:{}", self.kind, self.place) }
    }

    /// Everything that names it: its id, `KIND`, `KIND:PLACE`, `KIND@SEVERITY`.
    pub fn names(&self) -> impl Iterator<Item = String> {
        [self.id.clone()].into_iter().chain(self.kinds())
    }

    /// Whether a repair names this fault. One that only names its part put that in for a test, and mends nothing for good.
    pub fn is_repaired(&self, mended: &BTreeSet<String>) -> bool {
        self.names().any(|name| mended.contains(&name))
    }

    /// Whether a renewed item removes this fault: its id, its kind, `KIND:PLACE`, or one of its parts.
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
        // 2 to 20 is a factor of ten. Four steps of 10^(1/4) = 1.7783 are the fewest with a step of at most 2.
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
