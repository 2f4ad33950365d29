//! Which faults fit what is observed, and what a procedure makes of them.
//!
//! An [`Observer`] says what a person at the bike would answer to a step under some faults of the library; [`Bench`] is the one that asks the circuit. [`simulate`] leads the real walker through a procedure under every
//! fault, [`measure`] makes of it the figures of IEEE 1522, [`Proof`] is the whole result in words, JSON and CSV.

mod advice;
mod advice_bayes;
mod advice_table;
mod asked;
mod bench;
mod lead;
mod measure;
mod order;
mod order_thread;
mod proof;
mod prove;
mod set_up;
mod simulate;
mod table;

pub use advice::{Adviser, MISHEARD, OUTSIDE, SLIP};
pub use asked::{Asked, Seen};
pub use bench::{Bench, Observer};
pub use measure::{Figures, Judgement, Verdict, judge, measure};
pub use order::Order;
pub use proof::{Finding, Healthy, Misled, Pair, Pairs, Proof, SCHEMA_VERSION, Slips, Smallest};
pub use prove::{Progress, Proved, Row, Wanted, prove};
pub use simulate::{Outcome, Reached, Setting, Sighting, Slip, simulate};
pub use table::{d_matrix_csv, every_fault, text};

use crate::circuit::CircuitError;
use crate::written::Diagnostic;

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
