//! Closed forms for an ignition coil's primary: current rise, stored energy, and ringing with the condenser.

use std::f64::consts::TAU;

/// Current, ampere, `seconds` after closing, in a coil of `henry` on `volt`. `ohm` is the resistance of the whole circuit.
///
/// ```
/// // One time constant gives 63.2 % of the final current.
/// let ampere = probeside::sums::coil::rise(12.0, 4.0, 0.01, 0.0025);
/// assert!((ampere / 3.0 - 0.632).abs() < 0.001);
/// ```
pub fn rise(volt: f64, ohm: f64, henry: f64, seconds: f64) -> f64 {
    volt / ohm * (1.0 - (-seconds * ohm / henry).exp())
}

/// Energy, joule, in a coil of `henry` at `ampere`.
pub fn stored_energy(henry: f64, ampere: f64) -> f64 {
    0.5 * henry * ampere * ampere
}

/// Ringing frequency, hertz, of `henry`, `farad` and `ohm` in series. `None` if they do not oscillate.
pub(super) fn ringing_hertz(henry: f64, farad: f64, ohm: f64) -> Option<f64> {
    let decay = ohm / (2.0 * henry);
    let square = 1.0 / (henry * farad) - decay * decay;
    (square > 0.0).then(|| square.sqrt() / TAU)
}
