//! Quantities and units: what a number measures, and how its unit is written and converted. This room knows no formula and no bike.

pub mod gauge;
pub mod measure;

mod amount;
mod unit;

pub(crate) use amount::Behind;
pub use amount::{Amount, NotAnAmount};
pub(crate) use unit::names;
pub use unit::{Quantity, Unit};
