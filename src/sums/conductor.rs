//! Copper conductors: resistance as a function of length, cross-section and temperature.
//!
//! Sources: IEC 60028:1925 (standard of resistance for copper), IEC 60228:2004 table 3 (class 5, flexible, plain copper). The tables'
//! figures are quoted from memory of the standards.

/// Resistivity of annealed copper at 20 degrees Celsius, ohm square millimetre per metre: 1/58 (IEC 60028).
pub(super) const COPPER_OHM_MM2_PER_METRE: f64 = 1.0 / 58.0;
/// Temperature coefficient of copper's resistance at 20 degrees Celsius, per kelvin, constant mass (IEC 60028).
pub(super) const COPPER_PER_KELVIN: f64 = 0.00393;
/// Temperature of the tables, degree Celsius.
pub(super) const REFERENCE_CELSIUS: f64 = 20.0;

/// Highest resistance at 20 degrees Celsius of class 5 plain copper conductors: (square millimetre, ohm per kilometre).
pub(super) const CLASS_5_OHM_PER_KILOMETRE: [(f64, f64); 9] = [
    (0.5, 39.0),
    (0.75, 26.0),
    (1.0, 19.5),
    (1.5, 13.3),
    (2.5, 7.98),
    (4.0, 4.95),
    (6.0, 3.30),
    (10.0, 1.91),
    (16.0, 1.21),
];

/// Resistance, ohm, of `metre` of copper of `mm2` at `celsius`: from IEC 60228 for a nominal size, otherwise from the resistivity.
///
/// ```
/// let ohm = probeside::sums::conductor::wire_ohm(1000.0, 1.5, 20.0);
/// assert_eq!(ohm, 13.3);
/// ```
pub fn wire_ohm(metre: f64, mm2: f64, celsius: f64) -> f64 {
    let listed = CLASS_5_OHM_PER_KILOMETRE.iter().find(|(size, _)| (size - mm2).abs() < 1e-9);
    let per_metre = listed.map_or(COPPER_OHM_MM2_PER_METRE / mm2, |(_, per_kilometre)| per_kilometre / 1000.0);
    metre * at_temperature(per_metre, celsius)
}

/// Resistance at `celsius` of a copper part that has `ohm` at 20 degrees Celsius.
pub fn at_temperature(ohm: f64, celsius: f64) -> f64 {
    ohm * (1.0 + COPPER_PER_KELVIN * (celsius - REFERENCE_CELSIUS))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn flexible_conductors_stay_near_the_resistivity() {
        // IEC 60228 class 5 allows for stranding and fine wires: at most 20 % above the bare resistivity.
        for (mm2, ohm) in CLASS_5_OHM_PER_KILOMETRE {
            let bare = 1000.0 * COPPER_OHM_MM2_PER_METRE / mm2;
            assert!(ohm > bare && ohm < 1.2 * bare, "{mm2} mm2: {ohm} against {bare}");
        }
    }

    #[test]
    fn copper_gains_a_good_third_at_a_hundred_degrees_more_than_twenty() {
        // IEC 60028: 1 + 0.00393 * 80.
        assert!((at_temperature(1.0, 100.0) - 1.3144).abs() < 1e-9);
    }
}
