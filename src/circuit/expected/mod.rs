//! The answer a careful observer would give at a step. This is the only place that computes expected answers.
//!
//! A [`Question`] is a step rendered for a bike and a loop's round: what is observed, and what each answer stands for. A [`Subject`] is a
//! bike with faults. [`Subject::answer`] takes what the circuit shows in the step's state on the step's instrument, adds what the faults
//! show to the eye, and finds the answer. It does so for the typical bike and for others within the tolerances of sound parts and meters.
//! If the observation cannot be predicted, it says so and why.

mod question;
mod tally;

use super::faults::{Fault, Library, Shown};
use super::instruments::{Case, Model, NotValid, Observation, Strength};
use super::resistance::resistance;
use super::{Branch, BranchKind, CircuitError, Glow};
use crate::bike::{BikeState, Engine, InstrumentKind, PointsAt};
use crate::units::{Quantity, Unit};
use question::{Answers, Seen, Watched, words};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex, PoisonError};
use tally::AnswerTally;

pub use question::{Expected, Limits, Question, Reading};

/// Below this leakage resistance, ohm, a meter cannot measure a condenser's capacitance (common practice, no source).
const LEAKS_TOO_MUCH_OHM: f64 = 100e3;

/// A bike with faults.
#[derive(Debug, Clone)]
pub struct Subject<'a> {
    /// The bike, with its wiring altered by the faults.
    pub model: Model<'a>,
    library: &'a Library,
    shown: Vec<&'a Shown>,
    /// The healthy bike, and the parts and wires at fault.
    healthy: Model<'a>,
    at_fault: BTreeSet<&'a str>,
    /// What its meter shows for 1.
    meter: f64,
    /// The bikes that it was tried on, by seed, each with what its meter shows for 1: all questions share them.
    tried: Arc<Mutex<BTreeMap<u64, Tried<'a>>>>,
}

/// A bike with sound parts within their tolerances, and what its meter shows for 1.
type Tried<'a> = Arc<(Model<'a>, f64)>;

impl<'a> Subject<'a> {
    /// The healthy bike with those of `faults` that nothing in `mended` cures.
    pub fn new(healthy: &Model<'a>, library: &'a Library, faults: &[&'a Fault], mended: &BTreeSet<String>) -> Self {
        let left = || faults.iter().filter(|fault| !fault.is_mended(mended));
        let changes = left().flat_map(|fault| fault.alterations.iter().cloned());
        let shown = left().flat_map(|fault| &fault.looks).collect();
        let at_fault = left().flat_map(|fault| &fault.parts).map(String::as_str).collect();
        let (model, healthy) = (healthy.altered(changes), healthy.clone());
        Self { model, library, shown, healthy, at_fault, meter: 1.0, tried: Arc::default() }
    }

    /// The same bike drawn with a seed: every part within its tolerance, another charge, temperature and lamp, a meter with its error.
    ///
    /// # Errors
    /// A value of the catalogue that does not come out.
    pub fn drawn(mut self, seed: u64) -> Result<Self, CircuitError> {
        (self.model, self.meter) = self.model.drawn(seed)?;
        self.tried = Arc::default();
        Ok(self)
    }

    /// The typical bike (seed 0), or another with sound parts within their tolerances.
    fn tried(&self, seed: u64) -> Result<Tried<'a>, CircuitError> {
        let mut tried = self.tried.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = tried.get(&seed) {
            return Ok(known.clone());
        }
        let new = Arc::new(self.model.sampled(seed)?);
        tried.insert(seed, new.clone());
        Ok(new)
    }

    /// The answer with the bike in `state`, over the typical bike and `samples` others.
    ///
    /// # Errors
    /// A name in the state that the bike does not have, or a circuit without an operating point.
    pub fn answer(&self, question: &Question, state: &BikeState, samples: u64) -> Result<Expected, CircuitError> {
        if question.answers == Answers::Nothing {
            return Ok(Expected::Nothing);
        }
        let meter = |kind| matches!(kind, InstrumentKind::Voltmeter | InstrumentKind::Ammeter);
        if state.engine == Some(Engine::Running) && state.instrument.as_ref().is_some_and(|tool| meter(tool.kind)) {
            return Ok(Expected::Unknown("the engine runs, and what it generates is not in the circuit".to_owned()));
        }
        let mut found = AnswerTally::default();
        for seed in 0..=samples {
            let tried = self.tried(seed)?;
            let (model, meter) = &*tried;
            for sight in self.sights(model, meter * self.meter, question, state)? {
                found.add(question, &sight);
            }
        }
        Ok(found.expected(question))
    }

