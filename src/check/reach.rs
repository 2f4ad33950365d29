//! Steps, conclusions, loops and cautions that nothing leads to.
//!
//! Why: what was written and is never reached is mostly a slip in a route, and a check that everybody believes is made.
//!
//! Example: a step `gap` after the only route to it was changed to `gap-wide`.
//!
//! Conditions are not looked at here: another bike may take the other way.

use super::Findings;
use super::targets::{of, targets_of};
use crate::procedure::{Procedure, Target};
use crate::source::Diagnostic;
use std::collections::BTreeSet;

pub(super) fn check(procedure: &Procedure, found: &mut Findings) {
    let mut reached =
        Reached { procedure, steps: BTreeSet::new(), loops: BTreeSet::new(), conclusions: BTreeSet::new() };
    reached.target(&procedure.start);
    procedure.escapes.values().flat_map(of).for_each(|target| reached.target(target));
    let mut report = |place, what: &str, id: &str| {
        let message = format!("nothing leads to the {what} `{id}`");
        found.add(Diagnostic::error(place, "unreachable", message).help("Lead to it from somewhere, or take it out."));
    };
    for step in procedure.steps.iter().filter(|step| !reached.steps.contains(step.id.as_str())) {
        report(&step.id.place, "step", &step.id);
    }
    for each in procedure.loops.iter().filter(|each| !reached.loops.contains(each.id.as_str())) {
        report(&each.id.place, "loop", &each.id);
    }
    for conclusion in procedure.conclusions.iter().filter(|c| !reached.conclusions.contains(c.id.as_str())) {
        report(&conclusion.id.place, "conclusion", &conclusion.id);
    }
    let steps = procedure.steps.iter().flat_map(|step| &step.cautions);
    let used: BTreeSet<&str> =
        steps.chain(procedure.conclusions.iter().flat_map(|c| &c.cautions)).map(|id| id.as_str()).collect();
    for caution in procedure.cautions.iter().filter(|caution| !used.contains(caution.id.as_str())) {
        let message = format!("no step gives the caution `{}`", *caution.id);
        found.add(
            Diagnostic::warning(&caution.id.place, "unreachable", message)
                .help("Give it before a step, or take it out."),
        );
    }
}

struct Reached<'p> {
    procedure: &'p Procedure,
    steps: BTreeSet<&'p str>,
    loops: BTreeSet<&'p str>,
    conclusions: BTreeSet<&'p str>,
}

impl<'p> Reached<'p> {
    fn target(&mut self, target: &'p Target) {
        let mut waiting = vec![target];
        while let Some(target) = waiting.pop() {
            match target {
                Target::Step(id) => self.step(id, &mut waiting),
                Target::Each(id) => {
                    if self.loops.insert(id)
                        && let Some(each) = self.procedure.each(id)
                    {
                        self.step(&each.first, &mut waiting);
                        waiting.extend(of(&each.then));
                    }
                }
                Target::Conclude(id) => {
                    self.conclusions.insert(id);
                }
                Target::Call { then, .. } => waiting.push(then),
                Target::Next(_) | Target::Return(_) | Target::Again(_) | Target::Back(_) => {}
            }
        }
    }

    fn step(&mut self, id: &'p str, waiting: &mut Vec<&'p Target>) {
        if self.steps.insert(id)
            && let Some(step) = self.procedure.step(id)
        {
            waiting.extend(targets_of(&step.ask));
            waiting.extend(step.otherwise.iter().chain([&step.untested]).flat_map(of));
        }
    }
}
