//! American wire gauge: converts gauge numbers to cross-sections and back. Source: ASTM B258, quoted from memory.

/// Diameter of an American wire gauge number, millimetre (0 is written 0, 2/0 is -1, 4/0 is -3): ASTM B258, 0.0050 inch times
/// 92 to the power (36 - n)/39.
pub(super) fn awg_millimetre(number: f64) -> f64 {
    0.127 * 92f64.powf((36.0 - number) / 39.0)
}

/// Cross-section of an American wire gauge number, square millimetre.
pub(super) fn awg_mm2(number: f64) -> f64 {
    std::f64::consts::FRAC_PI_4 * awg_millimetre(number).powi(2)
}

/// American wire gauge number of a cross-section in square millimetre. Has decimals between two gauges.
pub(super) fn awg_number(mm2: f64) -> f64 {
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
}
