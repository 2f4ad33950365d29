//! One points set opened by hand while the others stay as they are: at which plug does it spark?

use super::instruments::{OPEN_AIR, POINTED_NEEDS, needed, strength};
use super::transient::at_break;
use super::{CircuitError, Model, Strength};
use crate::bike::{BikeState, PointsAt};
use std::collections::BTreeSet;

/// How long the set was closed before, second: the current is full.
const CLOSED_SECONDS: f64 = 1.0;

impl Model<'_> {
    /// The spark at a tester on `terminal` when only the set `set` is flicked open; the other sets stand as in `state`.
    ///
    /// # Errors
    /// Those of [`super::Wiring::new`] and of the operating point.
    pub fn snaps(&self, state: &BikeState, set: &str, terminal: &str) -> Result<Strength, CircuitError> {
        let closed = |id: &String| id == set || state.points.get(id) == Some(&PointsAt::Closed);
        let down: BTreeSet<String> = self.bike.points.iter().map(|p| p.id.value.clone()).filter(closed).collect();
        let up: BTreeSet<String> = down.iter().filter(|id| *id != set).cloned().collect();
        let (down, up) = (self.wiring(state, &down)?, self.wiring(state, &up)?);
        let Some((coil, true)) = self.lead_to(&up, terminal) else { return Ok(Strength::None) };
        let found = at_break(&down, &up, &coil, CLOSED_SECONDS)?;
        Ok(strength(&found, POINTED_NEEDS * needed(up.figures.tester_gap, OPEN_AIR, false)))
    }
}
