//! Names of `seen` that nothing keeps, or that may not have been seen yet.
//!
//! Why: an expression that names a reading which was skipped does not come out, and the walk stops.
//!
//! Example: `when: "seen.rest_voltage > 12.0"` where the battery's step can be left untested. `has(seen.rest_voltage) && ...` is
//! right.

use super::Findings;
use super::flow::Facts;
use super::walks::{Node, Via, Walks};
use crate::procedure::{Ask, Expression, Route, Template, expression};
use crate::source::shape::suggestion;
use crate::source::{Diagnostic, template};
use std::collections::BTreeSet;

pub(super) fn check(walks: &Walks<'_>, facts: &[Facts], found: &mut Findings) {
    for (node, facts) in walks.nodes.iter().zip(facts) {
        if node.at.procedure != 0 || node.left_out {
            continue;
        }
        let before = &facts.seen;
        let mut after = before.clone();
        for edge in &node.edges {
            if let Via::Answer(names) = &edge.via {
                after.extend(names.iter().cloned());
            }
        }
        Look { walks, found }.node(node, before, &after);
    }
}

struct Look<'a, 'p> {
    walks: &'a Walks<'p>,
    found: &'a mut Findings,
}

impl Look<'_, '_> {
    fn node(&mut self, node: &Node<'_>, before: &BTreeSet<String>, after: &BTreeSet<String>) {
        let step = node.step;
        self.expressions(&step.when, before);
        self.routes(step.otherwise.iter().chain([&step.untested]), before);
        self.templates([&step.say, &step.more].into_iter().chain(&step.brief), before);
        match &step.ask {
            Ask::Choice(choices) | Ask::Watch { choices, .. } => {
                for choice in choices {
                    self.templates(&choice.phrases, before);
                    self.templates([&choice.echo], after);
                    self.routes([&choice.go], after);
                }
            }
            Ask::Reading(reading) => {
                self.expressions([&reading.low, &reading.high], before);
                for band in &reading.bands {
                    self.expressions(band.from.iter().chain(&band.below), before);
                    self.templates(&band.say, after);
                    self.routes([&band.go], after);
                }
                self.routes(&reading.over_range, before);
            }
            Ask::Done(route) | Ask::Note(route) => self.routes([route], before),
        }
    }

    fn routes<'t>(&mut self, routes: impl IntoIterator<Item = &'t Route>, seen: &BTreeSet<String>) {
        for route in routes {
            self.expressions(route.0.iter().filter_map(|condition| condition.when.as_ref()), seen);
        }
    }

    fn expressions<'t>(&mut self, all: impl IntoIterator<Item = &'t Expression>, seen: &BTreeSet<String>) {
        for each in all.into_iter().filter(|each| each.contains("seen")) {
            for name in expression::names(each) {
                self.name(&name.path, name.only_asked_for, each, seen);
            }
        }
    }

    fn templates<'t>(&mut self, all: impl IntoIterator<Item = &'t Template>, seen: &BTreeSet<String>) {
        for each in all.into_iter().filter(|each| each.contains("seen.")) {
            let guarded = each.contains("is defined") || each.contains("default");
            for name in template::names(each) {
                self.name(&name, guarded, each, seen);
            }
        }
    }

    fn name(&mut self, path: &str, guarded: bool, text: &Expression, seen: &BTreeSet<String>) {
        let Some(name) = path.strip_prefix("seen.").and_then(|rest| rest.split('.').next()) else { return };
        if !self.walks.samples.contains(name) {
            let names: Vec<&str> = self.walks.samples.iter().map(String::as_str).collect();
            let message = format!("nothing is ever kept as `seen.{name}`");
            self.found.add(Diagnostic::error(&text.place, "unknown-seen", message).help(suggestion(name, &names)));
        } else if !guarded && !seen.contains(name) {
            let message = format!("`seen.{name}` may not be there yet: a way leads here without it");
            let help = format!("Ask for it first: has(seen.{name}) in an expression, `is defined` in a template.");
            self.found.add(Diagnostic::error(&text.place, "not-yet-seen", message).help(help));
        }
    }
}
