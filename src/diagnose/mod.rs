//! Which faults explain the observations, and what a procedure concludes under each.
//!
//! An [`Observer`] gives the answer of a person at the bike to a step under some faults of the library; [`CircuitObserver`] computes it with the
//! circuit. `simulate` leads the real walker through a procedure under every fault, [`Figures`] are the figures of IEEE 1522 from the
//! outcomes, and [`Proof`] is the whole result in words, JSON and CSV. [`Adviser`] weighs the faults during a walk and [`Order`] chooses the next
//! part.

mod advice;
mod advice_table;
mod asked;
mod belief;
mod causes;
mod circuit_observer;
mod covered;
mod drawn;
mod error;
mod handling;
mod intermittent;
mod lead;
mod looked_at;
mod measure;
mod order;
mod order_thread;
mod outcome;
mod proof;
mod prove;
mod said;
mod set_up;
mod simulate;
mod table;
mod weights;
mod words;

pub use advice::Adviser;
pub use asked::{Asked, Seen};
pub use causes::Verdict;
pub use circuit_observer::{CircuitObserver, Observer};
pub use drawn::{Drawn, Ended, drawn};
pub use error::ProveError;
pub use intermittent::{Intermittent, intermittent};
pub use measure::Figures;
pub use order::{Given, Order};
pub use outcome::{Outcome, Reached, Sighting, Slip};
pub use proof::{Finding, Healthy, Misled, Pair, Pairs, Proof, SCHEMA_VERSION, Slips, Smallest};
pub use prove::{Proved, Row, Wanted, prove};
pub use simulate::Progress;
pub use table::{MATRIX, d_matrix_csv, every_fault, text};
pub use weights::{MISHEARD, OUTSIDE, SLIP};
