//! Workshop formulas and tables, each with its source, and the sums built from them. This room knows no bike and no procedure.

pub mod battery;
pub mod coil;
pub mod conductor;
pub mod gap;

mod sum;
mod table;

pub use sum::{Input, Reckoned, Refusal, Sum};
pub use table::{sum, sums};
