//! The observer that asks the circuit: what a person with the instrument of a step would see under some faults.
//!
//! What the circuit cannot know (oily faces, a cam that stands still) are the signs of the fault library. Everything is remembered
//! by the bike's state, so a proof asks each question once.

use super::{Asked, ProveError, Seen, Suspect};
use crate::bike::{Bike, BikeState, InstrumentKind, PointsAt};
use crate::circuit::{Alteration, Case, CircuitError, Glow, Model, Observation, Strength};
use crate::procedure::Ask;
use crate::trade::Unit;
use std::cell::RefCell;
use std::collections::HashMap;
use std::rc::Rc;

/// Says what is seen. The one thing that simulation, metrics and advice need of a bike.
pub trait Observer {
    /// The answer of a person who sees well, under these faults (numbers of suspects, ascending; none: a healthy bike).
    ///
    /// # Errors
    /// The step and the bike's wiring do not fit together.
    fn seen(&self, faults: &[usize], asked: &Asked) -> Result<Seen, ProveError>;
}

/// A bike on the bench with its library of faults.
pub struct Bench<'b> {
    bike: &'b Bike,
    suspects: &'b [Suspect],
    observed: RefCell<HashMap<(Vec<usize>, BikeState), Rc<Vec<Case>>>>,
}

impl<'b> Bench<'b> {
    /// A bike with the faults that it may have.
    pub fn new(bike: &'b Bike, suspects: &'b [Suspect]) -> Self {
        Self { bike, suspects, observed: RefCell::default() }
    }

    fn model(&self, faults: &[usize]) -> Model<'b> {
        let changes: Vec<Alteration> = faults.iter().flat_map(|f| self.suspects[*f].changes.clone()).collect();
        Model::with(self.bike, changes)
    }

    fn observe(&self, faults: &[usize], state: &BikeState) -> Result<Rc<Vec<Case>>, CircuitError> {
        let mut state = state.clone();
        state.switches.remove("fuel");
        let key = (faults.to_vec(), state);
        if let Some(known) = self.observed.borrow().get(&key) {
            return Ok(known.clone());
        }
        let cases = Rc::new(self.model(faults).observe(&key.1)?);
        self.observed.borrow_mut().insert(key, cases.clone());
        Ok(cases)
    }

    fn choice(&self, faults: &[usize], asked: &Asked) -> Result<Seen, CircuitError> {
        let find = |word: &str| asked.shows.iter().position(|s| s.iter().any(|w| w == word));
        let cases = match (&asked.step().observe, &asked.state.instrument) {
            (None, Some(_)) => self.observe(faults, &asked.state)?,
            _ => Rc::new(Vec::new()),
        };
        Ok(match words(&cases, asked, &find) {
            Some(at) => Seen::Choice(at),
            None => Seen::Choice(0),
        })
    }

    fn reading(&self, faults: &[usize], asked: &Asked, unit: Unit, resolution: f64) -> Result<Seen, CircuitError> {
        let cases = self.observe(faults, &asked.state)?;
        let Some(case) = cases.first() else { return Ok(Seen::Nothing) };
        let (value, base) = match case.seen {
            Observation::Volt(v) => (v, Unit::Volt),
            Observation::Ampere(v) => (v, Unit::Ampere),
            Observation::Ohm(v) => (v, Unit::Ohm),
            Observation::Gap(v) => (v, Unit::Millimetre),
            Observation::OverRange => return Ok(Seen::OverRange),
            _ => return Ok(Seen::Nothing),
        };
        let shown = base.convert(value, unit).map(|v| (v / resolution).round() * resolution);
        Ok(shown.map_or(Seen::Nothing, Seen::Value))
    }
}

impl Observer for Bench<'_> {
    fn seen(&self, faults: &[usize], asked: &Asked) -> Result<Seen, ProveError> {
        let seen = match (&asked.step().ask, asked.unit()) {
            (Ask::Done(_) | Ask::Note(_), _) => Ok(Seen::Done),
            (_, Some((unit, resolution))) => self.reading(faults, asked, unit, resolution),
            _ => self.choice(faults, asked),
        };
        seen.map_err(|why| ProveError::Circuit { step: asked.place(), why })
    }
}

/// The choice for what an instrument shows; `has` finds a choice by its word.
fn words(cases: &[Case], asked: &Asked, has: &dyn Fn(&str) -> Option<usize>) -> Option<usize> {
    let lit = |case: &Case| matches!(case.seen, Observation::Lamp(Glow::Bright | Glow::Dim));
    let turning = asked.state.points.values().any(|at| *at == PointsAt::Turning);
    match cases.first()?.seen {
        Observation::Lamp(glow) => {
            let both = cases.iter().any(lit) && !cases.iter().all(lit);
            match (both && turning, has("on-off")) {
                (true, Some(at)) => Some(at),
                _ => match glow {
                    Glow::Dim => has("dim").or(has("lit")),
                    Glow::Bright => has("lit"),
                    Glow::Dark => has("dark"),
                },
            }
        }
        Observation::Spark(Strength::None) => has("none"),
        Observation::Spark(_) => has("spark"),
        Observation::OverRange => has("open-line"),
        Observation::Ohm(_) | Observation::Volt(_) | Observation::Ampere(_) | Observation::Gap(_) => has("number"),
        Observation::NotValid(_) => None,
    }
    .or_else(|| asked.instrument().filter(|k| *k == InstrumentKind::SparkTester).and_then(|_| has("none")))
}
