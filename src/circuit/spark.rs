//! Sparks: at a tester, at a plug in open air, in the cylinder, and on the plugs that snap when one points set is opened by hand.
//!
//! A coil's spark current flows in a circuit: out through its lead, across the gap, and back through ground. On a coil with two leads it
//! returns through the other plug. Every part of the circuit must be intact, and the voltage must suffice for every gap in it.

use super::instruments::{Model, Strength};
use super::resistance::resistance;
use super::transient::{self, Break, passes};
use super::wiring::{Branch, Wiring};
use super::{CircuitError, Figures, Name};
use crate::bike::{BikeState, Engine, Instrument, Plug, PointsAt};
use crate::sums::gap;
use std::collections::{BTreeSet, VecDeque};
use std::sync::Arc;

/// A path to ground matters if its resistance is below this, ohm.
const PAST_OHM: f64 = 1e6;
/// A spark with less voltage in reserve than this factor looks weak (common practice, no source).
const STRONG_FROM: f64 = 1.3;
/// A spark with less energy than this looks weak, joule (common practice, no source).
const STRONG_JOULE: f64 = 5e-3;
/// A gap with a positive hot electrode needs this factor more voltage (common practice, no source: 20 to 40 %).
const REVERSED_NEEDS: f64 = 1.3;
/// A tester's pointed electrodes break down at this share of the uniform-field voltage. 6 mm in open air then equals about a plug's gap
/// under compression (common practice, no source).
const POINTED_NEEDS: f64 = 0.6;
/// Pressure, bar absolute, and temperature, kelvin, of open air.
const OPEN_AIR: (f64, f64) = (1.01325, 293.0);
/// How long points or a jumper stay closed when the engine is turned by hand, seconds. The current reaches its full value.
const BY_HAND_SECONDS: f64 = 1.0;

/// A high-tension lead, seen from one of its terminals.
struct Lead {
    coil: String,
    /// The coil's own terminal.
    tower: String,
    /// Whether the path between the tower and the terminal conducts. A cap that is off its plug does not count.
    whole: bool,
    /// The outer terminal of a distributor that it passes.
    arm: Option<String>,
}

/// The voltage that a spark needs.
#[derive(Clone, Copy)]
struct Need {
    /// Voltage for this gap, volt.
    here: f64,
    /// Voltage for the gap at the coil's other end, volt.
    there: f64,
    /// Leakage past the gap, on a coil with two leads. It does not load the coil, which finds its return path through the other end, but it
    /// limits the gap's voltage to what the secondary current produces across it. Ohm, and primary over secondary current.
    leak: Option<(f64, f64)>,
}

