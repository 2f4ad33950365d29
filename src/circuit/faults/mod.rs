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
use crate::written::Written;
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
