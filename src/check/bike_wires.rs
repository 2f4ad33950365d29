//! Wires to terminals that there are not, in colours that there are not, or twice between the same two.
//!
//! Why: prompts name a wire by its colour, and the circuit model is built of these lines.
//!
//! Example: `{from: batery.live, to: key.supply, colour: RE}`.

use super::Findings;
use crate::bike::{Bike, COLOURS};
use crate::source::shape::suggestion;
use crate::source::{Diagnostic, Written};
use std::collections::BTreeSet;

pub(super) fn check(bike: &Bike, found: &mut Findings) {
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
