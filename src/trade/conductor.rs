//! Copper conductors: resistance by length, cross-section and temperature, and the two ways a cross-section is named.
//!
//! Sources: IEC 60028:1925 (standard of resistance for copper), IEC 60228:2004 table 3 (class 5, flexible, plain copper), ASTM
//! B258 (American wire gauge). The figures of the tables are quoted from memory of the standards.

/// Resistivity of annealed copper at 20 degrees Celsius, ohm square millimetre per metre: 1/58 (IEC 60028).
pub const COPPER_OHM_MM2_PER_METRE: f64 = 1.0 / 58.0;
/// Temperature coefficient of copper's resistance at 20 degrees Celsius, per kelvin, constant mass (IEC 60028).
pub const COPPER_PER_KELVIN: f64 = 0.00393;
/// Temperature the tables are for, degree Celsius.
pub const REFERENCE_CELSIUS: f64 = 20.0;

/// Greatest resistance at 20 degrees Celsius of class 5 plain copper conductors: (square millimetre, ohm per kilometre).
pub const CLASS_5_OHM_PER_KILOMETRE: [(f64, f64); 9] = [
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

/// Resistance of `metre` of copper of `mm2` at `celsius`, ohm: from IEC 60228 for a nominal size, else from the resistivity.
///
/// ```
/// let ohm = probeside::trade::conductor::wire_ohm(1000.0, 1.5, 20.0);
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

/// Diameter of an American wire gauge number, millimetre (0 is written 0, 2/0 is -1, 4/0 is -3): ASTM B258, 0.0050 inch times
/// 92 to the power (36 - n)/39.
pub fn awg_millimetre(number: f64) -> f64 {
    0.127 * 92f64.powf((36.0 - number) / 39.0)
}

/// Cross-section of an American wire gauge number, square millimetre.
pub fn awg_mm2(number: f64) -> f64 {
    std::f64::consts::FRAC_PI_4 * awg_millimetre(number).powi(2)
}

/// American wire gauge number of a cross-section in square millimetre, with decimals where it lies between two numbers.
pub fn awg_number(mm2: f64) -> f64 {
    let millimetre = (mm2 / std::f64::consts::FRAC_PI_4).sqrt();
    36.0 - 39.0 * (millimetre / 0.127).ln() / 92f64.ln()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gauge_diameters_are_those_of_astm_b258() {
        // ASTM B258 table 1, inch, as published (rounded to 0.0001 in); from memory.
        for (number, inch) in [
            (-3.0, 0.4600),
            (0.0, 0.3249),
            (10.0, 0.1019),
            (12.0, 0.0808),
            (14.0, 0.0641),
            (16.0, 0.0508),
            (18.0, 0.0403),
            (20.0, 0.0320),
        ] {
            assert!((awg_millimetre(number) / 25.4 - inch).abs() < 0.00006, "AWG {number}");
        }
    }

    #[test]
    fn flexible_conductors_stay_near_the_resistivity() {
        // IEC 60228 class 5 allows for stranding and fine wires: more than the bare resistivity, by at most 20 %.
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
