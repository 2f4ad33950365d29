//! What an instrument shows when it is held to the bike.

use super::network::Kind;
use super::transient::{self, Break, passes, resistance};
use super::wiring::{GROUND, Wiring};
use super::{Alteration, CircuitError, Figures, Lamp};
use crate::bike::{Bike, BikeState, Engine, Instrument, InstrumentKind, PointsAt};
use crate::trade::gap;
use std::collections::BTreeSet;

/// A lamp with less than this share of its light looks dark (common practice, no source).
const DARK_BELOW: f64 = 0.02;
/// From this share of its light on it looks bright (common practice, no source).
const BRIGHT_FROM: f64 = 0.35;
/// A voltage of more than this spoils a resistance measurement, volt (common practice, no source).
const LIVE_VOLT: f64 = 0.01;
/// A way past a part counts when it has less than this, ohm.
const PAST_OHM: f64 = 1e6;
/// A spark with less voltage to spare than this looks weak (common practice, no source).
const STRONG_FROM: f64 = 1.3;
/// A spark of less energy than this looks weak, joule (common practice, no source).
const STRONG_JOULE: f64 = 5e-3;
/// A gap whose hot electrode is positive needs this much more (common practice, no source: 20 to 40 %).
const REVERSED_NEEDS: f64 = 1.3;
/// A tester's pointed electrodes break down at this share of what a uniform field needs: 6 mm in open air is then worth about
/// a plug's gap under compression (common practice, no source).
pub(super) const POINTED_NEEDS: f64 = 0.6;
/// Pressure, bar absolute, and temperature, kelvin, of open air.
pub(super) const OPEN_AIR: (f64, f64) = (1.01325, 293.0);
/// How long points or a jumper stay closed when the engine is turned by hand, seconds: the current is full.
const BY_HAND_SECONDS: f64 = 1.0;

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

/// How a spark looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Strength {
    /// None.
    None,
    /// Thin, or only just.
    Weak,
    /// Strong.
    Strong,
}

/// Why a resistance measurement means nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NotValid {
    /// There is voltage between the leads.
    Live,
    /// Current can go past the part.
    NotIsolated,
}

/// What is seen.
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
    /// The ohmmeter's end: `O L`.
    OverRange,
    /// The measurement means nothing.
    NotValid(NotValid),
    /// A gap, millimetre.
    Gap(f64),
    /// A spark.
    Spark(Strength),
}

/// What is seen with these points sets closed.
#[derive(Debug, Clone, PartialEq)]
pub struct Case {
    /// Sets that are closed.
    pub closed: BTreeSet<String>,
    /// What is seen.
    pub seen: Observation,
}

/// A bike with figures and changes, to be asked what is seen.
#[derive(Debug, Clone)]
pub struct Model<'b> {
    /// The bike.
    pub bike: &'b Bike,
    /// Its figures.
    pub figures: Figures,
    /// What is laid over them.
    pub changes: Vec<Alteration>,
}

impl<'b> Model<'b> {
    /// The healthy bike.
    pub fn new(bike: &'b Bike) -> Self {
        Self { bike, figures: Figures::typical(bike), changes: Vec::new() }
    }

    /// The bike with changes.
    pub fn with(bike: &'b Bike, changes: impl IntoIterator<Item = Alteration>) -> Self {
        Self { changes: changes.into_iter().collect(), ..Self::new(bike) }
    }

    /// The wiring in a state with these points sets closed.
    ///
    /// # Errors
    /// [`CircuitError::Unknown`].
    pub fn wiring(&self, state: &BikeState, closed: &BTreeSet<String>) -> Result<Wiring, CircuitError> {
        Wiring::new(self.bike, &self.figures, state, closed, &self.changes)
    }

    /// The ways the points can stand in a state: one, or every way of those that turn or are not known.
    pub fn standings(&self, state: &BikeState) -> Vec<BTreeSet<String>> {
        let mut all = vec![BTreeSet::new()];
        for set in &self.bike.points {
            let id = &set.id.value;
            let at = state.points.get(id);
            if at != Some(&PointsAt::Open) {
                let with = all.iter().map(|s| s.iter().cloned().chain([id.clone()]).collect());
                let with: Vec<BTreeSet<String>> = with.collect();
                if at == Some(&PointsAt::Closed) { all = with } else { all.extend(with) }
            }
        }
        all
    }

