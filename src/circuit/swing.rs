//! The first swing of a coil after its points have opened.
//!
//! Three things store energy: the iron, the condenser at the points, and the capacitance of secondary, lead and plug, referred to the
//! primary. The wiring between them is a network of resistances and sources. It is solved once for each of them alone, which gives the
//! voltage across the iron and the two charging currents as sums, whatever paths to ground or to the feed there are.

use super::CircuitError;
use super::iron::Iron;
use super::network::{Kind, Network};
use super::wiring::{BranchKind, Wiring};
use nalgebra::{Matrix3, Vector3};
use std::cell::RefCell;
use std::collections::HashMap;

/// Steps to the fastest of the three time constants.
const STEPS: f64 = 4.0;
/// Most steps. A swing that has not ended by then has no height.
const MOST_STEPS: usize = 40_000;
/// The swing is over when the voltage has fallen to this share of its peak.
const OVER_AT: f64 = 0.98;

/// Swings that a thread remembers at most: some 40 megabytes.
const MOST_KNOWN: usize = 100_000;

thread_local! {
    /// Swings by everything that decides them. Most faults are nowhere near the coil that is tested, so four of five are known.
    static KNOWN: RefCell<HashMap<Vec<u64>, f64>> = RefCell::default();
}

/// The secondary as the primary sees it: divided by the square of the ratio.
pub(super) struct Secondary {
    pub ohm: f64,
    pub farad: f64,
    /// Leaks from the lead, siemens.
    pub siemens: f64,
}

/// What is there at the moment of the break.
pub(super) struct Start {
    /// Current through the primary, ampere.
    pub ampere: f64,
    /// Voltage across the condenser, volt.
    pub condenser_volt: f64,
    /// Voltage across the iron, volt.
    pub iron_volt: f64,
}

/// Which of the sources is on.
#[derive(Clone, Copy, PartialEq)]
enum On {
    Supply,
    Iron,
    Condenser,
    Secondary,
}

/// What the network does with one source on: volt across the iron, ampere into the condenser, ampere into the secondary.
fn alone(
    open: &Wiring,
    coil: &str,
    condenser: Option<&(String, f64)>,
    secondary: &Secondary,
    on: On,
) -> Result<Vector3<f64>, CircuitError> {
    let value = |of: On, value: f64| if on == of { value } else { 0.0 };
    let mut network = Network::sized(&open.ground, open.branches.len() + 4);
    let core = network.node("iron");
    let (primary, wound) = (format!("{coil}.primary"), format!("{coil}.secondary"));
    let mut end = Network::REFERENCE;
    let mut charged = None;
    for branch in open.branches.iter().filter(|b| !b.parted && b.id != wound) {
        let (a, b) = (network.node_named(&branch.a), network.node_named(&branch.b));
        if branch.id == primary {
            network.add("through the iron", core, b, Kind::Current(value(On::Iron, 1.0)))?;
            end = b;
            if let Some(ohm) = branch.ohm() {
                network.add_named(branch.id.clone(), a, core, Kind::Resistor(ohm))?;
            }
            continue;
        }
        if condenser.is_some_and(|(id, _)| branch.id == *id.as_str()) {
            charged = Some(network.add("charge", a, b, Kind::Voltage(value(On::Condenser, 1.0)))?);
        }
        let kind = match (&branch.kind, branch.ohm()) {
            (BranchKind::Emf(volt), _) => Kind::Voltage(value(On::Supply, *volt)),
            (_, Some(ohm)) => Kind::Resistor(ohm),
            _ => continue,
        };
        network.add_named(branch.id.clone(), a, b, kind)?;
    }
    let lead = network.node("lead");
    network.add("secondary", core, lead, Kind::Resistor(secondary.ohm))?;
    let led = network.add("lead charge", lead, end, Kind::Voltage(value(On::Secondary, 1.0)))?;
    let point = network.operating_point()?;
    let iron = point.voltage(core, end).unwrap_or(0.0);
    Ok(Vector3::new(iron, charged.map_or(0.0, |charged| point.current(charged)), point.current(led)))
}

/// The highest voltage that the secondary's capacitance swings to, referred to the primary, volt. `coil` is the coil's part, `condenser` the
/// branch of the condenser at its points with the capacitance of all that are there.
///
/// # Errors
/// The errors of [`Network::operating_point`].
pub(super) fn peak(
    open: &Wiring,
    coil: &str,
    iron: Iron,
    condenser: Option<(String, f64)>,
    secondary: &Secondary,
    start: &Start,
) -> Result<f64, CircuitError> {
    let of = |on: On| alone(open, coil, condenser.as_ref(), secondary, on);
    let supply = of(On::Supply)?;
    let by = Matrix3::from_columns(&[
        of(On::Iron)?,
        if condenser.is_some() { of(On::Condenser)? } else { Vector3::zeros() },
        of(On::Secondary)?,
    ]);
    let charge = condenser.map_or(0.0, |(_, farad)| 1.0 / farad);
    // The state: flux linkage, volt across the condenser, volt across the secondary.
    let slope = |x: Vector3<f64>| {
        let flows = supply + by * Vector3::new(iron.ampere(x[0]), x[1], x[2]);
        Vector3::new(flows[0], flows[1] * charge, (flows[2] - secondary.siemens * x[2]) / secondary.farad)
    };
    let fastest = [iron.henry, iron.henry_beyond()].map(|henry| {
        let mut slopes = by;
        slopes[(2, 2)] -= secondary.siemens;
        slopes.column_mut(0).scale_mut(1.0 / henry);
        slopes.row_mut(1).scale_mut(charge);
        slopes.row_mut(2).scale_mut(1.0 / secondary.farad);
        slopes.complex_eigenvalues().iter().map(|each| each.norm()).fold(0.0, f64::max)
    });
    let step = 1.0 / (STEPS * fastest[0].max(fastest[1]));
    if !step.is_finite() {
        return Err(CircuitError::Singular);
    }
    let begins = Vector3::new(iron.flux(start.ampere), start.condenser_volt, start.iron_volt);
    let given = by.iter().chain(&supply).chain(&begins).copied();
    let more = [iron.henry, iron.saturation_ampere, charge, secondary.farad, secondary.siemens, start.ampere, step];
    let key: Vec<u64> = given.chain(more).map(f64::to_bits).collect();
    if let Some(known) = KNOWN.with_borrow(|known| known.get(&key).copied()) {
        return Ok(known);
    }
    let best = highest(begins, start.ampere, step, slope);
    KNOWN.with_borrow_mut(|known| {
        if known.len() >= MOST_KNOWN {
            known.clear();
        }
        known.insert(key, best);
    });
    Ok(best)
}

/// The highest voltage of the secondary, against the direction of the current `ampere` at the break, volt. `x` is the state then, `slope` how fast
/// it changes, `step` in seconds.
fn highest(mut x: Vector3<f64>, ampere: f64, step: f64, slope: impl Fn(Vector3<f64>) -> Vector3<f64>) -> f64 {
    let mut best: f64 = 0.0;
    for _ in 0..MOST_STEPS {
        // Fourth-order Runge-Kutta.
        let a = slope(x);
        let b = slope(x + a * (step / 2.0));
        let c = slope(x + b * (step / 2.0));
        let d = slope(x + c * step);
        x += (a + b * 2.0 + c * 2.0 + d) * (step / 6.0);
        // The iron keeps its current going, so its voltage reverses.
        let height = -x[2] * ampere.signum();
        if best > 0.0 && height < OVER_AT * best {
            break;
        }
        best = best.max(height);
    }
    best
}
