//! Switches on which the ignition can never work, or never be switched off; and two parts of one name.
//!
//! Why: "key on" and "key off" are asked for in nearly every step.
//!
//! Example: `key: {positions: {"off": opens, parking: opens}}`.

use super::Findings;
use crate::bike::{Bike, Switch};
use crate::source::Diagnostic;

pub(super) fn check(bike: &Bike, found: &mut Findings) {
    check_switch("key", &bike.key, bike, found);
    if let Some(kill) = &bike.kill {
        check_switch("kill", kill, bike, found);
    }
    for connector in &bike.connectors {
        let id = connector.id.as_str();
        let taken = ["battery", "fuse", "key", "kill", "ballast", "engine", "frame"].contains(&id)
            || ["coil-", "points-", "condenser-", "plug-", "lead-"]
                .iter()
                .any(|part| id.strip_prefix(part).is_some_and(|rest| has_part(bike, part, rest)));
        if taken {
            let message = format!("the connector `{id}` has the name of another part");
            found.add(Diagnostic::error(&connector.id.place, "unknown-part", message).help("Choose another name."));
        }
    }
}

fn check_switch(name: &str, switch: &Switch, bike: &Bike, found: &mut Findings) {
    let place = switch.positions.first().map_or(&bike.place, |position| &position.name.place);
    for (connects, word) in [(true, "connects"), (false, "opens")] {
        if switch.position(connects).is_none() {
            let message =
                format!("no position of the {name} switch {word}, so the engine could never run, or never be stopped");
            let help = format!("One of its positions `{word}`.");
            found.add(Diagnostic::error(place, "switch", message).help(help));
        }
    }
}

fn has_part(bike: &Bike, kind: &str, id: &str) -> bool {
    match kind {
        "coil-" => bike.coils.iter().any(|coil| *coil.id == id),
        "points-" => bike.points.iter().any(|set| *set.id == id),
        "condenser-" => bike.condensers.iter().any(|condenser| *condenser.id == id),
        _ => bike.plugs.iter().any(|plug| *plug.id == id),
    }
}