impl Model<'_> {
    /// How long a set stays closed at the engine's speed, seconds.
    fn closed_seconds(&self, figures: &Figures, engine: Option<Engine>, set: &str) -> f64 {
        let rpm = match engine {
            Some(Engine::Kicked) => figures.kick_rpm,
            Some(Engine::Running) => figures.running_rpm,
            _ => return BY_HAND_SECONDS,
        };
        let degrees_per_second = 6.0 * rpm;
        figures.timing.get(set).map_or(0.0, |timing| timing.closed) / degrees_per_second
    }

    /// The spark at a tester, or at a removed plug (`plug-ID.top` and `plug-ID.thread`). With the engine still, lifting a fitted jumper
    /// makes it.
    pub(super) fn spark(&self, state: &BikeState, tool: &Instrument) -> Result<Strength, CircuitError> {
        let at_rest = self.wiring(state, &BTreeSet::new())?;
        let lead = self.lead_of_tester(&at_rest, tool)?;
        let Some(need) = self.need_at_tester(&at_rest, &lead, tool)? else { return Ok(Strength::None) };
        let breaks = self.facing(&lead).all_breaks(state, &lead.coil)?;
        Ok(breaks.iter().map(|b| strength(b, need)).max().unwrap_or(Strength::None))
    }

    /// The plugs whose tester snaps when only `set` is opened by hand. The instrument is a spark tester: one on every lead that is off its
    /// plug, or on every lead if none is off, between the plug's cap and the instrument's second terminal.
    ///
    /// # Errors
    /// The errors of `Wiring::new` and of the operating point.
    pub(super) fn flick(&self, state: &BikeState, set: &str) -> Result<Vec<String>, CircuitError> {
        let down = self.standings(state).pop().unwrap_or_default();
        let mut up = down.clone();
        if self.stuck(set).is_none() {
            up.remove(set);
        }
        let open = self.wiring(state, &up)?;
        let ground = state.instrument.as_ref().map_or("engine", |tool| tool.second.as_str());
        let mut snaps = Vec::new();
        // If any leads are off their plugs, those have the testers.
        let off = |plug: &crate::bike::Plug| plug.cap.as_ref().is_some_and(|cap| state.unplugged.contains(cap));
        let some = self.bike.plugs.iter().any(off);
        for plug in self.bike.plugs.iter().filter(|plug| !some || off(plug)) {
            let tool = Instrument {
                kind: crate::bike::InstrumentKind::SparkTester,
                first: plug.cap_ends[1].clone(),
                second: ground.to_owned(),
            };
            let Ok(lead) = self.lead_of_tester(&open, &tool) else { continue };
            let Some(need) = self.need_at_tester(&open, &lead, &tool)? else { continue };
            let facing = self.facing(&lead);
            let (closed, open) = (facing.wiring(state, &down)?, facing.wiring(state, &up)?);
            let b = transient::at_break(&closed, &open, &lead.coil, BY_HAND_SECONDS)?;
            if strength(&b, need) > Strength::None {
                snaps.push(plug.id.clone());
            }
        }
        Ok(snaps)
    }

    fn lead_of_tester(&self, at_rest: &Wiring, tool: &Instrument) -> Result<Lead, CircuitError> {
        let unknown = || CircuitError::Unknown { what: "coil with a lead at", name: tool.first.clone() };
        self.lead_to(at_rest, &tool.first).ok_or_else(unknown)
    }

    /// The voltage that a tester on a lead needs. `None` if the circuit is open.
    fn need_at_tester(&self, at_rest: &Wiring, lead: &Lead, tool: &Instrument) -> Result<Option<Need>, CircuitError> {
        let f = &at_rest.figures;
        let plug = self.bike.plugs.iter().find(|plug| plug.ends[0] == tool.first || plug.cap_ends[1] == tool.first);
        let own_gap = plug.filter(|plug| tool.second == plug.ends[1]);
        let grounded =
            own_gap.is_some() || at_rest.reach(&at_rest.ground, PAST_OHM, |_| false).contains(tool.second.as_str());
        if !lead.whole || !grounded {
            return Ok(None);
        }
        let reversed = f.coils.get(&lead.coil).is_some_and(|c| c.reversed);
        let here = match own_gap.and_then(|plug| f.plug_gap.get(&plug.id)) {
            Some(millimetre) => needed(*millimetre, OPEN_AIR, reversed),
            None => POINTED_NEEDS * needed(f.tester_gap, OPEN_AIR, false),
        };
        // A tester in the cap is on the lead. The plug in the head is not.
        let foot = plug.filter(|_| own_gap.is_none()).map(|plug| plug.cap_ends[0].clone());
        let leak = self.leak_past(at_rest, lead, foot.as_deref().unwrap_or(&tool.first))?;
        Ok(self.need_of_other_end(at_rest, lead).map(|there| Need { here, there, leak }))
    }

    /// The leakage to ground past a gap on a coil with two leads, and the coil's ratio.
    fn leak_past(&self, at_rest: &Wiring, lead: &Lead, terminal: &str) -> Result<Option<(f64, f64)>, CircuitError> {
        let two = self.bike.coils.iter().any(|c| c.id == lead.coil && c.towers.len() > 1);
        let Some(coil) = at_rest.figures.coils.get(&lead.coil).filter(|_| two) else { return Ok(None) };
        let ohm = resistance(at_rest, terminal, &at_rest.ground, Branch::is_winding)?;
        Ok(ohm.filter(|ohm| *ohm < PAST_OHM).map(|ohm| (ohm, coil.ratio)))
    }

    /// The spark at a plug in the cylinder, under compression.
    ///
    /// # Errors
    /// The errors of `Wiring::new` and of the operating point.
    pub fn fires(&self, state: &BikeState, plug: &str) -> Result<Strength, CircuitError> {
        let Some((lead, need, _)) = self.need_in_cylinder(state, plug)? else { return Ok(Strength::None) };
        let breaks = self.facing(&lead).all_breaks(state, &lead.coil)?;
        Ok(breaks.iter().map(|b| strength(b, need)).max().unwrap_or(Strength::None))
    }

    /// The voltage available at a plug in the cylinder over the voltage that it needs, when its own points set opens. Below 1 no spark comes
    /// in time.
    ///
    /// # Errors
    /// As [`Model::fires`].
    pub fn reserve(&self, state: &BikeState, plug: &str) -> Result<f64, CircuitError> {
        let Some((lead, need, figures)) = self.need_in_cylinder(state, plug)? else { return Ok(0.0) };
        let coil = self.bike.coils.iter().find(|coil| coil.plugs.iter().any(|one| one == plug));
        let own = self.bike.points.iter().filter(|set| coil.is_some_and(|coil| coil.id == set.coil));
        let mut best: f64 = 0.0;
        for set in own.map(|set| &set.id) {
            let seconds = self.closed_seconds(&figures, state.engine, set);
            let b = self.facing(&lead).break_by(state, &lead.coil, set, seconds)?;
            best = best.max(reserve(&b, need));
        }
        Ok(best)
    }

    /// The lead to a plug in the cylinder, the voltage that it needs, and the figures. `None` if the circuit is open.
    fn need_in_cylinder(
        &self,
        state: &BikeState,
        plug: &str,
    ) -> Result<Option<(Lead, Need, Arc<Figures>)>, CircuitError> {
        let at_rest = self.wiring(state, &BTreeSet::new())?;
        let f = &at_rest.figures;
        let Some(plug) = self.plug(plug) else { return Ok(None) };
        let Some(lead) = self.lead_to(&at_rest, &plug.ends[0]) else { return Ok(None) };
        let reversed = f.coils.get(&lead.coil).is_some_and(|c| c.reversed);
        let air = (f.compression_bar, f.compression_kelvin);
        let here = need_at_plug(&at_rest, &lead, plug, air, reversed);
        let (Some(here), Some(there)) = (here, self.need_of_other_end(&at_rest, &lead)) else { return Ok(None) };
        let leak = self.leak_past(&at_rest, &lead, &plug.ends[0])?;
        Ok(Some((lead, Need { here, there, leak }, at_rest.figures.clone())))
    }

    /// The voltage for the other lead of a two-lead coil. Zero on a coil with one lead; `None` if that path is open.
    fn need_of_other_end(&self, at_rest: &Wiring, lead: &Lead) -> Option<f64> {
        let coil = self.bike.coils.iter().find(|c| c.id == lead.coil)?;
        if coil.towers.len() < 2 {
            return Some(0.0);
        }
        let plugs = coil.plugs.iter().filter_map(|id| self.plug(id));
        let other = plugs.into_iter().find(|plug| plug.tower.as_ref() != Some(&lead.tower))?;
        let there = self.lead_to(at_rest, &other.ends[0])?;
        let ends = [&other.ends[0], &other.cap_ends[0], &there.tower];
        let ground = at_rest.reach(&at_rest.ground, PAST_OHM, Branch::is_winding);
        if ground.contains(there.tower.as_str()) && !there.whole {
            return Some(0.0);
        }
        if ends.into_iter().any(|end| ground.contains(end.as_str())) {
            return there.whole.then_some(0.0);
        }
        need_at_plug(at_rest, &there, other, OPEN_AIR, false)
    }

    /// The set's position if it is stuck.
    pub(super) fn stuck(&self, set: &str) -> Option<PointsAt> {
        self.changes.iter().find_map(|change| match change {
            super::Alteration::Stuck { set: stuck, at } if stuck == set => Some(*at),
            _ => None,
        })
    }

    /// Every break of the primary current: by the points, or with the engine still by lifting a fitted jumper.
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

    /// The bike at the moment when a distributor's arm faces a lead. The same where there is no distributor.
    fn facing(&self, lead: &Lead) -> Self {
        let mut facing = self.clone();
        facing.arm.clone_from(&lead.arm);
        facing
    }

    fn plug(&self, id: &str) -> Option<&Plug> {
        self.bike.plugs.iter().find(|plug| plug.id == id)
    }

    /// The lead that a terminal belongs to: the way over wires, cap and distributor to a coil's tower, as the wiring has it now.
    fn lead_to(&self, wiring: &Wiring, terminal: &str) -> Option<Lead> {
        let tower =
            |terminal: &str| self.bike.coils.iter().find(|coil| coil.towers.iter().any(|tower| tower == terminal));
        if let Some(coil) = tower(terminal) {
            return Some(Lead { coil: coil.id.clone(), tower: terminal.to_owned(), whole: true, arm: None });
        }
        let is_cap =
            |part: &Name| self.bike.plugs.iter().any(|plug| plug.cap.as_ref().is_some_and(|cap| *part == *cap));
        let carries = |branch: &Branch| branch.is_wire || is_cap(&branch.part) || branch.sparks_over();
        let mut seen = BTreeSet::from([terminal]);
        let mut waiting = VecDeque::from([(terminal, true, None)]);
        while let Some((at, whole, arm)) = waiting.pop_front() {
            if let Some(coil) = tower(at) {
                return Some(Lead { coil: coil.id.clone(), tower: at.to_owned(), whole, arm });
            }
            for branch in wiring.branches.iter().filter(|branch| carries(branch)) {
                let next = match () {
                    () if branch.a == at => branch.b.as_str(),
                    () if branch.b == at => branch.a.as_str(),
                    () => continue,
                };
                if !self.bike.grounded.contains(next) && seen.insert(next) {
                    let passes = branch.sparks_over() || passes(Branch { parted: false, ..branch.clone() }.ohm());
                    let arm = if branch.sparks_over() { Some(branch.b.to_string()) } else { arm.clone() };
                    waiting.push_back((next, whole && passes, arm));
                }
            }
        }
        None
    }
}