    /// Every possible observation at the step, one entry for each position of the points. Each entry lists its observations in the order in
    /// which they decide the answer.
    fn sights(
        &self,
        model: &Model<'_>,
        meter: f64,
        question: &Question,
        state: &BikeState,
    ) -> Result<Vec<Vec<Seen>>, CircuitError> {
        let first = match &question.watched {
            None => None,
            Some(Watched::Look { look, at }) => self.look(look, at).map(|is| words(&[is])),
            Some(Watched::Sweep(switch)) => Some(sweep(model, switch, state)?),
            Some(Watched::Flick(set)) => Some(plugs(model, &model.flick(state, set)?)),
            Some(Watched::Lit(bulb)) => Some(words(&model.look_at_bulb(state, bulb)?)),
            Some(Watched::Move(what)) => Some(self.moved(model, what, state)?),
            Some(Watched::Complaint) => Some(complaint(model)?),
        };
        let watches = |watched: &Watched| !matches!(watched, Watched::Look { .. } | Watched::Complaint);
        if question.watched.as_ref().is_some_and(watches) {
            return Ok(vec![first.into_iter().collect()]);
        }
        if let Answers::Reading { unit, .. } = &question.answers
            && unit.quantity() == Quantity::Capacitance
        {
            return Ok(vec![capacitance(model, meter, state)?.into_iter().collect()]);
        }
        let shown = match model.observe(state) {
            Ok(cases) => instrument(model, meter, state, &cases)?,
            // What the user looks at may decide the answer without the instrument.
            Err(_) if first.is_some() => Vec::new(),
            Err(error) => return Err(error),
        };
        if shown.is_empty() {
            return Ok(vec![first.into_iter().collect()]);
        }
        Ok(shown.into_iter().map(|seen| first.iter().cloned().chain([seen]).collect()).collect())
    }

    /// Whether the instrument changes while these parts and wires are moved. Moving a faulty place makes its fault come and go, so the reading
    /// changes if the instrument shows that fault at all.
    fn moved(&self, model: &Model<'_>, what: &[String], state: &BikeState) -> Result<Seen, CircuitError> {
        let shows = |model: &Model<'_>| instrument(model, 1.0, state, &model.observe(state)?);
        let is_there = what.iter().any(|part| self.at_fault.contains(part.as_str()));
        let changes = is_there && shows(model)? != shows(&self.healthy)?;
        Ok(words(&[if changes { "changes" } else { "steady" }]))
    }

    fn look(&self, look: &str, at: &[String]) -> Option<&str> {
        let healthy = &self.library.looks.get(look)?.healthy;
        let here = |shown: &&&Shown| shown.look == look && (at.is_empty() || at.contains(&shown.at));
        Some(self.shown.iter().find(here).map_or(healthy.as_str(), |shown| shown.is.as_str()))
    }
}

