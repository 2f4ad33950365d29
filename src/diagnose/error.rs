//! What can go wrong when faults are walked through a procedure.

use crate::circuit::CircuitError;
use crate::source::Diagnostic;

/// Why nothing can be proved.
#[derive(Debug, thiserror::Error)]
pub enum ProveError {
    /// The procedure and the circuit do not fit together at a step.
    #[error("at the step `{step}` under {fault}: {why}")]
    Circuit {
        /// The step.
        step: String,
        /// The fault.
        fault: String,
        /// Why.
        why: CircuitError,
    },
    /// Nothing says which checks may come in any order.
    #[error("the procedure has no `checks`, so it can only be walked as it is written")]
    NoChecks,
    /// Something of the procedure does not come out for this bike.
    #[error("{0}")]
    Written(Box<Diagnostic>),
    /// The walk cannot go on.
    #[error("at the step `{step}` under {fault}: {why}")]
    Walk {
        /// The step.
        step: String,
        /// The fault.
        fault: String,
        /// Why.
        why: String,
    },
}

impl From<Diagnostic> for ProveError {
    fn from(of: Diagnostic) -> Self {
        Self::Written(Box::new(of))
    }
}
