//! Checks where the answers of a procedure lead: every name on a route exists, everything written is reached, a walk can always end, and the
//! parts can be walked in any order that their needs allow.
//!
//! Why it matters: a walk that leads to a step nobody wrote stops in the middle of the job. A step that nothing leads to is usually a slip in a
//! route, and everybody believes that its check is made. A walk that can only end by giving up has led the mechanic in a circle. In best order a
//! part comes as soon as its needs are met, so a need that does not exist, or can never be met, leaves the part without its grounds.
//!
//! Example findings:
//! - ``there is no step `points-gpa` ``
//! - ``nothing leads to the step `gap` ``
//! - ``from the step `clean` the answers lead in a circle for ever: `clean`, `measure` ``
//! - ``there is no part `lamb` ``
//!
//! [`unreachable`] ignores conditions, since another bike may take the other way. [`ways_out`] counts answers and steps left out as ways; a check
//! left untested is not one.

use super::findings::{Findings, Surroundings};
use super::walks::{Edge, To, Via, Walks, targets, targets_of};
use crate::procedure::{Ask, Procedure, Target};
use crate::source::shape::suggestion;
use crate::source::{Diagnostic, Written};
use std::collections::BTreeSet;

/// Targets, loops, cautions and called procedures that do not exist.
pub(super) fn names(procedure: &Procedure, around: &Surroundings<'_>, found: &mut Findings) {
    let mut look = Look { procedure, around, found };
    procedure.targets().into_iter().for_each(|target| look.target(target));
    if let Some(checks) = &procedure.checks {
        [&checks.from].into_iter().chain(&checks.needs).for_each(|id| look.step(id));
        checks.before.iter().for_each(|one| look.step(&one.step));
        [&checks.conclude].into_iter().chain(&checks.unshown).for_each(|id| look.conclusion(id));
    }
    procedure.loops.iter().for_each(|each| look.step(&each.first));
    procedure.steps.iter().for_each(|step| look.cautions(&step.cautions));
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
            Target::Conclude(id) => self.conclusion(id),
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

    fn conclusion(&mut self, id: &Written<String>) {
        let names: Vec<&str> = self.procedure.conclusions.iter().map(|c| c.id.as_str()).collect();
        self.known("conclusion", id, &names);
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

/// Checks in any order that no route begins, that need what decides nothing, or that end in a conclusion that something is wrong.
pub(super) fn checks(procedure: &Procedure, found: &mut Findings) {
    let Some(checks) = &procedure.checks else { return };
    let begins = |target: &&Target| matches!(target, Target::Step(id) if id.value == checks.from.value);
    if !procedure.targets().iter().any(begins) {
        let message = format!("no route leads to `{}`, from which on the checks may come in any order", *checks.from);
        found.add(Diagnostic::error(&checks.from.place, "checks", message).help("Name a step that a route leads to."));
    }
    if !checks.beside.iter().all(|target| matches!(target, Target::Step(_) | Target::Each(_))) {
        let message = "what stands beside the written tree begins with a step or a loop";
        let place = &checks.from.place;
        found.add(Diagnostic::error(place, "checks", message).help("Name a step, or `{each: LOOP}`."));
    }
    for need in &checks.needs {
        let decides = procedure.step(need).is_none_or(|step| !matches!(step.ask, Ask::Done(_) | Ask::Note(_)));
        if !decides {
            let message = format!("`{}` is needed before the bike is called sound, and asks nothing", **need);
            found
                .add(Diagnostic::error(&need.place, "checks", message).help("Name a step with a choice or a reading."));
        }
    }
    if let Some(id) = checks.unshown.as_ref().filter(|id| procedure.conclusion(id).is_some_and(|end| end.healthy)) {
        let message = format!("`{}` says that nothing is wrong, where something only did not show", **id);
        found.add(Diagnostic::error(&id.place, "checks", message).help("Name a conclusion without `healthy: true`."));
    }
    if procedure.conclusion(&checks.conclude).is_some_and(|end| !end.healthy) {
        let message = format!("`{}` says that something is wrong", *checks.conclude);
        let help = "Name the conclusion with `healthy: true`.";
        found.add(Diagnostic::error(&checks.conclude.place, "checks", message).help(help));
    }
}

/// Steps, loops, conclusions and cautions that nothing leads to.
pub(super) fn unreachable(procedure: &Procedure, found: &mut Findings) {
    let mut reached =
        Reached { procedure, steps: BTreeSet::new(), loops: BTreeSet::new(), conclusions: BTreeSet::new() };
    reached.target(&procedure.start);
    procedure.beside().iter().for_each(|target| reached.target(target));
    reached
        .conclusions
        .extend(procedure.checks.iter().filter_map(|checks| checks.unshown.as_ref()).map(|id| id.as_str()));
    procedure.escapes.values().flat_map(targets).for_each(|target| reached.target(target));
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
                        waiting.extend(targets(&each.then));
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
            waiting.extend(step.otherwise.iter().chain([&step.untested]).flat_map(targets));
        }
    }
}

/// Steps that no answer leaves, and circles of such steps.
pub(super) fn ways_out(walks: &Walks<'_>, found: &mut Findings) {
    let count = walks.nodes.len();
    let mut before: Vec<Vec<usize>> = vec![Vec::new(); count];
    let mut leads_out = vec![false; count];
    let mut waiting = Vec::new();
    for (from, node) in walks.nodes.iter().enumerate() {
        for edge in node.edges.iter().filter(|edge| edge.via != Via::Untested) {
            match edge.to {
                To::Node(to) => before[to].push(from),
                To::End if !leads_out[from] => {
                    leads_out[from] = true;
                    waiting.push(from);
                }
                To::End => {}
            }
        }
    }
    while let Some(to) = waiting.pop() {
        for &from in &before[to] {
            if !leads_out[from] {
                leads_out[from] = true;
                waiting.push(from);
            }
        }
    }
    let mut told: BTreeSet<usize> = BTreeSet::new();
    for (number, node) in walks.nodes.iter().enumerate() {
        if leads_out[number] || node.at.procedure != 0 || told.contains(&number) {
            continue;
        }
        let circle = circle_from(walks, number);
        told.extend(&circle);
        let ordinary = |edge: &&Edge| edge.via != Via::Untested;
        let stays = node.edges.iter().filter(ordinary).all(|edge| edge.to == To::Node(number));
        let id = node.step.id.as_str();
        let finding = match stays {
            true => {
                Diagnostic::error(&node.step.id.place, "no-way-out", format!("no answer leads out of the step `{id}`"))
                    .help("Let an answer lead to another step or to a conclusion.")
            }
            false => {
                let steps: BTreeSet<&str> = circle.iter().map(|n| walks.nodes[*n].step.id.as_str()).collect();
                let names: Vec<String> = steps.iter().map(|step| format!("`{step}`")).collect();
                let message =
                    format!("from the step `{id}` the answers lead in a circle for ever: {}", names.join(", "));
                Diagnostic::error(&node.step.id.place, "endless", message).help("Let some answer lead to a conclusion.")
            }
        };
        found.add(finding);
    }
}

fn circle_from(walks: &Walks<'_>, start: usize) -> BTreeSet<usize> {
    let mut circle = BTreeSet::from([start]);
    let mut waiting = vec![start];
    while let Some(from) = waiting.pop() {
        for edge in walks.nodes[from].edges.iter().filter(|edge| edge.via != Via::Untested) {
            if let To::Node(to) = edge.to
                && circle.insert(to)
            {
                waiting.push(to);
            }
        }
    }
    circle
}