    /// What the state's instrument shows, for every way the points can stand; for a spark tester one case. Empty without an
    /// instrument.
    ///
    /// # Errors
    /// Those of [`Wiring::new`] and of the operating point.
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
                let share = lamp.light(held(wiring, tool, Kind::Lamp(lamp))?.0);
                let glow = match share {
                    s if s < DARK_BELOW => Glow::Dark,
                    s if s < BRIGHT_FROM => Glow::Dim,
                    _ => Glow::Bright,
                };
                Ok(Observation::Lamp(glow))
            }
            InstrumentKind::Voltmeter => Ok(Observation::Volt(held(wiring, tool, Kind::Resistor(f.voltmeter_ohm))?.0)),
            InstrumentKind::Ammeter => Ok(Observation::Ampere(held(wiring, tool, Kind::Resistor(f.ammeter_ohm))?.1)),
            InstrumentKind::Ohmmeter => ohmmeter(wiring, tool),
            InstrumentKind::Feeler => {
                let unknown = || CircuitError::Unknown { what: "gap", name: tool.first.clone() };
                let (part, _) = tool.first.split_once('.').unwrap_or((&tool.first, ""));
                let gaps = [("points-", &f.points_gap), ("plug-", &f.plug_gap)];
                let found = gaps.iter().find_map(|(kind, gaps)| gaps.get(part.strip_prefix(kind)?));
                found.map(|g| Observation::Gap(*g)).ok_or_else(unknown)
            }
            InstrumentKind::SparkTester => Ok(Observation::Spark(Strength::None)),
        }
    }

    /// How long a set stays closed at the engine's speed, seconds.
    fn closed_seconds(&self, figures: &Figures, engine: Option<Engine>, set: &str) -> f64 {
        let rpm = match engine {
            Some(Engine::Kicked) => figures.kick_rpm,
            Some(Engine::Running) => figures.running_rpm,
            _ => return BY_HAND_SECONDS,
        };
        let degrees_per_second = 6.0 * rpm;
        figures.dwell_degrees.get(set).copied().unwrap_or(0.0) / degrees_per_second
    }

    /// The spark at a tester, or at a plug taken out (`plug-ID.top` and `plug-ID.thread`). With the engine still, it comes from
    /// the lifting of a fitted jumper.
    fn spark(&self, state: &BikeState, tool: &Instrument) -> Result<Strength, CircuitError> {
        let at_rest = self.wiring(state, &BTreeSet::new())?;
        let f = &at_rest.figures;
        let Some((coil, leads)) = self.lead_to(&at_rest, &tool.first) else {
            return Err(CircuitError::Unknown { what: "coil with a lead at", name: tool.first.clone() });
        };
        let plug = tool.first.strip_prefix("plug-").and_then(|t| t.strip_suffix(".top"));
        let own_gap = plug.filter(|p| tool.second == format!("plug-{p}.thread"));
        let grounded = own_gap.is_some() || at_rest.reach(GROUND, PAST_OHM, |_| false).contains(&tool.second);
        if !leads || !grounded {
            return Ok(Strength::None);
        }
        let reversed = f.coils.get(&coil).is_some_and(|c| c.reversed);
        let need = match own_gap.and_then(|p| f.plug_gap.get(p)) {
            Some(millimetre) => needed(*millimetre, OPEN_AIR, reversed),
            None => POINTED_NEEDS * needed(f.tester_gap, OPEN_AIR, false),
        };
        let mut best = Break::NONE;
        for b in self.all_breaks(state, &coil)? {
            if b.available_volt > best.available_volt {
                best = b;
            }
        }
        Ok(strength(&best, need))
    }

    /// The spark in the cylinder, under compression, at a plug.
    ///
    /// # Errors
    /// Those of [`Wiring::new`] and of the operating point.
    pub fn fires(&self, state: &BikeState, plug: &str) -> Result<Strength, CircuitError> {
        let at_rest = self.wiring(state, &BTreeSet::new())?;
        let f = &at_rest.figures;
        let top = format!("plug-{plug}.top");
        let Some((coil, leads)) = self.lead_to(&at_rest, &top) else { return Ok(Strength::None) };
        let thread = format!("plug-{plug}.thread");
        let fitted = at_rest.reach(GROUND, PAST_OHM, |_| false).contains(&thread);
        let on = at_rest.reach(&format!("coil-{coil}.lead"), PAST_OHM, super::Branch::is_winding).contains(&top);
        let (Some(gap), true) = (f.plug_gap.get(plug), leads && fitted && on) else { return Ok(Strength::None) };
        let air = (f.compression_bar, f.compression_kelvin);
        let need = needed(*gap, air, f.coils.get(&coil).is_some_and(|c| c.reversed));
        let breaks = self.all_breaks(state, &coil)?;
        Ok(breaks.iter().map(|b| strength(b, need)).max().unwrap_or(Strength::None))
    }

    /// Breaks by the points, or with the engine still by lifting what is fitted as a jumper.
    fn all_breaks(&self, state: &BikeState, coil: &str) -> Result<Vec<Break>, CircuitError> {
        let turning = matches!(state.engine, Some(Engine::Kicked | Engine::Running | Engine::Turned));
        if turning {
            let figures = self.wiring(state, &BTreeSet::new())?.figures;
            let breaks = self.breaks(state, coil, |set| self.closed_seconds(&figures, state.engine, set))?;
            return Ok(breaks.into_iter().map(|(_, b)| b).collect());
        }
        let mut lifted = state.clone();
        lifted.fitted.retain(|name, _| !name.contains("jumper"));
        if lifted.fitted.len() == state.fitted.len() {
            return Ok(Vec::new());
        }
        let one = |points: BTreeSet<String>| {
            let (down, up) = (self.wiring(state, &points)?, self.wiring(&lifted, &points)?);
            transient::at_break(&down, &up, coil, BY_HAND_SECONDS)
        };
        self.standings(state).into_iter().take(1).map(one).collect()
    }

    /// The coil whose high-tension lead ends on a terminal, and whether the lead is whole; being off its plug does not count.
    pub(super) fn lead_to(&self, wiring: &Wiring, terminal: &str) -> Option<(String, bool)> {
        let coil_of = |t: &str| Some(t.strip_prefix("coil-")?.strip_suffix(".lead")?.to_owned());
        if let Some(coil) = coil_of(terminal) {
            return self.bike.coils.iter().any(|c| c.id.value == coil).then_some((coil, true));
        }
        let wire = self.bike.wires.iter().find(|w| w.to.value == terminal && coil_of(&w.from.value).is_some())?;
        let id = format!("{} to {}", wire.from.value, wire.to.value);
        let mut pieces = wiring.branches.iter().filter(|b| b.part == id);
        let whole = pieces.all(|b| passes(super::Branch { parted: false, ..b.clone() }.ohm()));
        Some((coil_of(&wire.from.value)?, whole))
    }
}

