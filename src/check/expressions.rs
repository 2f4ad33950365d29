//! Checks templates and expressions: each must evaluate for every bike, and may name only what has surely been seen.
//!
//! Why it matters: a prompt that names a condenser would stop the walk in front of a bike that has none. An expression that names a skipped
//! reading does not evaluate, and the walk stops.
//!
//! Example findings:
//! - ``for the Dill Single, there is no `condensor` ``
//! - ``` `seen.rest_voltage` may not be there yet: a way leads here without it ```
//!
//! [`render_all`] uses samples for what was seen; whether it can have been seen is [`seen`]'s question. `has(seen.rest_voltage) && ...` is right.

use super::findings::Findings;
use super::flow::Facts;
use super::walks::{Node, Via, Walks};
use crate::expression::{self, Expression, Scope, Template, evaluate_bool, evaluate_number, render};
use crate::procedure::{Ask, Procedure, Route, StateTemplate, render_state};
use crate::source::shape::suggestion;
use crate::source::{Diagnostic, template};
use std::collections::BTreeSet;

/// Templates and expressions that do not evaluate for a bike.
pub(super) fn render_all(walks: &Walks<'_>, found: &mut Findings) {
    let mut look = Rendering { walks, found };
    if let Some(first) = walks.nodes.first() {
        look.head(walks.procedure(), first);
    }
    walks.own().for_each(|node| look.node(node));
    for end in walks.concluded.iter().filter(|end| end.procedure == 0) {
        let of = end.conclusion;
        let lists = [&of.condemns, &of.means, &of.rules_out, &of.not_tested, &of.recheck].into_iter().flatten();
        look.texts([&of.cause, &of.remedy].into_iter().chain(lists).chain(&of.source), &end.scope);
    }
}

struct Rendering<'a, 'p> {
    walks: &'a Walks<'p>,
    found: &'a mut Findings,
}

impl Rendering<'_, '_> {
    fn head(&mut self, procedure: &Procedure, first: &Node<'_>) {
        let head = [&procedure.title].into_iter().chain(&procedure.opening).chain(&procedure.tools);
        let cautions = procedure.cautions.iter();
        let cautions = cautions.flat_map(|caution| [&caution.say, &caution.brief].into_iter().chain(&caution.source));
        self.texts(head.chain(cautions), &first.scope);
    }

    fn node(&mut self, node: &Node<'_>) {
        let (step, scope) = (node.step, &*node.scope);
        let texts = [&step.say, &step.more].into_iter().chain(&step.brief).chain(&step.mends).chain(&step.source);
        self.texts(texts, scope);
        self.texts(step.observe.iter().flat_map(|observe| observe.templates()), scope);
        self.truths(&step.when, scope);
        self.routes(step.otherwise.iter().chain([&step.untested]), scope);
        self.state(&step.state, scope);
        self.state(&step.assumes, scope);
        match &step.ask {
            Ask::Choice(choices) | Ask::Watch { choices, .. } => {
                for choice in choices {
                    self.texts(
                        choice.phrases.iter().chain(&choice.ask_back).chain([&choice.echo]).chain(&choice.shows),
                        scope,
                    );
                    self.routes([&choice.go], scope);
                }
            }
            Ask::Reading(reading) => {
                self.texts([&reading.source], scope);
                let edges = reading.bands.iter().flat_map(|band| band.from.iter().chain(&band.below));
                for number in [&reading.low, &reading.high].into_iter().chain(edges) {
                    self.tell(evaluate_number(number, scope));
                }
                for band in &reading.bands {
                    self.texts(&band.say, scope);
                    self.routes([&band.go], scope);
                }
                self.routes(&reading.over_range, scope);
            }
            Ask::Done(route) | Ask::Note(route) => self.routes([route], scope),
        }
    }

    fn state(&mut self, state: &StateTemplate, scope: &Scope) {
        self.tell(render_state(state, scope, self.walks.bike));
    }

    fn texts<'t>(&mut self, texts: impl IntoIterator<Item = &'t Template>, scope: &Scope) {
        texts.into_iter().filter(|text| text.contains('{')).for_each(|text| self.tell(render(text, scope)));
    }

    fn truths<'t>(&mut self, truths: impl IntoIterator<Item = &'t Expression>, scope: &Scope) {
        truths.into_iter().for_each(|truth| self.tell(evaluate_bool(truth, scope)));
    }

    fn routes<'t>(&mut self, routes: impl IntoIterator<Item = &'t Route>, scope: &Scope) {
        for route in routes {
            self.truths(route.0.iter().filter_map(|condition| condition.when.as_ref()), scope);
        }
    }

    fn tell<T>(&mut self, outcome: Result<T, Diagnostic>) {
        if let Err(mut finding) = outcome {
            let bike = &self.walks.bike.name;
            if !finding.message.contains(bike.as_str()) {
                finding.message = format!("for the {bike}, {}", finding.message);
            }
            self.found.add(finding);
        }
    }
}

/// Names of `seen` that nothing keeps, or that a way reaches unseen.
pub(super) fn seen(walks: &Walks<'_>, facts: &[Facts], found: &mut Findings) {
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
        Seen { walks, found }.node(node, before, &after);
    }
}

struct Seen<'a, 'p> {
    walks: &'a Walks<'p>,
    found: &'a mut Findings,
}

impl Seen<'_, '_> {
    fn node(&mut self, node: &Node<'_>, before: &BTreeSet<String>, after: &BTreeSet<String>) {
        let step = node.step;
        self.expressions(&step.when, before);
        self.routes(step.otherwise.iter().chain([&step.untested]), before);
        self.templates([&step.say, &step.more].into_iter().chain(&step.brief), before);
        match &step.ask {
            Ask::Choice(choices) | Ask::Watch { choices, .. } => {
                for choice in choices {
                    self.templates(choice.phrases.iter().chain(&choice.ask_back), before);
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
