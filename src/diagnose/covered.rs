//! Which faults a procedure says that it is there to find.

use super::ProveError;
use crate::circuit::faults::Fault;
use crate::expression::{Scope, render_names};
use crate::walk::World;

/// Of every fault, whether the main procedure is there to find it; without a list it is there for all.
pub(super) fn covered(world: &World, faults: &[Fault]) -> Result<Vec<bool>, ProveError> {
    let Some(covers) = &world.procedures[&world.main].covers else { return Ok(vec![true; faults.len()]) };
    let covers = render_names(covers, &Scope::new(world.bike_value.clone()))?;
    Ok(faults.iter().map(|fault| fault.is_one_of(&covers)).collect())
}

/// The numbers of the faults that count and that the main procedure is there to find.
pub(super) fn counting(world: &World, faults: &[Fault]) -> Result<Vec<usize>, ProveError> {
    let covered = covered(world, faults)?;
    Ok((0..faults.len()).filter(|f| faults[*f].counts && covered[*f]).collect())
}
