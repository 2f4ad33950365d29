//! The resistance that a meter shows between two terminals.

use super::CircuitError;
use super::network::{Kind, Network};
use super::wiring::{Branch, BranchKind, Wiring};

/// Resistance between two terminals with every voltage source at zero, ohm. `None` if nothing conducts between them.
///
/// # Errors
/// The errors of [`Network::operating_point`].
pub fn resistance(
    wiring: &Wiring,
    a: &str,
    b: &str,
    without: impl Fn(&Branch) -> bool,
) -> Result<Option<f64>, CircuitError> {
    let mut network = Network::sized(&wiring.ground, wiring.branches.len() + 1);
    for branch in wiring.branches.iter().filter(|b| !without(b)) {
        let (from, to) = (network.node_named(&branch.a), network.node_named(&branch.b));
        let kind = match (&branch.kind, branch.ohm()) {
            (BranchKind::Emf(_), _) if !branch.parted => Kind::Voltage(0.0),
            // A meter's small current leaves the filament cold.
            (BranchKind::Lamp(lamp), Some(_)) => Kind::Resistor(lamp.ohm(0.0)),
            // A meter's small voltage does not open a diode.
            (BranchKind::Diode { .. }, _) => continue,
            (_, Some(ohm)) => Kind::Resistor(ohm),
            _ => continue,
        };
        network.add_named(branch.id.clone(), from, to, kind)?;
    }
    let (Some(a), Some(b)) = (network.find(a), network.find(b)) else { return Ok(None) };
    if a == b {
        return Ok(Some(0.0));
    }
    let probe = 1e-3;
    network.add("meter", b, a, Kind::Current(probe))?;
    match network.operating_point() {
        Ok(point) => Ok(point.voltage(a, b).map(|v| v / probe)),
        Err(CircuitError::NoReturn { .. }) => Ok(None),
        Err(error) => Err(error),
    }
}
