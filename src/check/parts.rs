//! Parts of a procedure that cannot be walked in any order that their needs allow.
//!
//! Why: in best order a part comes as soon as what it needs is over; a need that is not there, or that can never be over before, leaves it
//! without its grounds.
//!
//! Example: `coils: {first: {each: each-coil}, needs: [lamb]}` where the part is named `lamp`.

use super::Findings;
use crate::procedure::{Procedure, Target, target_place};
use crate::source::Diagnostic;
use crate::source::shape::suggestion;

pub(super) fn check(procedure: &Procedure, found: &mut Findings) {
    let parts = &procedure.parts;
    let ids: Vec<&str> = parts.iter().map(|part| part.id.as_str()).collect();
    for (number, part) in parts.iter().enumerate() {
        for need in &part.needs {
            let place = &need.place;
            match ids.iter().position(|id| *id == need.as_str()) {
                None => {
                    let message = format!("there is no part `{}`", **need);
                    found.add(Diagnostic::error(place, "parts", message).help(suggestion(need, &ids)));
                }
                Some(needed) if needed == number || procedure.needed_before(needed).contains(&number) => {
                    let message = format!("the needs of `{}` run in a circle, by way of `{}`", *part.id, **need);
                    found.add(
                        Diagnostic::error(place, "parts", message)
                            .help("Break the circle: one of them has to come first."),
                    );
                }
                Some(needed) if needed > number => {
                    let message = format!("`{}` needs `{}`, which is written after it", *part.id, **need);
                    let help = "The written order has to meet the needs, too: write it before.";
                    found.add(Diagnostic::error(place, "parts", message).help(help));
                }
                Some(_) => {}
            }
        }
        let place = target_place(&part.first);
        if !matches!(part.first, Target::Step(_) | Target::Each(_) | Target::Call { .. }) {
            found.add(
                Diagnostic::error(place, "parts", format!("the part `{}` begins with no step, loop or call", *part.id))
                    .help("Name a step, {each: LOOP} or {call: PROCEDURE, then: STEP}."),
            );
            continue;
        }
        if procedure.part_begun_by(&part.first) != Some(number) {
            let message = format!("the part `{}` begins where another does", *part.id);
            found.add(Diagnostic::error(place, "parts", message).help("Give each its own beginning."));
        }
        let led_to = |target: &&Target| procedure.part_begun_by(target) == Some(number);
        if !procedure.targets().iter().any(led_to) {
            let message = format!("no route leads to the beginning of the part `{}`", *part.id);
            found.add(Diagnostic::error(place, "parts", message).help("Begin it where the part before leads to."));
        }
    }
}
