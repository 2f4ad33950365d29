//! Breakdown voltage of air between electrodes, as a function of pressure, temperature and distance.
//!
//! At the Paschen minimum the Townsend form applies, fitted to the published minimum of air (327 V at 0.567 Torr cm: Cobine, Gaseous
//! Conductors, 1941; from memory). Above ten times that product the empirical uniform-field formula applies, Vb = 6.72 sqrt(pd) + 24.36 pd,
//! in kV and bar cm (Kuffel, Zaengl and Kuffel, High Voltage Engineering Fundamentals; from memory). In between the two are blended, with
//! the square of the position in ln(pd) as the weight.

/// Lowest breakdown voltage of air, volt.
pub(super) const PASCHEN_MINIMUM_VOLT: f64 = 327.0;
/// Product of pressure and distance at the minimum, bar millimetre (0.567 Torr cm).
pub(super) const PASCHEN_MINIMUM_BAR_MM: f64 = 0.567 * 1.333_224e-3 * 10.0;
/// From this product on only the empirical formula applies, bar millimetre (its stated range starts at 0.01 bar cm).
const EMPIRICAL_FROM_BAR_MM: f64 = 0.1;
/// Reference temperature of both formulas, kelvin.
const REFERENCE_KELVIN: f64 = 293.0;

/// Breakdown voltage, volt, of `millimetre` of air at `bar` (absolute) and `kelvin`, in a uniform field. Left of the minimum it stays at
/// the minimum: the discharge can always take a longer path.
pub fn breakdown_volt(millimetre: f64, bar: f64, kelvin: f64) -> f64 {
    let product = bar * millimetre * REFERENCE_KELVIN / kelvin;
    if product <= PASCHEN_MINIMUM_BAR_MM {
        return PASCHEN_MINIMUM_VOLT;
    }
    let x = product / PASCHEN_MINIMUM_BAR_MM;
    let townsend = PASCHEN_MINIMUM_VOLT * x / (1.0 + x.ln());
    let bar_cm = product / 10.0;
    let empirical = 1000.0 * (6.72 * bar_cm.sqrt() + 24.36 * bar_cm);
    let share = (x.ln() / (EMPIRICAL_FROM_BAR_MM / PASCHEN_MINIMUM_BAR_MM).ln()).min(1.0).powi(2);
    (1.0 - share) * townsend + share * empirical
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn minimum_of_air_and_rising_from_there() {
        assert_eq!(breakdown_volt(0.001, 1.0, 293.0), 327.0);
        let mut last = 0.0;
        for step in 0..2000 {
            let volt = breakdown_volt(0.0075 * 1.005f64.powi(step), 1.0, 293.0);
            assert!(volt >= last - 1e-9, "falls at step {step}");
            last = volt;
        }
    }

    #[test]
    fn plug_gap_at_one_atmosphere() {
        // IEC 60052 sphere gaps, 2 cm spheres: 2.8 kV at 0.5 mm, 4.7 kV at 1.0 mm (peak; from memory): 3.56 kV at 0.7 mm.
        let between = 2800.0 + 0.4 * 1900.0;
        let volt = breakdown_volt(0.7, 1.01325, 293.0);
        assert!((volt / between - 1.0).abs() < 0.05, "{volt}");
    }
}
