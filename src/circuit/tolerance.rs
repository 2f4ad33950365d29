//! The spread that sound parts and meters have, and one bike drawn from it.

use super::{Figures, Model};
use std::sync::Arc;

/// Spread of a winding's resistance, each way (common practice, no source).
const WINDING_SPREAD: f64 = 0.10;
/// Spread of a coil's inductance and of capacitances, each way (common practice, no source).
const REACTANCE_SPREAD: f64 = 0.20;
/// A sound contact has between this share and this many times its typical resistance (common practice, no source).
const CONTACT_SPREAD: (f64, f64) = (0.3, 3.0);
/// A battery in use has between this share of its full open-circuit voltage and all of it: 70 to 100 % charged.
const BATTERY_SPREAD: (f64, f64) = (0.98, 1.0);
/// Share of a reading by which a hand-held meter may be off, each way (common practice, no source).
const METER_SPREAD: f64 = 0.01;

/// 1 plus or minus `spread`.
fn around(random: &mut fastrand::Rng, spread: f64) -> f64 {
    1.0 + spread * (2.0 * random.f64() - 1.0)
}

/// Between two values, evenly by their logarithms.
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
    /// The same bike with other sound parts, and what its meter makes of 1. The same seed gives the same bike; 0 gives the
    /// typical one with a true meter.
    pub(super) fn sampled(&self, seed: u64) -> (Model<'b>, f64) {
        if seed == 0 {
            return (self.clone(), 1.0);
        }
        let mut random = fastrand::Rng::with_seed(seed);
        let figures = self.figures.sampled(&mut random);
        (Model { figures: Arc::new(figures), ..self.clone() }, around(&mut random, METER_SPREAD))
    }
}
