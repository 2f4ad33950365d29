//! What the expressions of a procedure look at.

use crate::expression::{self, Expression};
use crate::procedure::{Ask, Procedure, Route, Step};
use crate::walk::World;
use std::collections::BTreeSet;

/// The name that a reading has in expressions.
pub(super) fn reading_name(step: &Step) -> Option<String> {
    match &step.ask {
        Ask::Reading(reading) => Some(reading.name.value.replace('-', "_")),
        _ => None,
    }
}

/// Names of readings that a route or a limit looks at by their value: for them two values in one band are not the same.
pub(super) fn readings_used(world: &World) -> BTreeSet<String> {
    let names = seen_used(world);
    let steps = world.procedures.values().flat_map(|p| &p.steps);
    let readings: BTreeSet<String> = steps.filter_map(reading_name).collect();
    let used = |reading: &&String| names.iter().any(|n| n == *reading || n.starts_with(&format!("{reading}_")));
    readings.iter().filter(used).cloned().collect()
}

/// Names of `seen` that any expression looks at.
pub(super) fn seen_used(world: &World) -> BTreeSet<String> {
    let all = world.procedures.values().flat_map(expressions).flat_map(expression::names);
    all.filter_map(|name| name.path.strip_prefix("seen.").map(str::to_owned)).collect()
}

/// Every expression of a procedure.
fn expressions(procedure: &Procedure) -> Vec<&Expression> {
    let mut all: Vec<&Expression> = procedure.loops.iter().map(|l| &l.over).collect();
    let mut routes: Vec<&Route> = procedure.loops.iter().map(|l| &l.then).collect();
    for step in &procedure.steps {
        all.extend(&step.when);
        routes.extend(step.otherwise.iter().chain([&step.untested]));
        match &step.ask {
            Ask::Choice(choices) | Ask::Watch { choices, .. } => routes.extend(choices.iter().map(|c| &c.go)),
            Ask::Reading(reading) => {
                all.extend([&reading.low, &reading.high]);
                all.extend(reading.bands.iter().flat_map(|band| band.from.iter().chain(&band.below)));
                routes.extend(reading.bands.iter().map(|band| &band.go).chain(&reading.over_range));
            }
            Ask::Done(to) | Ask::Note(to) => routes.push(to),
        }
    }
    all.extend(routes.into_iter().flat_map(|r| &r.0).filter_map(|c| c.when.as_ref()));
    all
}
