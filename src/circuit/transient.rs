//! Follows a coil from the closing of its points to the spark: current rise, break, stored energy, ringing, and the voltage available to
//! the gap.
//!
//! Rise and ringing of a plain primary have closed forms. The first swing in the bike's own wiring is integrated numerically.

pub use super::resistance::resistance;
use super::swing::{self, Secondary, Start};
use super::wiring::{BranchKind, Wiring};
use super::{CircuitError, CoilFigures, Model};
pub use crate::sums::coil::{rise, stored_energy};
use std::f64::consts::TAU;

/// Behind more resistance than this a condenser does not keep the points from arcing, ohm.
const CARRIES_OHM: f64 = 10.0;
/// Behind more resistance than this a condenser takes no part in the swing, ohm.
const SWINGS_OHM: f64 = 10e3;
/// A relative change in current below this is no break: another coil on the same feed switched.
const BREAKS_FROM: f64 = 0.05;
/// A winding or lead with more resistance than this passes no spark, ohm (common practice, no source).
const PASSES_OHM: f64 = 1e6;
/// Without a condenser the points arc, and this share of the energy remains (common practice, no source).
const ARC_LEAVES: f64 = 0.05;
/// Below this share of the bike's capacitance the points start to arc (common practice, no source).
const ARCS_BELOW: f64 = 0.5;

/// How the primary rings with its condenser after the break.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ringing {
    /// Frequency, hertz. 0 if it does not oscillate.
    pub hertz: f64,
    /// Decay of the envelope, per second.
    pub decay: f64,
    /// Highest voltage across the condenser, volt.
    pub peak_volt: f64,
    /// Time of the highest voltage, seconds after the break.
    pub peak_seconds: f64,
}

/// Ringing of `henry`, `ohm` and `farad` in series on `volt`, broken at `ampere` with the condenser discharged.
pub fn ringing(henry: f64, ohm: f64, farad: f64, volt: f64, ampere: f64) -> Ringing {
    let decay = ohm / (2.0 * henry);
    let square = 1.0 / (henry * farad) - decay * decay;
    let start = ampere / farad;
    if square > 0.0 {
        let omega = square.sqrt();
        let (cos, sin) = (-volt, (start - decay * volt) / omega);
        let peak = start.atan2(decay * sin + omega * cos) / omega;
        let height = volt + (-decay * peak).exp() * (cos * (omega * peak).cos() + sin * (omega * peak).sin());
        return Ringing { hertz: omega / TAU, decay, peak_volt: height, peak_seconds: peak };
    }
    let swing = swing(&Loop { henry, ohm, farad, volt }, ampere);
    Ringing { hertz: 0.0, decay, peak_volt: swing.0, peak_seconds: swing.1 }
}

/// A primary with its condenser.
struct Loop {
    henry: f64,
    ohm: f64,
    farad: f64,
    volt: f64,
}

/// Peak, volt, and its time, seconds, of the first swing (fourth-order Runge-Kutta).
fn swing(l: &Loop, ampere: f64) -> (f64, f64) {
    let quickest = (l.henry / l.ohm.max(1e-12)).min((l.henry * l.farad).sqrt());
    let step = quickest / 50.0;
    let slope = |(i, v): (f64, f64)| ((l.volt - l.ohm * i - v) / l.henry, i / l.farad);
    let moved = |(i, v): (f64, f64), (di, dv): (f64, f64), h: f64| (i + h * di, v + h * dv);
    let mut at = (ampere, 0.0);
    let mut best = (0.0, 0.0);
    for n in 1..=20_000 {
        let a = slope(at);
        let b = slope(moved(at, a, step / 2.0));
        let c = slope(moved(at, b, step / 2.0));
        let d = slope(moved(at, c, step));
        let sum = (a.0 + 2.0 * b.0 + 2.0 * c.0 + d.0, a.1 + 2.0 * b.1 + 2.0 * c.1 + d.1);
        at = moved(at, sum, step / 6.0);
        if at.1 <= best.0 {
            break;
        }
        best = (at.1, f64::from(n) * step);
    }
    best
}

