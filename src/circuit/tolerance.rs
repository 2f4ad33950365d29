//! A bike drawn at random from the tolerances of sound parts, which the catalogue states, and of meters.

use super::{CircuitError, Model};

/// Range of a wire of unknown length relative to the typical one (common practice, no source).
const WIRE_SPREAD: (f64, f64) = (0.3, 3.0);
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

impl<'b> Model<'b> {
    /// The same bike with other sound parts, and what its meter shows for 1. The same seed gives the same bike; seed 0 gives the typical
    /// one with an exact meter.
    ///
    /// # Errors
    /// A value of the catalogue that does not come out.
    pub(super) fn sampled(&self, seed: u64) -> Result<(Model<'b>, f64), CircuitError> {
        if seed == 0 {
            return Ok((self.clone(), 1.0));
        }
        let mut random = fastrand::Rng::with_seed(seed);
        let mut figures = (*self.figures).clone();
        figures.wire_ohm *= between(&mut random, WIRE_SPREAD);
        for part in &self.bike.parts {
            let Some(values) = figures.values.get_mut(part.id.as_str()) else { continue };
            for value in &part.kind.values {
                let Some(number) = values.get_mut(&value.name) else { continue };
                if let Some(spread) = value.spread {
                    *number *= around(&mut random, spread);
                }
                if let Some(times) = value.times {
                    *number *= between(&mut random, times);
                }
            }
        }
        figures.derive(self.bike, self.plan())?;
        Ok((self.with_figures(figures), around(&mut random, METER_SPREAD)))
    }
}
