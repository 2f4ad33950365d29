//! Templates and expressions that do not come out for a bike.
//!
//! Why: a prompt that names a condenser which the single has not would stop the walk in front of the single.
//!
//! Example: `say: "{{ set.condensor.wire_words }}"`.
//!
//! What was seen is stood in for by samples; whether it can have been seen is another check's.

use super::Findings;
use super::walks::{Node, Walks};
use crate::procedure::{
    Ask, Expression, Procedure, Route, Scope, StateTemplate, Template, evaluate_bool, evaluate_number, render,
    render_state,
};
use crate::source::Diagnostic;

pub(super) fn check(walks: &Walks<'_>, found: &mut Findings) {
    let mut look = Look { walks, found };
    if let Some(first) = walks.nodes.first() {
        look.head(walks.procedure(), first);
    }
    walks.own().for_each(|node| look.node(node));
    for end in walks.concluded.iter().filter(|end| end.procedure == 0) {
        let of = end.conclusion;
        let lists = [&of.condemns, &of.rules_out, &of.not_tested, &of.recheck].into_iter().flatten();
        look.texts([&of.cause, &of.remedy].into_iter().chain(lists).chain(&of.source), &end.scope);
    }
}

struct Look<'a, 'p> {
    walks: &'a Walks<'p>,
    found: &'a mut Findings,
}

impl Look<'_, '_> {
    fn head(&mut self, procedure: &Procedure, first: &Node<'_>) {
        let parts = procedure.parts.iter().map(|part| &part.words);
        let head = [&procedure.title].into_iter().chain(&procedure.opening).chain(&procedure.tools).chain(parts);
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
                    self.texts(choice.phrases.iter().chain([&choice.echo]).chain(&choice.shows), scope);
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