/// Voltage across and current through an element held between the instrument's leads.
fn held(wiring: &Wiring, tool: &Instrument, kind: Kind) -> Result<(f64, f64), CircuitError> {
    let (mut network, _) = wiring.network()?;
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
    let parts = |t: &str| -> BTreeSet<String> {
        let at = wiring.branches.iter().filter(|b| b.a == t || b.b == t);
        at.map(|b| b.part.clone()).collect()
    };
    let common: BTreeSet<_> = parts(&tool.first).intersection(&parts(&tool.second)).cloned().collect();
    let past = wiring.reach(&tool.first, PAST_OHM, |b| common.contains(&b.part)).contains(&tool.second);
    if !common.is_empty() && past {
        return Ok(Observation::NotValid(NotValid::NotIsolated));
    }
    match resistance(wiring, &tool.first, &tool.second, |_| false)? {
        Some(ohm) if ohm <= wiring.figures.ohmmeter_top => Ok(Observation::Ohm(ohm)),
        _ => Ok(Observation::OverRange),
    }
}

/// Voltage a gap needs, volt.
pub(super) fn needed(millimetre: f64, (bar, kelvin): (f64, f64), reversed: bool) -> f64 {
    gap::breakdown_volt(millimetre, bar, kelvin) * if reversed { REVERSED_NEEDS } else { 1.0 }
}

pub(super) fn strength(b: &Break, needed: f64) -> Strength {
    match b.available_volt / needed {
        share if share < 1.0 => Strength::None,
        share if share < STRONG_FROM || b.joule * b.passed_on < STRONG_JOULE => Strength::Weak,
        _ => Strength::Strong,
    }
}