/// The voltage that a fitted plug needs. `None` if its lead, cap or seat does not conduct.
fn need_at_plug(at_rest: &Wiring, lead: &Lead, plug: &Plug, air: (f64, f64), reversed: bool) -> Option<f64> {
    let fitted = at_rest.reach(&at_rest.ground, PAST_OHM, |_| false).contains(plug.ends[1].as_str());
    let on = at_rest.reach_by_spark(&lead.tower, PAST_OHM).contains(plug.ends[0].as_str());
    let gap = at_rest.figures.plug_gap.get(&plug.id)?;
    (lead.whole && fitted && on).then(|| needed(*gap, air, reversed))
}

/// The voltage that a gap needs, volt.
fn needed(millimetre: f64, (bar, kelvin): (f64, f64), reversed: bool) -> f64 {
    gap::breakdown_volt(millimetre, bar, kelvin) * if reversed { REVERSED_NEEDS } else { 1.0 }
}

/// The voltage available over the voltage needed.
fn reserve(b: &Break, need: Need) -> f64 {
    if need.leak.is_some_and(|(ohm, ratio)| b.ampere / ratio * ohm < need.here) {
        return 0.0;
    }
    b.available_volt / (need.here + need.there)
}

fn strength(b: &Break, need: Need) -> Strength {
    match reserve(b, need) {
        share if share < 1.0 => Strength::None,
        share if share < STRONG_FROM || b.joule * b.passed_on < STRONG_JOULE => Strength::Weak,
        _ => Strength::Strong,
    }
}
