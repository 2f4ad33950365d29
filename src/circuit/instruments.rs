//! What an instrument shows when it is connected to the bike.

use super::network::Kind;
use super::plan::Plan;
use super::resistance::resistance;
use super::wiring::Wiring;
use super::{Alteration, CircuitError, Figures, Lamp, Name};
use crate::bike::{Bike, BikeState, Engine, Instrument, InstrumentKind, Polarity};
use crate::parts::PrimitiveKind;
use std::collections::BTreeSet;
use std::sync::Arc;

/// A lamp with less than this share of its rated light looks dark (common practice, no source).
const DARK_BELOW: f64 = 0.02;
/// From this share of its rated light a lamp looks bright (common practice, no source).
const BRIGHT_FROM: f64 = 0.35;
/// A voltage above this invalidates a resistance measurement, volt (common practice, no source).
const LIVE_VOLT: f64 = 0.01;
/// A path in parallel with a part matters if its resistance is below this, ohm.
const PAST_OHM: f64 = 1e6;

/// How a lamp looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Glow {
    /// Dark.
    Dark,
    /// Glows dimly.
    Dim,
    /// Bright.
    Bright,
}

impl Glow {
    /// How a lamp looks that gives this share of its rated light.
    pub(super) fn of(share: f64) -> Self {
        match share {
            s if s < DARK_BELOW => Self::Dark,
            s if s < BRIGHT_FROM => Self::Dim,
            _ => Self::Bright,
        }
    }

    /// In words, the most specific first.
    pub(super) fn words(self) -> &'static [&'static str] {
        match self {
            Self::Dark => &["dark"],
            Self::Dim => &["dim", "lit"],
            Self::Bright => &["bright", "lit"],
        }
    }
}

/// How a spark looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Strength {
    /// None.
    None,
    /// Thin, or barely there.
    Weak,
    /// Strong.
    Strong,
}

/// Why a resistance measurement is meaningless.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NotValid {
    /// There is a voltage between the leads.
    Live,
    /// Current can bypass the part.
    NotIsolated,
}

/// An observation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Observation {
    /// A lamp.
    Lamp(Glow),
    /// A voltmeter's reading, volt: first lead over second.
    Volt(f64),
    /// An ammeter's reading, ampere: from the first lead to the second.
    Ampere(f64),
    /// An ohmmeter's reading, ohm.
    Ohm(f64),
    /// The ohmmeter is over range: `O L`.
    OverRange,
    /// The measurement is meaningless.
    NotValid(NotValid),
    /// A gap, millimetre.
    Gap(f64),
    /// A spark.
    Spark(Strength),
}

/// An observation with these points sets closed.
#[derive(Debug, Clone, PartialEq)]
pub struct Case {
    /// Sets that are closed.
    pub closed: BTreeSet<String>,
    /// The observation.
    pub seen: Observation,
}

/// A bike with figures and alterations, ready for observations.
#[derive(Debug, Clone)]
pub struct Model<'b> {
    /// The bike.
    pub bike: &'b Bike,
    /// Its figures.
    pub figures: Arc<Figures>,
    /// The alterations.
    pub changes: Vec<Alteration>,
    plan: Arc<Plan>,
    /// Why the figures could not be computed.
    wrong: Option<CircuitError>,
    /// The outer terminal that a distributor's arm faces.
    pub(super) arm: Option<String>,
}

impl<'b> Model<'b> {
    /// The healthy bike.
    ///
    /// # Panics
    /// The bike's own catalogue does not come out, which loading the bike rules out.
    pub fn new(bike: &'b Bike) -> Self {
        let plan = Arc::new(Plan::of(bike));
        let figures = Figures::typical(bike, &plan).unwrap_or_else(|why| panic!("{}: {why}", bike.name));
        Self { bike, figures: Arc::new(figures), changes: Vec::new(), plan, wrong: None, arm: None }
    }

    /// The bike with alterations.
    pub fn with(bike: &'b Bike, changes: impl IntoIterator<Item = Alteration>) -> Self {
        Self::new(bike).altered(changes)
    }

    /// The same with further alterations.
    #[must_use]
    pub fn altered(&self, changes: impl IntoIterator<Item = Alteration>) -> Self {
        let mut model = self.clone();
        let from = model.changes.len();
        model.changes.extend(changes);
        if model.changes[from..].iter().any(Alteration::is_of_values) {
            match model.figures.changed(model.bike, &model.plan, &model.changes[from..]) {
                Ok(figures) => model.figures = Arc::new(figures),
                Err(why) => model.wrong = Some(why),
            }
        }
        model
    }

    /// The same with other figures.
    pub(super) fn with_figures(&self, figures: Figures) -> Self {
        Self { figures: Arc::new(figures), ..self.clone() }
    }

    /// What is laid for the bike in any state.
    pub(super) fn plan(&self) -> &Plan {
        &self.plan
    }

    /// The wiring in a state with these points sets closed.
    ///
    /// # Errors
    /// [`CircuitError::Unknown`].
    pub fn wiring(&self, state: &BikeState, closed: &BTreeSet<String>) -> Result<Wiring, CircuitError> {
        if let Some(why) = &self.wrong {
            return Err(why.clone());
        }
        let mut wiring = Wiring::new(self.bike, &self.plan, &self.figures, state, closed, &self.changes)?;
        if let Some(arm) = &self.arm {
            wiring.face(arm);
        }
        Ok(wiring)
    }

