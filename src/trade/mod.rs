//! The trade's quantities, units, formulas and tables, each with its source.

mod unit;

pub(crate) use unit::names;
pub use unit::{Quantity, Unit};
