//! What it takes to change from one check to the next beside the checks themselves: the other side of the bike, switches, plugs, what is
//! fitted, the instrument and its leads. The same figures for any order of checks.
//!
//! All of them: common practice, no source. A check's own minutes hold its usual handling; these come on top, so that an order that
//! jumps to and fro is not made to look better than it is.

use super::Asked;
use crate::bike::BikeState;
use serde_json::Value;

/// To the other side of the bike, with lamp, tools and light.
const SIDE: f64 = 0.5;
/// A switch or tap.
const SWITCH: f64 = 0.1;
/// Something unplugged, or plugged in again.
const PLUG: f64 = 0.3;
/// Something fitted, or taken off again.
const FITTED: f64 = 0.5;
/// Another instrument.
const INSTRUMENT: f64 = 0.3;
/// One lead of the instrument to another terminal.
const LEAD: f64 = 0.2;

/// Minutes from one question to the next.
pub(super) fn minutes(from: &Asked, to: &Asked) -> f64 {
    let apart = |a: &Asked, b: &Asked| match (side(a), side(b)) {
        (Some(a), Some(b)) if a != b => SIDE,
        _ => 0.0,
    };
    apart(from, to) + between(&from.state, &to.state)
}

/// The side of a question's round, where its item has one.
fn side(of: &Asked) -> Option<&str> {
    let round = of.round.as_deref()?;
    let lists = ["points", "plugs", "coils", "condensers"].map(|name| of.world.bike_value.get(name));
    let items = lists.into_iter().flatten().filter_map(Value::as_array).flatten();
    let mut here = items.filter(|item| item.get("id").and_then(Value::as_str) == Some(round));
    here.next()?.get("side_words")?.as_str().filter(|side| !side.is_empty())
}

fn between(from: &BikeState, to: &BikeState) -> f64 {
    let switches = to.switches.iter().filter(|(name, at)| from.switches.get(*name) != Some(at)).count();
    let plugs = from.unplugged.symmetric_difference(&to.unplugged).count();
    let on = to.fitted.iter().filter(|(name, at)| from.fitted.get(*name) != Some(at)).count();
    let off = from.fitted.keys().filter(|name| !to.fitted.contains_key(*name)).count();
    let instrument = match (&from.instrument, &to.instrument) {
        (_, None) => 0.0,
        (None, Some(_)) => INSTRUMENT + 2.0 * LEAD,
        (Some(a), Some(b)) if a.kind != b.kind => INSTRUMENT + 2.0 * LEAD,
        (Some(a), Some(b)) => LEAD * f64::from(u8::from(a.first != b.first) + u8::from(a.second != b.second)),
    };
    switches as f64 * SWITCH + plugs as f64 * PLUG + (on + off) as f64 * FITTED + instrument
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bike::{Instrument, InstrumentKind};

    #[test]
    fn every_change_costs_and_nothing_else() {
        let lamp = |first: &str, second: &str| {
            Some(Instrument { kind: InstrumentKind::Lamp, first: first.to_owned(), second: second.to_owned() })
        };
        let from = BikeState {
            switches: [("key".to_owned(), "off".to_owned())].into(),
            unplugged: ["fuse".to_owned(), "main".to_owned()].into(),
            instrument: lamp("battery.live", "engine"),
            ..BikeState::default()
        };
        assert_eq!(between(&from, &from), 0.0);
        let to = BikeState {
            switches: [("key".to_owned(), "on".to_owned())].into(),
            unplugged: ["main".to_owned(), "coil-feed".to_owned()].into(),
            fitted: [("jumper".to_owned(), ["a".to_owned(), "b".to_owned()])].into(),
            instrument: lamp("battery.live", "frame"),
            ..BikeState::default()
        };
        let close = |a: f64, b: f64| assert!((a - b).abs() < 1e-12, "{a} and not {b}");
        close(between(&from, &to), SWITCH + 2.0 * PLUG + FITTED + LEAD);
        close(between(&to, &BikeState { instrument: None, ..to.clone() }), 0.0);
        close(between(&BikeState::default(), &from), SWITCH + 2.0 * PLUG + INSTRUMENT + 2.0 * LEAD);
    }
}
