//! Renders a step's state for the current bike and loop item: fills in names, resolves switches to the bike's own positions, drops parts
//! that the bike does not have, and checks terminals.

use super::StateTemplate;
use crate::bike::{Bike, Instrument, StateNeed};
use crate::expression::{Scope, Template, evaluate_number, render};
use crate::source::Diagnostic;
use crate::source::shape::suggestion;

/// The fuel tap. Every bike has it, with these positions.
const FUEL: (&str, [&str; 2]) = ("fuel", ["on", "off"]);
/// The name of the ignition's fuse in a step's state, whatever the bike calls it.
const FUSE: &str = "fuse";
/// Two turns of the crank, degree.
const TWO_TURNS: f64 = 720.0;
/// A position by this name is the one in which the ignition works, whatever the bike calls it.
const CONNECTS: &str = "connects";
/// A position by this name is one that stops the ignition.
const DISCONNECTS: &str = "disconnects";

/// Renders `state`. Drops a switch that the bike does not have (`kill`, `fuse` to plug in), and a part or terminal whose name renders
/// empty. `connects` becomes the position in which the ignition works, `disconnects` one in which it does not.
///
/// # Errors
/// A template that cannot be rendered; an unknown switch, position, part or terminal.
pub fn render_state(state: &StateTemplate, scope: &Scope, bike: &Bike) -> Result<StateNeed, Diagnostic> {
    let make = Make { scope, bike };
    let mut need = StateNeed { engine: state.engine, lay_down: state.lay_down, ..StateNeed::default() };
    if let Some(crank) = &state.crank {
        need.crank = Some((evaluate_number(crank, scope)?.rem_euclid(TWO_TURNS).round()) as u16);
    }
    for (name, position) in &state.switches {
        if let Some((name, position)) = make.switch(name, position)? {
            need.switches.insert(name, position);
        }
    }
    for part in &state.unplug {
        need.unplugged.extend(make.part(part)?);
    }
    for part in &state.plug_in {
        need.plugged.extend(make.part(part)?);
    }
    for (set, at) in &state.points {
        need.points.insert(make.points(set)?, *at);
    }
    for (name, [first, second]) in &state.fit {
        if !render(first, scope)?.is_empty() {
            let between = [make.terminal(first)?, make.terminal(second)?];
            need.fitted.insert(render(name, scope)?, between);
        }
    }
    for name in &state.remove {
        let name = render(name, scope)?;
        if !name.is_empty() {
            need.removed.insert(name);
        }
    }
    if let Some((kind, first, second)) = &state.instrument {
        let (first, second) = (make.terminal(first)?, make.terminal(second)?);
        need.instrument = Some(Instrument { kind: *kind, first, second });
    }
    Ok(need)
}

struct Make<'a> {
    scope: &'a Scope,
    bike: &'a Bike,
}

impl Make<'_> {
    fn switch(&self, name: &Template, position: &Template) -> Result<Option<(String, String)>, Diagnostic> {
        let (called, to) = (render(name, self.scope)?, render(position, self.scope)?);
        let fault = |message: String, names: &[&str]| {
            Err(Diagnostic::error(&position.place, "state", message).help(suggestion(&to, names)))
        };
        if called == FUEL.0 {
            return match FUEL.1.contains(&to.as_str()) {
                true => Ok(Some((called, to))),
                false => fault(format!("the fuel tap has no position `{to}`"), &FUEL.1),
            };
        }
        let known: Vec<&str> =
            self.bike.switches.iter().map(|switch| switch.name.as_str()).chain(["key", "kill", "fuel"]).collect();
        if !known.contains(&called.as_str()) {
            let message = format!("there is no switch `{called}`");
            let help = suggestion(&called, &known);
            return Err(Diagnostic::error(&name.place, "state", message).help(help));
        }
        let Some(switch) = self.bike.switch(&called) else { return Ok(None) };
        let found = match to.as_str() {
            CONNECTS => switch.position(true),
            DISCONNECTS => switch.position(false),
            _ => switch.positions.iter().map(|p| p.name.as_str()).find(|name| *name == to),
        };
        match found {
            Some(found) => Ok(Some((called, found.to_owned()))),
            None => {
                let names: Vec<&str> = switch.positions.iter().map(|p| p.name.as_str()).collect();
                fault(format!("the {called} switch of the {} has no position `{to}`", self.bike.name), &names)
            }
        }
    }

    /// A part to unplug or plug in. Skips an empty name, and the fuse of a bike that has none.
    fn part(&self, part: &Template) -> Result<Option<String>, Diagnostic> {
        let id = render(part, self.scope)?;
        if id.is_empty() || (id == FUSE && self.bike.fuse.is_none()) {
            return Ok(None);
        }
        // Any fuse of the ignition's goes by this name.
        let id = self.bike.fuse.as_ref().filter(|_| id == FUSE).map_or(id, |fuse| fuse.part.clone());
        let there = self.bike.unpluggable();
        if there.contains(&id) {
            return Ok(Some(id));
        }
        let names: Vec<&str> = there.iter().map(String::as_str).collect();
        let message = format!("the {} has nothing that unplugs named `{id}`", self.bike.name);
        Err(Diagnostic::error(&part.place, "state", message).help(suggestion(&id, &names)))
    }

    fn points(&self, set: &Template) -> Result<String, Diagnostic> {
        let id = render(set, self.scope)?;
        let names: Vec<&str> = self.bike.points.iter().map(|points| points.id.as_str()).collect();
        if names.contains(&id.as_str()) {
            return Ok(id);
        }
        let message = format!("the {} has no points set `{id}`", self.bike.name);
        Err(Diagnostic::error(&set.place, "state", message).help(suggestion(&id, &names)))
    }

    fn terminal(&self, terminal: &Template) -> Result<String, Diagnostic> {
        let name = render(terminal, self.scope)?;
        let there = self.bike.terminals();
        if there.contains(&name) {
            return Ok(name);
        }
        let names: Vec<&str> = there.iter().map(String::as_str).collect();
        let message = format!("the {} has no terminal `{name}`", self.bike.name);
        Err(Diagnostic::error(&terminal.place, "state", message).help(suggestion(&name, &names)))
    }
}
