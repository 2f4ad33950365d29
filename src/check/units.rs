//! Units that do not fit the quantity.
//!
//! Why: a spoken unit is converted to the one that was asked for; volts of a resistance cannot be.
//!
//! Example: `quantity: resistance` with `unit: V`.

use super::Findings;
use crate::procedure::{Ask, Procedure};
use crate::source::Diagnostic;
use crate::units::Unit;

pub(super) fn check(procedure: &Procedure, found: &mut Findings) {
    for step in &procedure.steps {
        let Ask::Reading(reading) = &step.ask else { continue };
        if reading.unit.quantity() != reading.quantity {
            let fitting = Unit::ALL.iter().filter(|unit| unit.quantity() == reading.quantity).map(|unit| unit.name());
            let help = format!("Units of {}: {}.", reading.quantity, fitting.collect::<Vec<_>>().join(", "));
            let message = format!("`{}` is a {} and cannot be in {}", *reading.name, reading.quantity, reading.unit);
            found.add(Diagnostic::error(&reading.name.place, "unit", message).help(help));
        }
    }
}
