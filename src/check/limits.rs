//! Limits that overlap, leave a hole or stand the wrong way round, for some bike.
//!
//! Why: a reading that falls into no band leads nowhere, and one that falls into two may lead the wrong way.
//!
//! Example: `below: "11.8"` and then `from: "12.0"`: where does 11.9 lead?

use super::Findings;
use super::walks::Walks;
use crate::procedure::{Ask, Expression, ReadingAsk, Scope, evaluate_number};
use crate::source::Diagnostic;

/// Two limits closer than this share of their size are the same: doubles do not hold decimals exactly.
const SAME: f64 = 1e-9;

pub(super) fn check(walks: &Walks<'_>, found: &mut Findings) {
    for node in walks.own() {
        if let Ask::Reading(reading) = &node.step.ask {
            check_reading(reading, &node.scope, &walks.bike.name, found);
        }
    }
}

fn check_reading(reading: &ReadingAsk, scope: &Scope, bike: &str, found: &mut Findings) {
    let value = |limit: &Expression| evaluate_number(limit, scope).ok();
    let mut fault = |place, message: String, help: &str| {
        found.add(Diagnostic::error(place, "limits", message).help(help));
    };
    if let (Some(low), Some(high)) = (value(&reading.low), value(&reading.high))
        && low >= high
    {
        let message = format!("for the {bike}, the plausible range runs from {low} to {high}");
        fault(&reading.low.place, message, "Write the lower one first.");
    }
    let last = reading.bands.len().saturating_sub(1);
    for (at, band) in reading.bands.iter().enumerate() {
        let name = band.id.as_str();
        match (&band.from, at) {
            (Some(from), 0) => fault(
                &from.place,
                format!("the lowest band `{name}` has a `from`: what is below leads nowhere"),
                "Leave its `from` out.",
            ),
            (None, 1..) => fault(
                &band.id.place,
                format!("the band `{name}` has no `from`, and is not the lowest"),
                "Begin it where the band before it ends.",
            ),
            _ => {}
        }
        match &band.below {
            Some(below) if at == last => fault(
                &below.place,
                format!("the highest band `{name}` has a `below`: what is above leads nowhere"),
                "Leave its `below` out.",
            ),
            None if at < last => fault(
                &band.id.place,
                format!("the band `{name}` has no `below`, and is not the highest"),
                "End it where the next band begins.",
            ),
            _ => {}
        }
        if let (Some(from), Some(below)) = (&band.from, &band.below)
            && let (Some(low), Some(high)) = (value(from), value(below))
            && low >= high
        {
            fault(
                &from.place,
                format!("for the {bike}, the band `{name}` runs from {low} to {high}"),
                "Its `from` must lie below its `below`.",
            );
        }
    }
    for pair in reading.bands.windows(2) {
        if let (Some(below), Some(from)) = (&pair[0].below, &pair[1].from)
            && let (Some(end), Some(begin)) = (value(below), value(from))
            && (end - begin).abs() > SAME * end.abs().max(begin.abs())
        {
            let what = if end < begin { "leave a hole" } else { "overlap" };
            let message = format!(
                "for the {bike}, the bands `{}` and `{}` {what}: one ends at {end}, the next begins at {begin}",
                *pair[0].id, *pair[1].id
            );
            fault(&from.place, message, "Begin the one exactly where the other ends.");
        }
    }
}