/// The result of one break of the primary current.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Break {
    /// Primary current at the break, ampere.
    pub ampere: f64,
    /// Energy released, joule.
    pub joule: f64,
    /// Share of it passed on to the secondary.
    pub passed_on: f64,
    /// Frequency of the primary's ringing, hertz.
    pub hertz: f64,
    /// Voltage available at the coil's lead, volt.
    pub available_volt: f64,
}

impl Break {
    /// No break and no voltage.
    pub const NONE: Break = Break { ampere: 0.0, joule: 0.0, passed_on: 0.0, hertz: 0.0, available_volt: 0.0 };
}

/// Steady current through a coil's primary, ampere, and the voltage across its terminals with it removed, volt.
fn primary(wiring: &Wiring, coil: &CoilFigures) -> Result<(f64, f64), CircuitError> {
    let id = format!("{}.primary", coil.part);
    if wiring.branch(&id)?.ohm().is_none() {
        return Ok((0.0, 0.0));
    }
    let network = wiring.netlist()?;
    let element = network.elements().iter().position(|e| e.name == id);
    let ampere = element.map_or(Ok(0.0), |element| Ok(network.operating_point()?.current(element)))?;
    let mut without = wiring.clone();
    without.branch_mut(&id)?.parted = true;
    let network = without.netlist()?;
    let ends = [0, 1].map(|end| network.find(&coil.ends[end]));
    let volt = match ends {
        [Some(a), Some(b)] => network.operating_point()?.voltage(a, b).unwrap_or(0.0),
        _ => 0.0,
    };
    Ok((ampere, volt))
}

/// The condensers that a coil's points side reaches ground through, by ways of at most `ohm`: the branch of one, and the capacitance of all,
/// farad.
fn condensers(open: &Wiring, coil: &CoilFigures, ohm: f64) -> Option<(String, f64)> {
    let near = open.reach(&coil.ends[1], ohm, super::Branch::is_winding);
    let ground = open.reach(&open.ground, ohm, super::Branch::is_winding);
    let mut sum: Option<(String, f64)> = None;
    for b in &open.branches {
        if let BranchKind::Capacitor { farad, .. } = b.kind
            && !b.parted
            && ((near.contains(&b.a) && ground.contains(&b.b)) || (near.contains(&b.b) && ground.contains(&b.a)))
        {
            sum.get_or_insert((b.id.to_string(), 0.0)).1 += farad;
        }
    }
    sum
}

/// Voltage between a branch's ends at rest, volt.
fn across(wiring: &Wiring, id: &str) -> Result<f64, CircuitError> {
    let (branch, network) = (wiring.branch(id)?, wiring.netlist()?);
    let ends = [&branch.a, &branch.b].map(|end| network.find(end));
    Ok(match ends {
        [Some(a), Some(b)] => network.operating_point()?.voltage(a, b).unwrap_or(0.0),
        _ => 0.0,
    })
}

/// The break of a coil's primary between two wirings: one with its circuit closed for `seconds`, one with it open.
///
/// # Errors
/// The errors of [`Network::operating_point`](super::Network::operating_point).
pub fn at_break(closed: &Wiring, open: &Wiring, coil: &str, seconds: f64) -> Result<Break, CircuitError> {
    let unknown = || CircuitError::Unknown { what: "coil", name: coil.to_owned() };
    let figures = closed.figures.coils.get(coil).ok_or_else(unknown)?;
    let (steady, supply) = primary(closed, figures)?;
    let (rest, _) = primary(open, figures)?;
    if steady.abs() < 1e-6 || (steady - rest).abs() < BREAKS_FROM * steady.abs() {
        return Ok(Break { ampere: rest.abs(), ..Break::NONE });
    }
    let ohm = (supply / steady).abs();
    let iron = figures.iron();
    let ampere = iron.rise(rest, steady, ohm, seconds);
    let near = condensers(open, figures, CARRIES_OHM);
    let farad = near.as_ref().map_or(0.0, |(_, farad)| *farad);
    let condenser = near.or_else(|| condensers(open, figures, SWINGS_OHM));
    let arcs = ARC_LEAVES + (1.0 - ARC_LEAVES) * (farad / (ARCS_BELOW * figures.made_for_farad)).min(1.0);
    let passed_on = figures.passed_on * arcs;
    let part = &figures.part;
    let wound = open.branch(&format!("{part}.secondary"))?;
    let through = wound.ohm().filter(|ohm| *ohm < PASSES_OHM);
    let (lead, home) = (&wound.a, if figures.ends.iter().any(|end| wound.b == *end) { &open.ground } else { &wound.b });
    let shunt = resistance(open, lead, home, |b| b.part == *part)?.map_or(0.0, |ohm| 1.0 / ohm.max(1e-3));
    let ratio2 = figures.ratio * figures.ratio;
    let secondary = Secondary {
        ohm: through.unwrap_or(figures.secondary_ohm) / ratio2,
        farad: ratio2 * figures.secondary_farad,
        siemens: ratio2 * shunt,
    };
    let peak = match through {
        None => 0.0,
        Some(_) => {
            let condenser_volt = condenser.as_ref().map_or(Ok(0.0), |(id, _)| across(closed, id))?;
            let start = Start { ampere, condenser_volt, iron_volt: supply - ohm * ampere };
            swing::peak(open, part, iron, condenser, &secondary, &start)?
        }
    };
    let broken = (ampere - rest).abs();
    Ok(Break {
        ampere: ampere.abs(),
        joule: iron.energy(broken),
        passed_on,
        hertz: ringing(figures.primary_henry, ohm, farad + secondary.farad, supply.abs(), broken).hertz,
        available_volt: figures.ratio * peak * passed_on.sqrt(),
    })
}

