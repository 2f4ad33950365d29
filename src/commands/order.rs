//! The order of a procedure's checks, as an argument.

use crate::run::Failure;
use crate::walk::World;

/// In which order the checks of a procedure are walked.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, clap::ValueEnum)]
pub enum Order {
    /// Walk the checks as they are written
    #[default]
    Written,
    /// After each answer, choose the check that tells most per minute
    Best,
}

impl Order {
    /// Whether best order is requested.
    ///
    /// # Errors
    /// It is requested for a procedure without `checks`.
    pub(super) fn is_best_for(self, world: &World) -> Result<bool, Failure> {
        if self == Order::Written {
            return Ok(false);
        }
        if world.procedures[&world.main].checks.is_none() {
            return Err(Failure::Input(format!(
                "the procedure {} has no `checks`, so it can only be walked as it is written; leave --order out",
                world.main
            )));
        }
        Ok(true)
    }
}
