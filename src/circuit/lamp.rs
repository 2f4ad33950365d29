//! The incandescent lamp: current as a function of voltage, with a filament whose resistance rises as it heats.

/// Exponent of a filament's current over voltage near its rating (lamp re-rating: Fink and Beaty, Standard Handbook for Electrical
/// Engineers, 11th edition, 1978, 22-8; power then goes with V^1.55, printed there as 1.6).
pub(super) const CURRENT_EXPONENT: f64 = 0.55;
/// Exponent of the light over voltage (same source: 3.4 to 3.5).
pub(super) const LIGHT_EXPONENT: f64 = 3.4;
/// Resistance at its rating over cold resistance (tungsten at about 2400 K over 300 K: Jones and Langmuir, General Electric
/// Review 30, 1927: about 12; from memory).
pub(super) const HOT_OVER_COLD: f64 = 12.0;

/// A lamp, by its rating.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lamp {
    /// Rated voltage, volt.
    pub volt: f64,
    /// Rated power, watt.
    pub watt: f64,
}

impl Lamp {
    /// Resistance at the rating, ohm.
    pub(super) fn hot_ohm(self) -> f64 {
        self.volt * self.volt / self.watt
    }

    /// Square of the relative voltage below which the filament is practically cold. Chosen so that the resistance at zero is the cold one.
    pub(super) fn cold_square() -> f64 {
        HOT_OVER_COLD.powf(-2.0 / (1.0 - CURRENT_EXPONENT))
    }

    /// Resistance, ohm, of the warm lamp at `volt`:
    /// R = R_hot ((x^2 + e) / (1 + e))^(0.45/2), where x is the voltage relative to the rating.
    pub fn ohm(self, volt: f64) -> f64 {
        let e = Self::cold_square();
        let x = volt / self.volt;
        self.hot_ohm() * ((x * x + e) / (1.0 + e)).powf((1.0 - CURRENT_EXPONENT) / 2.0)
    }

    /// Share of its rated light at `volt`.
    pub fn light(self, volt: f64) -> f64 {
        (volt / self.volt).abs().powf(LIGHT_EXPONENT)
    }

    /// Current at `volt`, ampere, and its derivative, siemens.
    pub fn current(self, volt: f64) -> (f64, f64) {
        let e = Self::cold_square();
        let x = volt / self.volt;
        let siemens = 1.0 / self.ohm(volt);
        (volt * siemens, siemens * (1.0 - (1.0 - CURRENT_EXPONENT) * x * x / (x * x + e)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn re_rating_exponent_and_cold_resistance_come_out() {
        let lamp = Lamp { volt: 12.0, watt: 5.0 };
        assert!((lamp.current(12.0).0 - 5.0 / 12.0).abs() < 1e-12);
        assert!((lamp.ohm(0.0) * HOT_OVER_COLD / lamp.hot_ohm() - 1.0).abs() < 1e-4);
        for x in [0.5, 0.8, 1.0, 1.1] {
            let (ampere, slope) = lamp.current(12.0 * x);
            assert!((slope * 12.0 * x / ampere - 0.55).abs() < 1e-3, "at {x} of the rating");
        }
    }

    #[test]
    fn re_rating_table_comes_out() {
        // Gas-filled lamps at 90 and 110 % of their rating: light about 70 and 137 %, power about 85 and 116 %, current about 94 and
        // 105 % (lamp makers' re-rating curves, from memory; they agree among themselves to 2 %).
        let lamp = Lamp { volt: 12.0, watt: 10.0 };
        for (share, light, power, current) in [(0.9, 0.70, 0.85, 0.94), (1.1, 1.37, 1.16, 1.05)] {
            let volt = 12.0 * share;
            let ampere = lamp.current(volt).0;
            assert!((lamp.light(volt) - light).abs() < 0.02, "light {}", lamp.light(volt));
            assert!((ampere * volt / 10.0 - power).abs() < 0.02, "power {}", ampere * volt / 10.0);
            assert!((ampere / (10.0 / 12.0) - current).abs() < 0.015, "current {ampere}");
        }
    }

    #[test]
    fn derivative_is_the_slope() {
        let lamp = Lamp { volt: 6.0, watt: 3.0 };
        for volt in [-7.0, -0.01, 0.0, 0.02, 1.0, 6.0] {
            let h = 1e-6;
            let slope = (lamp.current(volt + h).0 - lamp.current(volt - h).0) / (2.0 * h);
            assert!((slope / lamp.current(volt).1 - 1.0).abs() < 1e-4, "at {volt} V");
        }
    }
}
