//! The trade's quantities, units, formulas and tables, each with its source.

pub mod battery;
pub mod coil;
pub mod conductor;
pub mod gap;
pub mod measure;

mod amount;
mod sum;
mod sums;
mod unit;

pub use amount::{Amount, NotAnAmount};
pub use sum::{Input, Reckoned, Refusal, Sum};
pub use sums::{sum, sums};
pub(crate) use unit::names;
pub use unit::{Quantity, Unit};
