//! The tolerances of sound parts and meters, and a bike drawn at random from them.

use super::{Figures, Model};
use std::sync::Arc;

/// Tolerance of a winding's resistance, plus or minus (common practice, no source).
const WINDING_SPREAD: f64 = 0.10;
/// Tolerance of a coil's inductance and of capacitances, plus or minus (common practice, no source).
const REACTANCE_SPREAD: f64 = 0.20;
/// Range of a sound contact's resistance relative to the typical one (common practice, no source).
const CONTACT_SPREAD: (f64, f64) = (0.3, 3.0);
/// Range of a battery's open-circuit voltage in use relative to the full one: 70 to 100 % charged.
const BATTERY_SPREAD: (f64, f64) = (0.98, 1.0);
/// Error of a hand-held meter as a share of the reading, plus or minus (common practice, no source).
const METER_SPREAD: f64 = 0.01;

/// 1 plus or minus `spread`.
fn around(random: &mut fastrand::Rng, spread: f64) -> f64 {
    1.0 + spread * (2.0 * random.f64() - 1.0)
}

/// Between two values, uniform in the logarithm.
fn between(random: &mut fastrand::Rng, (low, high): (f64, f64)) -> f64 {
    low * (high / low).powf(random.f64())
}

impl Figures {
    fn sampled(&self, random: &mut fastrand::Rng) -> Figures {
        let mut f = self.clone();
        f.battery_volt *= between(random, BATTERY_SPREAD);
        let contacts = [
            &mut f.battery_ohm,
            &mut f.switch_ohm,
            &mut f.connector_ohm,
            &mut f.fuse_ohm,
            &mut f.points_ohm,
            &mut f.wire_ohm,
        ];
        for ohm in contacts {
            *ohm *= between(random, CONTACT_SPREAD);
        }
        for ohm in f.own_ohm.values_mut() {
            *ohm *= between(random, CONTACT_SPREAD);
        }
        for coil in f.coils.values_mut() {
            coil.primary_ohm *= around(random, WINDING_SPREAD);
            coil.secondary_ohm *= around(random, WINDING_SPREAD);
            coil.primary_henry *= around(random, REACTANCE_SPREAD);
        }
        f.condenser_farad.values_mut().for_each(|farad| *farad *= around(random, REACTANCE_SPREAD));
        f
    }
}

impl<'b> Model<'b> {
    /// The same bike with other sound parts, and what its meter shows for 1. The same seed gives the same bike; seed 0 gives the typical
    /// one with an exact meter.
    pub(super) fn sampled(&self, seed: u64) -> (Model<'b>, f64) {
        if seed == 0 {
            return (self.clone(), 1.0);
        }
        let mut random = fastrand::Rng::with_seed(seed);
        let figures = self.figures.sampled(&mut random);
        (Model { figures: Arc::new(figures), ..self.clone() }, around(&mut random, METER_SPREAD))
    }
}
