//! Checks a bike's profile: parts that the wiring gives no part to play, switches that cannot work, wires to terminals or in colours that do
//! not exist.
//!
//! Why it matters: prompts name parts and wires from the profile, and the circuit model is built from it. What a part is to the ignition is
//! found in the wiring: a points set that is wired to no coil would be tested against no coil at all. Nearly every step asks for "key on" or
//! "key off".
//!
//! Example findings:
//! - ``the points `points-left` are wired to no coil``
//! - `the ignition works in no position of the key switch, so the engine could never run`
//! - ``a second wire joins `battery.live` and `key.supply` ``

use super::findings::Findings;
use crate::bike::{Bike, COLOURS, Switch, SwitchAction};
use crate::source::shape::suggestion;
use crate::source::{Diagnostic, Place, Written};
use std::collections::BTreeSet;

pub(super) fn check(bike: &Bike, found: &mut Findings) {
    wires(bike, found);
    if found.has_errors() {
        return;
    }
    roles(bike, found);
    switches(bike, found);
}

/// The place of a part in the file.
fn place<'b>(bike: &'b Bike, part: &str) -> &'b Place {
    bike.part(part).map_or(&bike.place, |part| &part.id.place)
}

/// Every part of an ignition has its part to play.
fn roles(bike: &Bike, found: &mut Findings) {
    let mut wrong = |part: &str, message: String, help: &str| {
        found.add(Diagnostic::error(place(bike, part), "no-role", message).help(help));
    };
    for set in &bike.points {
        if set.coil.is_empty() {
            let message = format!("the points `{}` are wired to no coil", set.part);
            wrong(&set.part, message, "Lead their wire to a coil's points side, through connectors and wires alone.");
        }
        if !bike.grounded.contains(&set.ends[1]) {
            let message = format!("the plate of the points `{}` hangs on nothing that is grounded", set.part);
            wrong(&set.part, message, "Join it to the engine, and the engine to the battery's grounded terminal.");
        }
    }
    for coil in &bike.coils {
        if bike.points.iter().all(|set| set.coil != coil.id) {
            let message = format!("no points set switches the coil `{}`", coil.part);
            wrong(&coil.part, message, "Lead its points side to a points set's wire.");
        }
        if bike.battery.is_some() && !bike.is_fed(&coil.id, &|_| false) {
            let message = format!("no feed reaches the coil `{}` from the battery", coil.part);
            wrong(
                &coil.part,
                message,
                "Lead its feed to the battery's live terminal, through wires, fuse, switches and connectors.",
            );
        }
        if coil.plugs.is_empty() {
            let message = format!("the coil `{}` fires no plug", coil.part);
            wrong(&coil.part, message, "Lead each of its towers to a plug's cap.");
        }
    }
    for plug in &bike.plugs {
        if plug.tower.is_none() {
            let message = format!("no coil fires the plug `{}`", plug.part);
            wrong(&plug.part, message, "Lead a coil's tower to its cap.");
        }
        if !bike.grounded.is_empty() && !bike.grounded.contains(&plug.ends[1]) {
            let message = format!("the thread of the plug `{}` hangs on nothing that is grounded", plug.part);
            wrong(&plug.part, message, "Join it to the engine.");
        }
    }
    for condenser in bike.condensers.iter().filter(|condenser| condenser.points.is_empty() && !bike.points.is_empty()) {
        let message = format!("the condenser `{}` is across no points set", condenser.part);
        wrong(&condenser.part, message, "Join its lead to a points wire.");
    }
    for condenser in bike.condensers.iter().filter(|condenser| !condenser.points.is_empty()) {
        if !bike.grounded.contains(&condenser.ends[1]) {
            let message = format!("the case of the condenser `{}` hangs on nothing that is grounded", condenser.part);
            wrong(&condenser.part, message, "Join it to the engine or the frame.");
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
        let Some(colour) = &wire.colour else { continue };
        for code in colour.split('-').filter(|code| !codes.contains(code)) {
            let message = format!("`{code}` is not a colour code of IEC 60757");
            found.add(Diagnostic::error(&colour.place, "colour", message).help(suggestion(code, &codes)));
        }
        if colour.split('-').count() > 2 {
            let message = format!("`{}` has more than two colours", **colour);
            found.add(Diagnostic::error(&colour.place, "colour", message).help("Write main colour and tracer: GN-WH."));
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

/// Every switch of the ignition can let it work and stop it.
fn switches(bike: &Bike, found: &mut Findings) {
    let of_ignition =
        |switch: &&Switch| !bike.coils.is_empty() && !switch.cranks && ["key", "kill"].contains(&switch.name.as_str());
    for switch in bike.switches.iter().filter(of_ignition) {
        let name = &switch.name;
        if switch.action == SwitchAction::Apart && bike.battery.is_some() {
            let message = format!("the {name} switch neither opens the coils' feed nor grounds the points");
            let help = "Lead the feed through its contacts, or lead a contact from the points wire to ground.";
            found.add(Diagnostic::error(place(bike, &switch.part), "switch", message).help(help));
            continue;
        }
        for works in [true, false] {
            if switch.position(works).is_none() {
                let message = match works {
                    true => {
                        format!("the ignition works in no position of the {name} switch, so the engine could never run")
                    }
                    false => format!(
                        "no position of the {name} switch stops the ignition, so the engine could never be stopped"
                    ),
                };
                found.add(
                    Diagnostic::error(place(bike, &switch.part), "switch", message)
                        .help("Give each position the contacts that it closes."),
                );
            }
        }
    }
}
