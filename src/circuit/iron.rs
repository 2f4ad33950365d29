//! The iron of a coil: its flux linkage grows with the current up to saturation and hardly beyond.

/// The share of its inductance that a coil keeps beyond saturation: the flux that runs through air (common practice, no source).
const LEFT_BEYOND: f64 = 0.1;

/// The flux linkage of a winding over its current: one slope up to `saturation_ampere`, another beyond.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Iron {
    /// Inductance below saturation, henry.
    pub henry: f64,
    /// Current at which the iron saturates, ampere.
    pub saturation_ampere: f64,
}

impl Iron {
    /// Inductance beyond saturation, henry.
    pub fn henry_beyond(self) -> f64 {
        LEFT_BEYOND * self.henry
    }

    /// Flux linkage at a current, weber.
    pub(super) fn flux(self, ampere: f64) -> f64 {
        let below = ampere.clamp(-self.saturation_ampere, self.saturation_ampere);
        self.henry * below + self.henry_beyond() * (ampere - below)
    }

    /// Current at a flux linkage, ampere.
    pub(super) fn ampere(self, flux: f64) -> f64 {
        let knee = self.henry * self.saturation_ampere;
        let below = flux.clamp(-knee, knee);
        below / self.henry + (flux - below) / self.henry_beyond()
    }

    /// Energy stored at a current, joule: the integral of the current over the flux linkage.
    pub fn energy(self, ampere: f64) -> f64 {
        let (all, below) = (ampere.abs(), ampere.abs().min(self.saturation_ampere));
        (self.henry * below * below + self.henry_beyond() * (all * all - below * below)) / 2.0
    }

    /// Current `seconds` after a resistance of `ohm` came to carry the coil from `from` towards `steady` ampere.
    pub fn rise(self, from: f64, steady: f64, ohm: f64, seconds: f64) -> f64 {
        let (slow, fast) = (ohm / self.henry, ohm / self.henry_beyond());
        let along = |start: f64, rate: f64, seconds: f64| steady + (start - steady) * (-seconds * rate).exp();
        let knee = self.saturation_ampere.copysign(steady);
        if from.abs() >= knee.abs() {
            return along(from, fast, seconds);
        }
        let linear = along(from, slow, seconds);
        if linear.abs() <= knee.abs() {
            return linear;
        }
        let until = ((steady - from) / (steady - knee)).ln() / slow;
        along(knee, fast, seconds - until)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn energy_is_the_integral_of_the_current_over_the_flux() {
        let iron = Iron { henry: 10e-3, saturation_ampere: 3.0 };
        for ampere in [1.0, 3.0, 5.0] {
            let steps = 100_000;
            let slice = iron.flux(ampere) / f64::from(steps);
            let sum: f64 = (0..steps).map(|n| iron.ampere((f64::from(n) + 0.5) * slice) * slice).sum();
            assert!((sum / iron.energy(ampere) - 1.0).abs() < 1e-6, "{ampere} A: {sum}");
            assert!((iron.ampere(iron.flux(-ampere)) + ampere).abs() < 1e-12);
        }
    }

    #[test]
    fn current_satisfies_the_circuit_while_it_rises() {
        let iron = Iron { henry: 10e-3, saturation_ampere: 3.0 };
        let (volt, ohm) = (12.0, 2.0);
        for seconds in [1e-3, 3e-3, 5e-3] {
            let at = |seconds: f64| iron.rise(0.0, volt / ohm, ohm, seconds);
            let h = 1e-8;
            let slope = (iron.flux(at(seconds + h)) - iron.flux(at(seconds - h))) / (2.0 * h);
            assert!((slope + ohm * at(seconds) - volt).abs() < 1e-4, "after {seconds} s");
        }
        assert!((iron.rise(0.0, -6.0, ohm, 5e-3) + iron.rise(0.0, 6.0, ohm, 5e-3)).abs() < 1e-12);
    }
}
