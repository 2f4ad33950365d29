//! How many digits of a value to keep.

/// Digits after the point for `resolution`, at most six.
pub(super) fn decimals_of(resolution: f64) -> usize {
    (0..6).find(|d| near_whole(resolution * 10f64.powi(*d))).unwrap_or(6) as usize
}

fn near_whole(x: f64) -> bool {
    x.round() >= 1.0 && (x - x.round()).abs() < 1e-6 * x
}

/// Rounds to one digit beyond the resolution, and to at least three significant digits. Stored and spoken values agree because both use
/// this.
pub(super) fn settle(value: f64, resolution: f64) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return if value == 0.0 { 0.0 } else { value };
    }
    let significant = (2.0 - value.abs().log10().floor()).clamp(0.0, 12.0) as usize;
    let decimals = (decimals_of(resolution) + 1).max(significant);
    format!("{value:.decimals$}").parse().map_or(value, |v: f64| if v == 0.0 { 0.0 } else { v })
}