    /// The bike's fuses: each branch with its rating, ampere.
    pub(super) fn fuses(&self) -> Vec<(String, f64)> {
        self.plan
            .primitives
            .iter()
            .zip(&self.figures.numbers)
            .filter_map(|((part, _), numbers)| {
                let ampere = numbers.get("blows-at")?.first()?;
                Some((self.bike.parts[*part].id.value.clone(), *ampere))
            })
            .collect()
    }

    /// Whether the battery takes a charge while the engine runs.
    ///
    /// # Errors
    /// A circuit without an operating point.
    pub fn charges(&self, state: &BikeState) -> Result<bool, CircuitError> {
        let running = BikeState { engine: Some(Engine::Running), ..state.clone() };
        let wiring = self.wiring(&running, &BTreeSet::new())?;
        let (network, elements) = wiring.network()?;
        let point = network.operating_point()?;
        let sources = self.bike.parts.iter().filter(|part| part.kind.has(PrimitiveKind::Source));
        let mut currents = sources.filter_map(|part| elements.get(part.id.as_str())).map(|at| point.current(*at));
        // Current flows from the inside of a source that gives, and into one that is charged.
        let sign = if self.bike.ground == Polarity::Negative { 1.0 } else { -1.0 };
        Ok(currents.any(|ampere| ampere * sign < 0.0))
    }

    /// What the state's instrument shows, for every position of the points; a spark tester gives one case. Empty without an instrument.
    ///
    /// # Errors
    /// The errors of `Wiring::new` and of the operating point.
    pub fn observe(&self, state: &BikeState) -> Result<Vec<Case>, CircuitError> {
        let Some(tool) = &state.instrument else { return Ok(Vec::new()) };
        if tool.kind == InstrumentKind::SparkTester {
            let seen = Observation::Spark(self.spark(state, tool)?);
            return Ok(vec![Case { closed: BTreeSet::new(), seen }]);
        }
        let case = |closed: BTreeSet<String>| {
            let wiring = self.wiring(state, &closed)?;
            Ok(Case { seen: self.shown(&wiring, tool)?, closed })
        };
        self.standings(state).into_iter().map(case).collect()
    }

    fn shown(&self, wiring: &Wiring, tool: &Instrument) -> Result<Observation, CircuitError> {
        let f = &wiring.figures;
        wiring.terminal(&tool.first)?;
        wiring.terminal(&tool.second)?;
        match tool.kind {
            InstrumentKind::Lamp => {
                let lamp = Lamp { volt: self.bike.volt, watt: f.lamp_watt };
                Ok(Observation::Lamp(Glow::of(lamp.light(held(wiring, tool, Kind::Lamp(lamp))?.0))))
            }
            InstrumentKind::Voltmeter => Ok(Observation::Volt(held(wiring, tool, Kind::Resistor(f.voltmeter_ohm))?.0)),
            InstrumentKind::Ammeter => Ok(Observation::Ampere(held(wiring, tool, Kind::Resistor(f.ammeter_ohm))?.1)),
            InstrumentKind::Ohmmeter => ohmmeter(wiring, tool),
            InstrumentKind::Feeler => {
                let unknown = || CircuitError::Unknown { what: "gap", name: tool.first.clone() };
                let part = self.bike.part_at(&tool.first).ok_or_else(unknown)?;
                let gap = f.values.get(part.id.as_str()).and_then(|values| values.get("gap"));
                gap.map(|gap| Observation::Gap(*gap)).ok_or_else(unknown)
            }
            InstrumentKind::SparkTester => Ok(Observation::Spark(Strength::None)),
        }
    }
}

/// Voltage across and current through an element connected between the instrument's leads.
fn held(wiring: &Wiring, tool: &Instrument, kind: Kind) -> Result<(f64, f64), CircuitError> {
    let mut network = wiring.netlist()?;
    let (a, b) = (network.node(&tool.first), network.node(&tool.second));
    if a == b {
        return Ok((0.0, 0.0));
    }
    let element = network.add("instrument", a, b, kind)?;
    let point = network.operating_point()?;
    Ok((point.voltage(a, b).unwrap_or(0.0), point.current(element)))
}

fn ohmmeter(wiring: &Wiring, tool: &Instrument) -> Result<Observation, CircuitError> {
    if held(wiring, tool, Kind::Resistor(wiring.figures.voltmeter_ohm))?.0.abs() > LIVE_VOLT {
        return Ok(Observation::NotValid(NotValid::Live));
    }
    let parts = |t: &str| -> BTreeSet<Name> {
        let at = wiring.branches.iter().filter(|b| b.a == t || b.b == t);
        at.map(|b| b.part.clone()).collect()
    };
    let common: BTreeSet<_> = parts(&tool.first).intersection(&parts(&tool.second)).cloned().collect();
    let past = wiring.reach(&tool.first, PAST_OHM, |b| common.contains(&b.part)).contains(tool.second.as_str());
    if !common.is_empty() && past {
        return Ok(Observation::NotValid(NotValid::NotIsolated));
    }
    match resistance(wiring, &tool.first, &tool.second, |_| false)? {
        Some(ohm) if ohm <= wiring.figures.ohmmeter_top => Ok(Observation::Ohm(ohm)),
        _ => Ok(Observation::OverRange),
    }
}
