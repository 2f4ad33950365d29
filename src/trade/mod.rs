//! The trade's quantities, units, formulas and tables, each with its source.

pub mod conductor;
pub mod gap;
mod unit;

pub(crate) use unit::names;
pub use unit::{Quantity, Unit};
