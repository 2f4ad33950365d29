//! Whether a fault counts: some plug fails to fire when the engine is kicked, or cranked by its electric starter.

use crate::bike::{Bike, BikeState, Engine, Starter};
use crate::circuit::{Alteration, CircuitError, Model};

/// The voltage that must be available, relative to the voltage that a new plug at its proper gap needs. The rest is for a worn plug, a cold
/// engine and full compression (common practice, no source).
pub(super) const IN_RESERVE: f64 = 1.3;
/// Current that a starter draws from a stiff battery while it cranks, ampere (common practice, no source).
const STARTER_AMPERE: f64 = 60.0;

/// Everything on, kicked.
pub(super) fn kicked(bike: &Bike) -> BikeState {
    let mut state = BikeState { engine: Some(Engine::Kicked), ..BikeState::default() };
    state.switches.insert("key".to_owned(), "connects".to_owned());
    if bike.kill.as_ref().is_some_and(|kill| kill.action == crate::bike::KillAction::OpensFeed) {
        state.switches.insert("kill".to_owned(), "connects".to_owned());
    }
    state
}

/// The least reserve of any plug, kicked, and cranked where there is a starter: the voltage available over the voltage needed.
///
/// # Errors
/// The errors of [`Model::reserve`].
pub fn least_reserve(bike: &Bike, changes: &[Alteration], below: f64) -> Result<f64, CircuitError> {
    let state = kicked(bike);
    let starts: &[bool] = match bike.starter {
        Starter::Kick => &[false],
        Starter::Electric => &[true],
        Starter::Both => &[false, true],
    };
    let mut least = f64::INFINITY;
    for cranked in starts {
        let starter =
            Alteration::Join { a: "battery.live".to_owned(), b: "engine".to_owned(), ohm: bike.volt / STARTER_AMPERE };
        let model = Model::with(bike, changes.iter().cloned().chain(cranked.then_some(starter)));
        for plug in &bike.plugs {
            least = least.min(model.reserve(&state, &plug.id.value)?);
            if least < below {
                return Ok(least);
            }
        }
    }
    Ok(least)
}
