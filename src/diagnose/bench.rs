//! The observer that asks the circuit: what a person would answer to a step under some faults.
//!
//! Everything is remembered by the bike's state and the step, so a proof asks each question once.

use super::{Asked, ProveError, Seen};
use crate::bike::{Bike, BikeState};
use crate::circuit::faults::{Fault, Library};
use crate::circuit::{Expected, Subject};
use crate::procedure::Meaning;
use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// Says what is seen. The one thing that simulation, metrics and advice need of a bike.
pub trait Observer {
    /// The answer of a person who sees well, under these faults (numbers of the library's, ascending; none: a healthy bike).
    ///
    /// # Errors
    /// The step and the bike's wiring do not fit together.
    fn seen(&self, faults: &[usize], asked: &Asked) -> Result<Seen, ProveError>;

    /// Steps for which nothing tells what would be seen, and why; the answer that means good is given there.
    fn not_told(&self) -> BTreeMap<String, String>;
}

/// A question under some faults.
type Key = (Vec<usize>, BikeState, String);

/// A bike on the bench with its library of faults.
pub struct Bench<'b> {
    bike: &'b Bike,
    library: &'b Library,
    faults: &'b [Fault],
    known: RefCell<HashMap<Key, Seen>>,
    subjects: RefCell<HashMap<Vec<usize>, Subject<'b>>>,
    not_told: RefCell<BTreeMap<String, String>>,
}

impl<'b> Bench<'b> {
    /// A bike with the faults that it may have.
    pub fn new(bike: &'b Bike, library: &'b Library, faults: &'b [Fault]) -> Self {
        let (known, subjects, not_told) = Default::default();
        Self { bike, library, faults, known, subjects, not_told }
    }

    /// What is expected, over the typical bike and `samples` others within the tolerances of sound parts.
    ///
    /// # Errors
    /// The step and the bike's wiring do not fit together.
    pub fn expected(&self, faults: &[usize], asked: &Asked, samples: u64) -> Result<Expected, ProveError> {
        let mut subjects = self.subjects.borrow_mut();
        let subject = subjects.entry(faults.to_vec()).or_insert_with(|| {
            let all: Vec<&Fault> = faults.iter().map(|f| &self.faults[*f]).collect();
            Subject::new(self.bike, self.library, &all, &BTreeSet::new())
        });
        let answer = subject.answer(&asked.question, &asked.state, samples);
        let fault = || faults.iter().map(|f| self.faults[*f].id.as_str()).collect::<Vec<_>>().join(" with ");
        answer.map_err(|why| ProveError::Circuit { step: asked.place(), fault: fault(), why })
    }

    fn usual(&self, asked: &Asked, why: String) -> Seen {
        self.not_told.borrow_mut().entry(format!("{}/{}", asked.procedure, asked.id)).or_insert(why);
        match asked.choices().iter().position(|c| c.means == Meaning::Good) {
            Some(at) => Seen::Choice(at),
            None if asked.choices().is_empty() => Seen::Nothing,
            None => Seen::Choice(0),
        }
    }
}

impl Observer for Bench<'_> {
    fn seen(&self, faults: &[usize], asked: &Asked) -> Result<Seen, ProveError> {
        let mut state = asked.state.clone();
        state.switches.remove("fuel");
        let key = (faults.to_vec(), state, format!("{}/{}", asked.procedure, asked.place()));
        if let Some(known) = self.known.borrow().get(&key) {
            return Ok(*known);
        }
        let seen = match self.expected(faults, asked, 0)? {
            Expected::Nothing => Seen::Done,
            Expected::Choices(ids) => {
                let choice = ids.first().and_then(|id| asked.choices().iter().position(|c| *c.id == *id));
                choice.map_or(Seen::Nothing, Seen::Choice)
            }
            Expected::Reading(reading) => reading.typical.map_or(Seen::OverRange, Seen::Value),
            Expected::Unknown(why) => self.usual(asked, why),
        };
        self.known.borrow_mut().insert(key, seen);
        Ok(seen)
    }

    fn not_told(&self) -> BTreeMap<String, String> {
        self.not_told.borrow().clone()
    }
}
