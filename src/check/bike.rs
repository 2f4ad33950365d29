//! Checks a bike's profile: ids that name nothing, switches that cannot work, wires to terminals or in colours that do not exist.
//!
//! Why it matters: prompts name parts and wires from the profile, and the circuit model is built from it. A points set whose coil is misspelled
//! would be tested against no coil at all. Nearly every step asks for "key on" or "key off".
//!
//! Example findings:
//! - ``the bike has no coil `letf` ``
//! - `no position of the key switch connects, so the engine could never run, or never be stopped`
//! - ``a second wire joins `battery.live` and `key.supply` ``

use super::findings::Findings;
use crate::bike::{Bike, COLOURS, Switch};
use crate::source::shape::suggestion;
use crate::source::{Diagnostic, Written};
use std::collections::BTreeSet;

pub(super) fn check(bike: &Bike, found: &mut Findings) {
    ids(bike, found);
    wires(bike, found);
    switches(bike, found);
}

/// Parts must name parts that the bike has, and every coil and plug must be used.
fn ids(bike: &Bike, found: &mut Findings) {
    let coils: Vec<&str> = bike.coils.iter().map(|coil| coil.id.as_str()).collect();
    let plugs: Vec<&str> = bike.plugs.iter().map(|plug| plug.id.as_str()).collect();
    let points: Vec<&str> = bike.points.iter().map(|set| set.id.as_str()).collect();
    let connectors: Vec<&str> = bike.connectors.iter().map(|connector| connector.id.as_str()).collect();
    let mut known = |what: &str, id: &Written<String>, names: &[&str]| {
        if !names.contains(&id.as_str()) {
            let message = format!("the bike has no {what} `{}`", **id);
            found.add(Diagnostic::error(&id.place, "unknown-part", message).help(suggestion(id, names)));
        }
    };
    for set in &bike.points {
        known("coil", &set.coil, &coils);
        known("connector", &set.connector, &connectors);
    }
    for coil in &bike.coils {
        coil.plugs.iter().for_each(|plug| known("plug", plug, &plugs));
    }
    for condenser in &bike.condensers {
        known("points set", &condenser.points, &points);
    }
    for condenser in &bike.condensers {
        let set = bike.points.iter().find(|set| *set.id == *condenser.points);
        let connector = set.and_then(|set| bike.connectors.iter().find(|c| *c.id == *set.connector));
        if let Some(connector) = connector.filter(|connector| !connector.halves.contains(&condenser.half)) {
            let message = format!("the connector `{}` has no half `{}`", *connector.id, *condenser.half);
            let names: Vec<&str> = connector.halves.iter().map(String::as_str).collect();
            found.add(
                Diagnostic::error(&condenser.half.place, "unknown-part", message)
                    .help(suggestion(&condenser.half, &names)),
            );
        }
    }
    for coil in &bike.coils {
        if bike.points.iter().all(|set| *set.coil != *coil.id) {
            let message = format!("no points set switches the coil `{}`", *coil.id);
            found.add(
                Diagnostic::error(&coil.id.place, "unknown-part", message).help("Name it in a points set's `coil`."),
            );
        }
    }
    for plug in &bike.plugs {
        if bike.coils.iter().all(|coil| coil.plugs.iter().all(|id| **id != *plug.id)) {
            let message = format!("no coil fires the plug `{}`", *plug.id);
            found.add(Diagnostic::error(&plug.id.place, "unknown-part", message).help("Name it in a coil's `plugs`."));
        }
    }
}

/// Wires join two different known terminals once, in colours of IEC 60757.
fn wires(bike: &Bike, found: &mut Findings) {
    let terminals = bike.terminals();
    let names: Vec<&str> = terminals.iter().map(String::as_str).collect();
    let codes: Vec<&str> = COLOURS.iter().map(|(code, _)| *code).collect();
    let mut joined = BTreeSet::new();
    for wire in &bike.wires {
        for end in [&wire.from, &wire.to] {
            known_terminal(end, &names, bike, found);
        }
        if *wire.from == *wire.to {
            let message = format!("a wire leads from `{}` to itself", *wire.from);
            found.add(Diagnostic::error(&wire.to.place, "wire", message).help("Name the terminal at its other end."));
        }
        let mut ends = [wire.from.as_str(), wire.to.as_str()];
        ends.sort_unstable();
        if !joined.insert(ends) {
            let message = format!("a second wire joins `{}` and `{}`", *wire.from, *wire.to);
            found.add(Diagnostic::warning(&wire.from.place, "wire", message).help("Keep one of the two."));
        }
        for code in wire.colour.split('-').filter(|code| !codes.contains(code)) {
            let message = format!("`{code}` is not a colour code of IEC 60757");
            found.add(Diagnostic::error(&wire.colour.place, "colour", message).help(suggestion(code, &codes)));
        }
        if wire.colour.split('-').count() > 2 {
            let message = format!("`{}` has more than two colours", *wire.colour);
            found.add(
                Diagnostic::error(&wire.colour.place, "colour", message).help("Write main colour and tracer: GN-WH."),
            );
        }
    }
    for (terminal, words) in &bike.terminals {
        let written = Written { value: terminal.clone(), place: words.place.clone() };
        known_terminal(&written, &names, bike, found);
    }
}

fn known_terminal(terminal: &Written<String>, names: &[&str], bike: &Bike, found: &mut Findings) {
    if !names.contains(&terminal.as_str()) {
        let message = format!("the {} has no terminal `{}`", bike.name, **terminal);
        found.add(Diagnostic::error(&terminal.place, "unknown-terminal", message).help(suggestion(terminal, names)));
    }
}

/// Every switch can connect and open, and no connector has the name of another part.
fn switches(bike: &Bike, found: &mut Findings) {
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
