//! The formulas and tables of the trade, each with its source, and the sums that are made of them. They know no bike and no procedure.

pub mod battery;
pub mod coil;
pub mod conductor;
pub mod gap;

mod sum;
mod table;

pub use sum::{Input, Reckoned, Refusal, Sum};
pub use table::{sum, sums};
