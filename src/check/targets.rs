//! Targets, loops, cautions and called procedures that there are not.
//!
//! Why: a walk that leads to a step nobody wrote stops in the middle of the job.
//!
//! Example: `go: points-gpa` where the step is named `points-gap`.

use super::{Findings, Surroundings};
use crate::procedure::{Ask, Procedure, Route, Target};
use crate::source::shape::suggestion;
use crate::source::{Diagnostic, Written};

/// Every target of a step with the step's routes, doubts included.
pub(super) fn targets_of(ask: &Ask) -> Vec<&Target> {
    match ask {
        Ask::Choice(choices) | Ask::Watch { choices, .. } => {
            choices.iter().flat_map(|choice| choice.doubt.iter().chain(of(&choice.go))).collect()
        }
        Ask::Reading(reading) => {
            let bands = reading.bands.iter().flat_map(|band| band.doubt.iter().chain(of(&band.go)));
            bands.chain(reading.over_range.iter().flat_map(of)).collect()
        }
        Ask::Done(route) | Ask::Note(route) => of(route).collect(),
    }
}

/// The targets of a route.
pub(super) fn of(route: &Route) -> impl Iterator<Item = &Target> {
    route.0.iter().map(|condition| &condition.to)
}

pub(super) fn check(procedure: &Procedure, around: &Surroundings<'_>, found: &mut Findings) {
    let mut look = Look { procedure, around, found };
    look.target(&procedure.start);
    procedure.parts.iter().for_each(|part| look.target(&part.first));
    for each in &procedure.loops {
        look.step(&each.first);
        of(&each.then).for_each(|target| look.target(target));
    }
    for step in &procedure.steps {
        let routes = step.otherwise.iter().chain([&step.untested]).flat_map(of);
        routes.chain(targets_of(&step.ask)).for_each(|target| look.target(target));
        look.cautions(&step.cautions);
    }
    procedure.escapes.values().flat_map(of).for_each(|target| look.target(target));
    procedure.conclusions.iter().for_each(|conclusion| look.cautions(&conclusion.cautions));
}

struct Look<'a, 'b> {
    procedure: &'a Procedure,
    around: &'a Surroundings<'b>,
    found: &'a mut Findings,
}

impl Look<'_, '_> {
    fn target(&mut self, target: &Target) {
        match target {
            Target::Step(id) => self.step(id),
            Target::Each(id) => {
                let names: Vec<&str> = self.procedure.loops.iter().map(|l| l.id.as_str()).collect();
                self.known("loop", id, &names);
            }
            Target::Conclude(id) => {
                let names: Vec<&str> = self.procedure.conclusions.iter().map(|c| c.id.as_str()).collect();
                self.known("conclusion", id, &names);
            }
            Target::Call { procedure, then } => {
                if **procedure == self.procedure.id {
                    let message = "a procedure cannot call itself";
                    self.found.add(
                        Diagnostic::error(&procedure.place, "unknown-target", message)
                            .help("Lead to one of its steps."),
                    );
                } else if (self.around.called)(procedure).is_none() {
                    let message = format!("there is no sound procedure `{}` beside this one", **procedure);
                    let help = format!("Look for {}.yaml in the same folder, and check it.", **procedure);
                    self.found.add(Diagnostic::error(&procedure.place, "unknown-target", message).help(help));
                }
                self.target(then);
            }
            Target::Next(_) | Target::Return(_) | Target::Again(_) | Target::Back(_) => {}
        }
    }

    fn step(&mut self, id: &Written<String>) {
        let names: Vec<&str> = self.procedure.steps.iter().map(|s| s.id.as_str()).collect();
        self.known("step", id, &names);
    }

    fn cautions(&mut self, ids: &[Written<String>]) {
        let names: Vec<&str> = self.procedure.cautions.iter().map(|c| c.id.as_str()).collect();
        ids.iter().for_each(|id| self.known("caution", id, &names));
    }

    fn known(&mut self, what: &str, id: &Written<String>, names: &[&str]) {
        if !names.contains(&id.as_str()) {
            let message = format!("there is no {what} `{}`", **id);
            self.found.add(Diagnostic::error(&id.place, "unknown-target", message).help(suggestion(id, names)));
        }
    }
}