/// Whether a lead with resistance `ohm` passes a spark.
pub(super) fn passes(ohm: Option<f64>) -> bool {
    ohm.is_some_and(|o| o < PASSES_OHM)
}

impl Model<'_> {
    /// The break that each points set causes at a coil as the engine turns, with the circuit as in `state` and the other sets as they are
    /// at that crank angle. `seconds` is how long a set stays closed, by its id.
    ///
    /// # Errors
    /// The errors of `Wiring::new` and [`Network::operating_point`](super::Network::operating_point).
    pub fn breaks(
        &self,
        state: &crate::bike::BikeState,
        coil: &str,
        seconds: impl Fn(&str) -> f64,
    ) -> Result<Vec<(String, Break)>, CircuitError> {
        let sets = self.bike.points.iter().map(|set| &set.id);
        sets.map(|set| Ok((set.clone(), self.break_by(state, coil, set, seconds(set))?))).collect()
    }

    /// The break that one points set causes at a coil.
    pub(super) fn break_by(
        &self,
        state: &crate::bike::BikeState,
        coil: &str,
        set: &str,
        seconds: f64,
    ) -> Result<Break, CircuitError> {
        if self.stuck(set).is_some() {
            return Ok(Break::NONE);
        }
        let (before, after) = self.around_opening(set);
        at_break(&self.wiring(state, &before)?, &self.wiring(state, &after)?, coil, seconds)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn integrated_swing_is_the_closed_form() {
        let (henry, ohm, farad, volt, ampere) = (8e-3, 4.0, 0.5e-6, 12.0, 2.5);
        let closed = ringing(henry, ohm, farad, volt, ampere);
        let (height, at) = swing(&Loop { henry, ohm, farad, volt }, ampere);
        assert!((height / closed.peak_volt - 1.0).abs() < 1e-3 && (at / closed.peak_seconds - 1.0).abs() < 0.03);
        // Without losses and supply the energy balance is exact: 1/2 L I^2 = 1/2 C V^2.
        let free = ringing(henry, 1e-9, farad, 0.0, ampere);
        assert!((free.peak_volt - ampere * (henry / farad).sqrt()).abs() < 1e-3);
    }

    #[test]
    fn textbook_rise() {
        // Halliday, Resnick and Walker, 30-9: i = E/R (1 - exp(-t R/L)); a solenoid of 53 mH and 0.37 ohm has half its final current
        // after 0.10 s (sample problem, from memory).
        let half = rise(12.0, 0.37, 53e-3, 0.10) / (12.0 / 0.37);
        assert!((half - 0.5).abs() < 0.005, "{half}");
    }

    #[test]
    fn textbook_energy() {
        // Halliday and Resnick, 30-7: U = L i^2 / 2; 53 mH at 34.3 A hold 31 J (sample problem, from memory).
        assert!((stored_energy(53e-3, 34.3) - 31.0).abs() < 0.25);
    }
}
