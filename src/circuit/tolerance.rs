//! A bike drawn at random from the tolerances of sound parts, which the catalogue states, and of meters.

use super::{CircuitError, Model};
use crate::parts::PrimitiveKind;

/// Range of a wire of unknown length relative to the typical one (common practice, no source).
const WIRE_SPREAD: (f64, f64) = (0.3, 3.0);
/// Temperatures of wires and windings in a shop, degree Celsius, from a cold one to a coil that was just in use (common practice, no source).
const CELSIUS: (f64, f64) = (5.0, 60.0);
/// Power of a test lamp relative to the typical one: 2 to 5 watt (common practice, no source).
const LAMP: (f64, f64) = (0.67, 1.67);
/// State of charge of a battery that nobody charged for the occasion (common practice, no source).
const CHARGE: (f64, f64) = (0.5, 1.0);
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

    /// A bike as it comes into a shop: as [`Model::sampled`], and the battery at some charge, the day at some temperature, the test lamp of some
    /// power.
    ///
    /// # Errors
    /// As [`Model::sampled`].
    pub(super) fn drawn(&self, seed: u64) -> Result<(Model<'b>, f64), CircuitError> {
        let (model, meter) = self.sampled(seed)?;
        let mut random = fastrand::Rng::with_seed(!seed);
        let mut figures = (*model.figures).clone();
        figures.celsius = CELSIUS.0 + random.f64() * (CELSIUS.1 - CELSIUS.0);
        figures.lamp_watt *= between(&mut random, LAMP);
        for part in self.bike.parts.iter().filter(|part| part.kind.has(PrimitiveKind::Source)) {
            let charge = figures.values.get_mut(part.id.as_str()).and_then(|values| values.get_mut("charge"));
            // A charge that a fault has set stays.
            if let Some(charge) = charge.filter(|charge| **charge >= 1.0) {
                *charge = CHARGE.0 + random.f64() * (CHARGE.1 - CHARGE.0);
            }
        }
        figures.derive(self.bike, self.plan())?;
        Ok((model.with_figures(figures), meter))
    }
}

#[cfg(test)]
mod tests {
    use crate::bike::load;
    use crate::circuit::Model;
    use std::path::Path;

    /// Every value of every part, drawn 200 times, stays where the catalogue says, and not always in the same place.
    #[test]
    fn sampled_bikes_stay_within_the_tolerances_of_the_catalogue() {
        for name in ["borage-twin", "fennel-single"] {
            let file = format!("{}/procedures/bikes/{name}.yaml", env!("CARGO_MANIFEST_DIR"));
            let bike = load(Path::new(&file)).unwrap_or_else(|wrong| panic!("{}", wrong[0]));
            let typical = Model::new(&bike);
            assert_eq!(typical.sampled(0).expect("a bike").0.figures, typical.figures);
            let again = |seed| typical.sampled(seed).expect("a bike").0.figures;
            assert_eq!(again(7), again(7));
            let mut moved = 0;
            for seed in 1..200 {
                let drawn = again(seed);
                for part in &bike.parts {
                    let (own, drawn) = (&typical.figures.values[part.id.as_str()], &drawn.values[part.id.as_str()]);
                    for value in &part.kind.values {
                        let (Some(own), Some(drawn)) = (own.get(&value.name), drawn.get(&value.name)) else { continue };
                        let (mut low, mut high) = value.times.unwrap_or((1.0, 1.0));
                        let spread = value.spread.unwrap_or(0.0);
                        (low, high) = (low * (1.0 - spread) - 1e-9, high * (1.0 + spread) + 1e-9);
                        let factor = if *own == 0.0 { 1.0 } else { drawn / own };
                        assert!((low..=high).contains(&factor), "{name}: {} {} {factor}", *part.id, value.name);
                        moved += usize::from((factor - 1.0).abs() > 0.02);
                    }
                }
            }
            assert!(moved > 1000, "{name}: {moved} values moved");
        }
    }
}
