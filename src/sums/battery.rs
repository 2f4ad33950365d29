//! The lead-acid battery at rest: open-circuit voltage, state of charge, and the effect of temperature.
//!
//! Sources: the table of battery makers for a flooded, rested battery at 80 degrees Fahrenheit (12.65, 12.45, 12.24, 12.06 and 11.89 V for
//! six cells, full to flat); temperature coefficient of the open-circuit voltage about 0.2 mV per kelvin and cell (Linden's Handbook of
//! Batteries; from memory).

/// Open-circuit voltage of one cell at 0, 25, 50, 75 and 100 per cent of charge, volt.
pub(super) const CELL_VOLT: [f64; 5] = [11.89 / 6.0, 12.06 / 6.0, 12.24 / 6.0, 12.45 / 6.0, 12.65 / 6.0];
/// Temperature of the table, degree Celsius (80 degrees Fahrenheit).
pub(super) const TABLE_CELSIUS: f64 = 80.0 * 5.0 / 9.0 - 160.0 / 9.0;
/// Temperature coefficient of the open-circuit voltage, volt per kelvin and cell.
pub(super) const CELL_VOLT_PER_KELVIN: f64 = 0.0002;
/// Nominal voltage of one cell, volt.
pub(super) const NOMINAL_CELL_VOLT: f64 = 2.0;

/// Open-circuit voltage of a battery of nominal voltage `volt` at a state of charge of 0 to 1, at the table's temperature.
///
/// ```
/// assert!((probeside::sums::battery::volt(12.0, 0.5) - 12.24).abs() < 1e-9);
/// ```
pub fn volt(volt: f64, charge: f64) -> f64 {
    let at = charge.clamp(0.0, 1.0) * 4.0;
    let low = (at.floor() as usize).min(3);
    let cell = CELL_VOLT[low] + (at - low as f64) * (CELL_VOLT[low + 1] - CELL_VOLT[low]);
    cell * volt / NOMINAL_CELL_VOLT
}

/// State of charge, 0 to 1, of a battery of nominal voltage `volt` with `rest` volt at rest and `celsius`: the inverse of [`volt`], clamped
/// at its ends.
pub fn charge(rest: f64, volt: f64, celsius: f64) -> f64 {
    let cell = rest * NOMINAL_CELL_VOLT / volt - CELL_VOLT_PER_KELVIN * (celsius - TABLE_CELSIUS);
    let above = CELL_VOLT.iter().rposition(|at| *at <= cell);
    match above {
        None => 0.0,
        Some(low) if low + 1 == CELL_VOLT.len() => 1.0,
        Some(low) => (low as f64 + (cell - CELL_VOLT[low]) / (CELL_VOLT[low + 1] - CELL_VOLT[low])) / 4.0,
    }
}
