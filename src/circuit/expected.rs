//! What a step should show on this bike, with the spread that parts and meters have within their tolerances.

use super::{CircuitError, Figures, Model, Observation};
use crate::bike::BikeState;
use std::collections::BTreeSet;

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

/// What is expected with these points sets closed.
#[derive(Debug, Clone, PartialEq)]
pub struct Expected {
    /// Sets that are closed.
    pub closed: BTreeSet<String>,
    /// Every different observation that is no number.
    pub seen: Vec<Observation>,
    /// Lowest and highest number, in the base unit of what is measured; `None` when none was read.
    pub range: Option<(f64, f64)>,
}

/// A generator whose seed says all (xorshift64*, Vigna 2016).
struct Random(u64);

impl Random {
    fn unit(&mut self) -> f64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1u64 << 53) as f64
    }
    fn within(&mut self, spread: f64) -> f64 {
        1.0 + spread * (2.0 * self.unit() - 1.0)
    }
    fn between(&mut self, (low, high): (f64, f64)) -> f64 {
        low * (high / low).powf(self.unit())
    }
}

impl Figures {
    fn sampled(&self, random: &mut Random) -> Figures {
        let mut f = self.clone();
        f.battery_volt *= random.between(BATTERY_SPREAD);
        let contacts = [
            &mut f.battery_ohm,
            &mut f.switch_ohm,
            &mut f.connector_ohm,
            &mut f.fuse_ohm,
            &mut f.points_ohm,
            &mut f.wire_ohm,
        ];
        for ohm in contacts {
            *ohm *= random.between(CONTACT_SPREAD);
        }
        for coil in f.coils.values_mut() {
            coil.primary_ohm *= random.within(WINDING_SPREAD);
            coil.secondary_ohm *= random.within(WINDING_SPREAD);
            coil.primary_henry *= random.within(REACTANCE_SPREAD);
        }
        f.condenser_farad.values_mut().for_each(|farad| *farad *= random.within(REACTANCE_SPREAD));
        f
    }
}

impl Model<'_> {
    /// What the state's instrument shows over `samples` bikes within their tolerances, the first one typical. Empty without an
    /// instrument. The same seed gives the same answer; a seed of 0 counts as 1.
    ///
    /// # Errors
    /// Those of [`Model::observe`].
    pub fn expected(&self, state: &BikeState, samples: usize, seed: u64) -> Result<Vec<Expected>, CircuitError> {
        let mut random = Random(seed.max(1));
        let mut all: Vec<Expected> = Vec::new();
        for n in 0..samples.max(1) {
            let (figures, meter) = match n {
                0 => (self.figures.clone(), 1.0),
                _ => (self.figures.sampled(&mut random), random.within(METER_SPREAD)),
            };
            let cases = Model { figures, ..self.clone() }.observe(state)?;
            if n == 0 {
                let empty = |c: &super::Case| Expected { closed: c.closed.clone(), seen: Vec::new(), range: None };
                all = cases.iter().map(empty).collect();
            }
            for (expected, case) in all.iter_mut().zip(cases) {
                let value = match case.seen {
                    Observation::Volt(v) | Observation::Ampere(v) | Observation::Ohm(v) => v * meter,
                    Observation::Gap(v) => v,
                    other => {
                        if !expected.seen.contains(&other) {
                            expected.seen.push(other);
                        }
                        continue;
                    }
                };
                let (low, high) = expected.range.unwrap_or((value, value));
                expected.range = Some((low.min(value), high.max(value)));
            }
        }
        Ok(all)
    }
}
