//! Chooses where a route leads.

use super::{Route, Target};
use crate::expression::{self, Scope};
use crate::source::{Diagnostic, Place};

/// The target of `route` in the current scope: that of the first condition that holds.
///
/// # Errors
/// A condition that cannot be evaluated.
pub fn choose<'r>(route: &'r Route, scope: &Scope) -> Result<&'r Target, Diagnostic> {
    for condition in &route.0 {
        match &condition.when {
            Some(when) if !expression::evaluate_bool(when, scope)? => {}
            _ => return Ok(&condition.to),
        }
    }
    let file = crate::source::whole_file("");
    let place = route.0.last().map_or(&file, |last| place(&last.to));
    Err(Diagnostic::error(place, "route", "no condition of this route holds").help("End it with a `to` alone."))
}

/// The place of a target in the file.
pub fn place(target: &Target) -> &Place {
    match target {
        Target::Step(id) | Target::Each(id) | Target::Conclude(id) | Target::Call { procedure: id, .. } => &id.place,
        Target::Next(place) | Target::Return(place) | Target::Again(place) | Target::Back(place) => place,
    }
}
