//! The order of a procedure's parts, as an argument.

use crate::run::Failure;
use crate::walk::World;

/// In which order the parts of a procedure are walked.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, clap::ValueEnum)]
pub enum Order {
    /// Walk the parts as they are written
    #[default]
    Written,
    /// After each part, walk the one that tells most per minute
    Best,
}

impl Order {
    /// Whether best order is requested.
    ///
    /// # Errors
    /// It is requested for a procedure without parts.
    pub(super) fn is_best_for(self, world: &World) -> Result<bool, Failure> {
        if self == Order::Written {
            return Ok(false);
        }
        if world.procedures[&world.main].parts.is_empty() {
            return Err(Failure::Input(format!(
                "the procedure {} has no `parts`, so it can only be walked as it is written; leave --order out",
                world.main
            )));
        }
        Ok(true)
    }
}