/// The instrument's display, one entry for each position of the points. A single entry if the user sees the points turn.
fn instrument(model: &Model<'_>, meter: f64, state: &BikeState, cases: &[Case]) -> Result<Vec<Seen>, CircuitError> {
    let turning = matches!(state.engine, Some(Engine::Turned | Engine::Kicked | Engine::Running))
        || state.points.values().any(|at| *at == PointsAt::Turning);
    let glow = |case: &Case| if let Observation::Lamp(glow) = case.seen { Some(glow) } else { None };
    if turning && let Some(glows) = cases.iter().map(glow).collect::<Option<BTreeSet<Glow>>>() {
        let (darkest, brightest) = (glows.first(), glows.last());
        return Ok(match (darkest, brightest) {
            (Some(Glow::Dark), Some(Glow::Dim | Glow::Bright)) => vec![words(&["on-off"])],
            (Some(glow), _) => vec![words(glow.words())],
            _ => Vec::new(),
        });
    }
    let mut all = Vec::new();
    for case in cases {
        let seen = match case.seen {
            Observation::Lamp(glow) => words(glow.words()),
            Observation::Spark(Strength::None) => words(&["none"]),
            Observation::Spark(Strength::Weak) => words(&["weak", "spark"]),
            Observation::Spark(Strength::Strong) => words(&["strong", "spark"]),
            Observation::Volt(volt) => Seen::Number(Some(volt * meter), Unit::Volt, None),
            Observation::Ampere(ampere) => Seen::Number(Some(ampere * meter), Unit::Ampere, None),
            Observation::Ohm(ohm) => Seen::Number(Some(ohm * meter), Unit::Ohm, None),
            Observation::Gap(millimetre) => Seen::Number(Some(millimetre), Unit::Millimetre, None),
            Observation::OverRange => Seen::Number(None, Unit::Ohm, None),
            Observation::NotValid(why) => {
                let wiring = model.wiring(state, &case.closed)?;
                let tool = state.instrument.as_ref().filter(|_| why == NotValid::NotIsolated);
                let ohm = match tool {
                    Some(tool) => resistance(&wiring, &tool.first, &tool.second, |_| false)?,
                    None => None,
                };
                Seen::Number(ohm.map(|ohm| ohm * meter), Unit::Ohm, Some(why))
            }
        };
        if !all.contains(&seen) {
            all.push(seen);
        }
    }
    Ok(all)
}

/// The capacitance that a meter shows between the ohmmeter's leads. Over range if the condenser leaks too much.
fn capacitance(model: &Model<'_>, meter: f64, state: &BikeState) -> Result<Option<Seen>, CircuitError> {
    let Some(tool) = &state.instrument else { return Ok(None) };
    let wiring = model.wiring(state, &BTreeSet::new())?;
    let between = |b: &&Branch| {
        !b.parted && ((b.a == tool.first && b.b == tool.second) || (b.a == tool.second && b.b == tool.first))
    };
    let mut farad = Some(0.0);
    for branch in wiring.branches().iter().filter(between) {
        match branch.kind {
            BranchKind::Capacitor { farad: here, leak_ohm } => {
                farad = farad.filter(|_| leak_ohm >= LEAKS_TOO_MUCH_OHM).map(|all| all + here);
            }
            BranchKind::Open => {}
            _ => farad = None,
        }
    }
    Ok(Some(Seen::Number(farad.map(|farad| farad * 1e6 * meter), Unit::Microfarad, None)))
}

/// The lamp in every position of a switch, with the points open: lit `only` where the ignition works, in `more` positions, or `never`.
fn sweep(model: &Model<'_>, name: &str, state: &BikeState) -> Result<Seen, CircuitError> {
    let Some(switch) = model.bike.switch(name) else {
        return Err(CircuitError::Unknown { what: "switch", name: name.to_owned() });
    };
    let (mut where_it_works, mut elsewhere) = (false, false);
    for position in &switch.positions {
        let mut at = state.clone();
        at.switches.insert(name.to_owned(), position.name.value.clone());
        at.points = model.bike.points.iter().map(|set| (set.id.clone(), PointsAt::Open)).collect();
        at.engine = Some(Engine::Still);
        let lit =
            model.observe(&at)?.iter().any(|case| matches!(case.seen, Observation::Lamp(Glow::Dim | Glow::Bright)));
        if position.works { where_it_works |= lit } else { elsewhere |= lit }
    }
    Ok(words(&[match (where_it_works, elsewhere) {
        (_, true) => "more",
        (true, false) => "only",
        (false, false) => "never",
    }]))
}

/// The plugs that give no spark when the complete bike is kicked.
fn complaint(model: &Model<'_>) -> Result<Seen, CircuitError> {
    let mut state = BikeState { engine: Some(Engine::Kicked), ..BikeState::default() };
    state.switches = ["key", "kill"].map(|name| (name.to_owned(), "connects".to_owned())).into();
    let mut dead = Vec::new();
    for plug in &model.bike.plugs {
        if model.fires(&state, &plug.id)? == Strength::None {
            dead.push(plug.id.clone());
        }
    }
    Ok(plugs(model, &dead))
}

/// Plugs as an answer: `none`, `all`, or their ids joined by `+`.
fn plugs(model: &Model<'_>, some: &[String]) -> Seen {
    match some.len() {
        0 => words(&["none"]),
        n if n == model.bike.plugs.len() => words(&["all", &some.join("+")]),
        _ => words(&[&some.join("+")]),
    }
}
