//! The gate: whether a procedure can be walked on a bike, and if not, why not, in a mechanic's words. It is asked before a walk, a proof and a
//! rehearsal begin, and by `check` for every procedure.
//!
//! Why it matters: a walk that meets a part which the bike has not, or a circuit that cannot work, ends in the middle, with the bike in pieces.
//! What passes the gate is walked to an end.
//!
//! Example reasons:
//! - ``the points `points-left` are wired to no coil``
//! - `these tests need a battery that feeds the coils`
//! - `with nothing wrong the left spark plug does not fire when the engine is kicked`

use super::{Surroundings, fit};
use crate::bike::{Bike, BikeState, Engine, as_value};
use crate::circuit::{CircuitError, Glow, Model, Strength};
use crate::expression::{Scope, evaluate_bool, evaluate_list, render};
use crate::procedure::{Procedure, Works, WorksAs};
use crate::source::{Diagnostic, Severity};
use serde_json::Value;

/// Checks of a procedure that say whether it fits the bike. A walk that meets one of these ends in the middle; what else `check` finds is the
/// author's affair and holds on every bike.
const OF_THE_FIT: [&str; 9] = [
    "template",
    "expression",
    "state",
    "unknown-part",
    "unknown-terminal",
    "unknown-target",
    "next-outside-loop",
    "no-way-out",
    "endless",
];

/// Why `procedure` cannot be walked on `bike`, each reason a sentence without its full stop. Empty if it can.
pub fn gate(procedure: &Procedure, bike: &Bike, around: &Surroundings<'_>) -> Vec<String> {
    let wrong = |found: Vec<Diagnostic>| -> Vec<String> {
        found.into_iter().filter(|one| one.severity == Severity::Error).map(|one| one.message).collect()
    };
    let of_bike = wrong(super::bike(bike));
    if !of_bike.is_empty() {
        return of_bike;
    }
    let scope = Scope::new(as_value(bike, around.words));
    let mut why = Vec::new();
    for one in &procedure.applies {
        match evaluate_bool(&one.when, &scope) {
            Ok(true) => {}
            Ok(false) => {
                let words =
                    one.otherwise.as_ref().map(|text| render(text, &scope).unwrap_or_else(|error| error.message));
                why.push(words.unwrap_or_else(|| format!("{} does not hold for this bike", *one.when)));
            }
            Err(error) => why.push(error.message),
        }
    }
    if why.is_empty() {
        let broken = |one: &Works| does_not(one, bike, &scope, around).unwrap_or_else(|reason| vec![reason]);
        why.extend(procedure.works.iter().flat_map(broken));
    }
    if why.is_empty() {
        let mut found = fit(procedure, bike, around);
        found.retain(|one| OF_THE_FIT.contains(&one.check.as_str()));
        why.extend(wrong(found).into_iter().map(not_stated));
        why.sort_unstable();
        why.dedup();
    }
    why
}

/// A template that fails for want of a figure of the profile's, in words.
fn not_stated(message: String) -> String {
    let named = message.split_once("`bike.specified.").and_then(|(_, rest)| rest.split_once("` is undefined"));
    match named {
        Some((figure, _)) => format!("its profile does not say what its {} should be", figure.replace('_', " ")),
        None => message,
    }
}

/// What of a thing that should work does not on the healthy bike. An error where that cannot be told.
fn does_not(works: &Works, bike: &Bike, scope: &Scope, around: &Surroundings<'_>) -> Result<Vec<String>, String> {
    let model = Model::new(bike);
    let mut state = BikeState::default();
    for switch in bike.switches.iter().filter(|switch| !switch.cranks) {
        state.switches.insert(switch.name.clone(), "connects".to_owned());
    }
    for (name, at) in &works.switches {
        let text = |template| render(template, scope).map_err(|error| error.message);
        state.switches.insert(text(name)?, text(at)?);
    }
    let items = |none: &str| match evaluate_list(&works.of, scope) {
        Ok(all) if all.is_empty() => Err(none.to_owned()),
        all => all.map_err(|error| error.message),
    };
    let field = |item: &Value, name: &str| item.get(name).and_then(Value::as_str).unwrap_or_default().to_owned();
    let circuit = |error: CircuitError| error.to_string();
    let mut broken = Vec::new();
    match works.kind {
        WorksAs::Spark => {
            state.engine = Some(Engine::Kicked);
            for plug in items("it has no spark plug")? {
                if model.fires(&state, &field(&plug, "id")).map_err(circuit)? == Strength::None {
                    let words = around.words.part(&field(&plug, "part"), bike);
                    broken.push(format!("with nothing wrong the {words} does not fire when the engine is kicked"));
                }
            }
        }
        WorksAs::Lit => {
            for bulb in items("it has no bulb")? {
                let id = field(&bulb, "id");
                if model.glow(&state, &id).map_err(circuit)? != Glow::Bright {
                    broken.push(format!("with nothing wrong the {} does not light", around.words.part(&id, bike)));
                }
            }
        }
        WorksAs::Charge => {
            let asked = evaluate_bool(&works.of, scope).map_err(|error| error.message)?;
            if asked && !model.charges(&state).map_err(circuit)? {
                broken.push("with nothing wrong the battery is not charged while the engine runs".to_owned());
            }
        }
    }
    Ok(broken)
}
