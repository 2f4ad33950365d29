//! Whether a fault counts: some plug fails to fire when the engine is kicked, or cranked by its electric starter.

use crate::bike::{Bike, BikeState, Engine, Starter};
use crate::circuit::{Alteration, CircuitError, Model};
use crate::parts::PrimitiveKind;

/// The voltage that must be available, relative to the voltage that a new plug at its proper gap needs. The rest is for a worn plug, a cold
/// engine and full compression (common practice, no source).
pub(super) const IN_RESERVE: f64 = 1.3;
/// Current that a starter draws from a stiff battery while it cranks, ampere (common practice, no source).
const STARTER_AMPERE: f64 = 60.0;

/// Everything on, kicked.
pub(super) fn kicked(bike: &Bike) -> BikeState {
    let mut state = BikeState { engine: Some(Engine::Kicked), ..BikeState::default() };
    for switch in bike.switches.iter().filter(|switch| !switch.cranks) {
        state.switches.insert(switch.name.clone(), "connects".to_owned());
    }
    state
}

/// The least reserve of any plug, the voltage available over the voltage needed: kicked, and cranked where there is a starter. The changes are
/// made to the healthy bike.
///
/// # Errors
/// The errors of [`Model::reserve`].
pub fn least_reserve(healthy: &Model<'_>, changes: &[Alteration], below: f64) -> Result<f64, CircuitError> {
    let bike = healthy.bike;
    let state = kicked(bike);
    // A starter motor of the profile's own takes its current whenever the engine is cranked.
    let has_motor = bike.parts.iter().any(|part| part.kind.has(PrimitiveKind::Motor));
    let starts: &[bool] = match bike.starter {
        Some(Starter::Electric) if !has_motor => &[true],
        Some(Starter::Both) => &[false, true],
        _ => &[false],
    };
    let Some([live, ground]) = bike.battery.clone() else { return Ok(f64::INFINITY) };
    // What only feeds the coil while the starter turns lets the engine die when the button is released.
    let released = BikeState { engine: Some(Engine::Running), ..state.clone() };
    let states = [Some(&state), bike.switches.iter().any(|switch| switch.cranks).then_some(&released)];
    let mut least = f64::INFINITY;
    for (cranked, state) in
        starts.iter().flat_map(|cranked| states.into_iter().flatten().map(move |state| (cranked, state)))
    {
        let starter = Alteration::Join { a: live.clone(), b: ground.clone(), ohm: bike.volt / STARTER_AMPERE };
        let model = healthy.altered(changes.iter().cloned().chain(cranked.then_some(starter)));
        for plug in &bike.plugs {
            least = least.min(model.reserve(state, &plug.id)?);
            if least < below {
                return Ok(least);
            }
        }
    }
    Ok(least)
}
