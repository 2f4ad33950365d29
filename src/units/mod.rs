//! Quantities and units: what a number measures, how its unit is written and converted. It knows no formula and no bike.

pub mod gauge;
pub mod measure;

mod amount;
mod unit;

pub(crate) use amount::Behind;
pub use amount::{Amount, NotAnAmount};
pub(crate) use unit::names;
pub use unit::{Quantity, Unit};
