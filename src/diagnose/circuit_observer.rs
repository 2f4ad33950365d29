//! The observer that computes answers with the circuit: what a person would answer to a step under some faults.
//!
//! It caches every answer by the bike's state and the step, so a proof computes each only once.

use super::{Asked, ProveError, Seen};
use crate::bike::{Bike, BikeState};
use crate::circuit::faults::{Fault, Library};
use crate::circuit::{Expected, Model, Subject};
use crate::procedure::Meaning;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

/// Gives the answer to a step. Simulation, figures and advice need nothing else of a bike.
pub trait Observer: Sync {
    /// The answer of a person who observes correctly under these faults (ascending numbers in the library's list; empty: a healthy bike).
    ///
    /// # Errors
    /// The step and the bike's wiring do not fit together.
    fn seen(&self, faults: &[usize], asked: &Asked) -> Result<Seen, ProveError>;

    /// The expected answers of the typical bike and of `samples` others with sound parts within their tolerances.
    ///
    /// # Errors
    /// The step and the bike's wiring do not fit together.
    fn expected(&self, faults: &[usize], asked: &Asked, samples: u64) -> Result<Expected, ProveError>;

    /// Steps whose answer cannot be computed, and why. The observer gives their good answer.
    fn not_told(&self) -> BTreeMap<String, String>;
}

/// A question: the bike's state, and `PROCEDURE/STEP ROUND`.
type Place = (BikeState, String);
/// A question's number under some faults.
type Key = (usize, Vec<usize>);

/// Asks the circuit of one bike, healthy or under faults of its library.
pub struct CircuitObserver<'b> {
    healthy: Model<'b>,
    library: &'b Library,
    faults: &'b [Fault],
    /// The bike is drawn with this seed. 0: the typical one.
    draw: u64,
    places: Mutex<HashMap<Place, usize>>,
    known: Mutex<HashMap<Key, Seen>>,
    subjects: Mutex<HashMap<Vec<usize>, Arc<Subject<'b>>>>,
    not_told: Mutex<BTreeMap<String, String>>,
}

/// Threads only look up and insert while they hold the lock, so a panicking thread leaves the map consistent.
fn held<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl<'b> CircuitObserver<'b> {
    /// A bike with the faults that it may have.
    pub fn new(bike: &'b Bike, library: &'b Library, faults: &'b [Fault]) -> Self {
        let (places, known, subjects, not_told) = Default::default();
        Self { healthy: Model::new(bike), library, faults, draw: 0, places, known, subjects, not_told }
    }

    /// The same with every part within its tolerance, another charge, temperature and lamp, and a meter with its error. The same seed gives
    /// the same bike.
    pub fn drawn(bike: &'b Bike, library: &'b Library, faults: &'b [Fault], draw: u64) -> Self {
        Self { draw, ..Self::new(bike, library, faults) }
    }

    fn number(&self, asked: &Asked) -> usize {
        *asked.number.get_or_init(|| {
            let place = (asked.bare(), asked.key());
            let mut places = held(&self.places);
            let next = places.len();
            *places.entry(place).or_insert(next)
        })
    }

    fn usual(&self, asked: &Asked, why: String) -> Seen {
        held(&self.not_told).entry(format!("{}/{}", asked.procedure, asked.id)).or_insert(why);
        match asked.choices().iter().position(|c| c.means == Meaning::Good) {
            Some(at) => Seen::Choice(at),
            None if asked.choices().is_empty() => Seen::Nothing,
            None => Seen::Choice(0),
        }
    }
}

impl Observer for CircuitObserver<'_> {
    fn seen(&self, faults: &[usize], asked: &Asked) -> Result<Seen, ProveError> {
        let key = (self.number(asked), faults.to_vec());
        if let Some(known) = held(&self.known).get(&key) {
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
        held(&self.known).insert(key, seen);
        Ok(seen)
    }

    fn expected(&self, faults: &[usize], asked: &Asked, samples: u64) -> Result<Expected, ProveError> {
        let known = held(&self.subjects).get(faults).cloned();
        let fault = || faults.iter().map(|f| self.faults[*f].id.as_str()).collect::<Vec<_>>().join(" with ");
        let wrong = |why| ProveError::Circuit { step: asked.place(), fault: fault(), why };
        let subject = match known {
            Some(known) => known,
            None => {
                let all: Vec<&Fault> = faults.iter().map(|f| &self.faults[*f]).collect();
                let new = Subject::new(&self.healthy, self.library, &all, &BTreeSet::new());
                let new = Arc::new(if self.draw > 0 { new.drawn(self.draw).map_err(wrong)? } else { new });
                held(&self.subjects).entry(faults.to_vec()).or_insert(new).clone()
            }
        };
        subject.answer(&asked.question, &asked.state, samples).map_err(wrong)
    }

    fn not_told(&self) -> BTreeMap<String, String> {
        held(&self.not_told).clone()
    }
}
