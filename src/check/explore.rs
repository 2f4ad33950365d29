//! Builds the graph of every way through a procedure for one bike. It unrolls loops over what the bike has, follows calls, and evaluates
//! conditions that depend only on the bike. A condition on what was seen leaves both ways open.
//!
//! Why it matters: some faults show only while walking.
//!
//! Example findings:
//! - `` `next` can be reached here without being in a loop``
//! - `` `back` can be reached here while no step is doubted``
//! - ``the calls of `prove-lamp` run in a circle``

use super::findings::{Findings, Surroundings};
use super::walks::{
    At, Concluded, Edge, Frame, Node, To, Via, Walks, innermost_call, innermost_doubt, innermost_loop, own_from,
    samples,
};
use crate::bike::{Bike, as_value};
use crate::expression::{self, Scope, evaluate_bool, evaluate_list};
use crate::procedure::{Ask, Loop, Procedure, ReadingAsk, Route, Step, Target, render_state};
use crate::source::Diagnostic;
use serde_json::Value;
use std::collections::HashMap;
use std::rc::Rc;

/// Most nodes that are explored. Chosen, no source.
const MOST_NODES: usize = 20_000;
/// Deepest nesting of doubts. Chosen, no source.
const MOST_DOUBTS: usize = 2;

/// Walks every way through `procedures[0]` for `bike`.
pub(super) fn explore<'p>(
    procedures: Vec<&'p Procedure>,
    bike: &'p Bike,
    around: &Surroundings<'_>,
    found: &mut Findings,
) -> Walks<'p> {
    let mut scope = Scope::new(as_value(bike, around.words));
    let samples = samples(&procedures, &mut scope);
    let walks = Walks { procedures, bike, nodes: Vec::new(), concluded: Vec::new(), samples };
    let mut explorer = Explorer {
        walks,
        found,
        plain: scope,
        known: HashMap::new(),
        scopes: HashMap::new(),
        rounds: HashMap::new(),
        thens: Vec::new(),
        too_large: false,
    };
    let start = At { procedure: 0, step: String::new(), frames: Vec::new() };
    let first = explorer.walks.procedures[0];
    explorer.lead_to(&first.start, &start);
    let mut next = 0;
    while next < explorer.walks.nodes.len() {
        explorer.leave(next);
        next += 1;
    }
    if explorer.too_large {
        let message = format!("there are more than {MOST_NODES} ways through it, so not all were tried");
        explorer.found.add(
            Diagnostic::warning(&first.place, "too-large", message)
                .help("Split it into procedures that call one another."),
        );
    }
    explorer.walks
}

struct Explorer<'p, 'f> {
    walks: Walks<'p>,
    found: &'f mut Findings,
    plain: Scope,
    known: HashMap<At, usize>,
    scopes: HashMap<Vec<Frame>, Rc<Scope>>,
    rounds: HashMap<(usize, String, Vec<Frame>), Rc<Vec<Value>>>,
    thens: Vec<&'p Target>,
    too_large: bool,
}

impl<'p> Explorer<'p, '_> {
    fn procedure(&self, at: &At) -> &'p Procedure {
        self.walks.procedures[at.procedure]
    }

    /// Adds the edges out of node `from`.
    fn leave(&mut self, from: usize) {
        let node = &self.walks.nodes[from];
        let (at, step, scope) = (node.at.clone(), node.step, node.scope.clone());
        let mut edges = Vec::new();
        let decided = step.when.as_ref().map(|when| decide(when, &scope));
        if let (Some(Some(false) | None), Some(otherwise)) = (decided, &step.otherwise) {
            self.edges(&Via::LeftOut, otherwise, &at, &mut edges);
        }
        if decided == Some(Some(false)) {
            self.walks.nodes[from].left_out = true;
        } else {
            self.answers(step, &at, &mut edges);
            self.edges(&Via::Untested, &step.untested, &at, &mut edges);
            for route in self.procedure(&at).escapes.values() {
                self.escape(route, &at, &mut edges);
            }
        }
        self.beside(&at, &mut edges);
        self.walks.nodes[from].edges = edges;
    }

    /// From where the checks may come in any order, edges to those that the written tree does not come to.
    fn beside(&mut self, at: &At, edges: &mut Vec<Edge>) {
        let Some(checks) = &self.walks.procedures[0].checks else { return };
        if at.procedure == 0 && at.frames.is_empty() && at.step == checks.from.value {
            for target in self.walks.procedures[0].beside() {
                let all = self.lead_to(target, at);
                edges.extend(all.into_iter().map(|to| Edge { via: Via::LeftOut, to }));
            }
        }
    }

    fn answers(&mut self, step: &'p Step, at: &At, edges: &mut Vec<Edge>) {
        match &step.ask {
            Ask::Choice(choices) | Ask::Watch { choices, .. } => {
                let sees = self.kept(&[&step.id], at);
                for choice in choices {
                    self.doubt(choice.doubt.as_ref(), at, edges);
                    self.edges(&Via::Answer(sees.clone()), &choice.go, at, edges);
                }
            }
            Ask::Reading(reading) => {
                let ReadingAsk { name, bands, over_range, .. } = &**reading;
                let sees = self.kept(&[name, &format!("{}_band", *step.id)], at);
                for band in bands {
                    self.doubt(band.doubt.as_ref(), at, edges);
                    self.edges(&Via::Answer(sees.clone()), &band.go, at, edges);
                }
                if let Some(route) = over_range {
                    self.edges(&Via::Answer(Vec::new()), route, at, edges);
                }
            }
            Ask::Done(route) | Ask::Note(route) => self.edges(&Via::Answer(Vec::new()), route, at, edges),
        }
    }

    /// Names under which an answer here is kept: plain, and with the round of the innermost loop.
    fn kept(&self, names: &[&str], at: &At) -> Vec<String> {
        let round = innermost_loop(&at.frames).and_then(|inner| self.item(at, inner));
        let id = round.as_ref().and_then(|item| item.get("id")?.as_str()).map(|id| id.replace('-', "_"));
        let plain = names.iter().map(|name| name.replace('-', "_"));
        plain
            .flat_map(|name| id.iter().map(|id| format!("{name}_{id}")).chain([name.clone()]).collect::<Vec<_>>())
            .collect()
    }

    /// The item of the loop at `frames[inner]`.
    fn item(&self, at: &At, inner: usize) -> Option<Value> {
        let Frame::Loop { id, round } = &at.frames[inner] else { return None };
        let procedure = procedure_at(inner, at);
        self.rounds.get(&(procedure, id.clone(), at.frames[..inner].to_vec()))?.get(*round).cloned()
    }

    fn doubt(&mut self, doubt: Option<&'p Target>, at: &At, edges: &mut Vec<Edge>) {
        let Some(target) = doubt else { return };
        let own = own_from(&at.frames);
        let doubts = at.frames[own..].iter().filter(|frame| matches!(frame, Frame::Doubt { .. })).count();
        let here = Frame::Doubt { step: at.step.clone() };
        if doubts >= MOST_DOUBTS || at.frames[own..].contains(&here) {
            return;
        }
        let mut inside = at.clone();
        inside.frames.push(here);
        let all = self.lead_to(target, &inside);
        edges.extend(all.into_iter().map(|to| Edge { via: Via::Doubted, to }));
    }

    fn escape(&mut self, route: &'p Route, at: &At, edges: &mut Vec<Edge>) {
        let mut plain = at.clone();
        plain.frames.truncate(own_from(&at.frames));
        for condition in &route.0 {
            let from = if matches!(condition.to, Target::Step(_) | Target::Each(_)) { &plain } else { at };
            let all = self.lead_to(&condition.to, from);
            edges.extend(all.into_iter().map(|to| Edge { via: Via::Untested, to }));
        }
    }

    fn edges(&mut self, via: &Via, route: &'p Route, at: &At, edges: &mut Vec<Edge>) {
        let all = self.route(route, at);
        edges.extend(all.into_iter().map(|to| Edge { via: via.clone(), to }));
    }

    /// Everywhere that `route` may lead.
    fn route(&mut self, route: &'p Route, at: &At) -> Vec<To> {
        let scope = self.scope(at);
        let mut all = Vec::new();
        for condition in &route.0 {
            let decided = condition.when.as_ref().map_or(Some(true), |when| decide(when, &scope));
            if decided != Some(false) {
                all.extend(self.lead_to(&condition.to, at));
            }
            if decided == Some(true) {
                break;
            }
        }
        all
    }

    fn lead_to(&mut self, target: &'p Target, at: &At) -> Vec<To> {
        match target {
            Target::Step(id) => self.node(At { step: id.value.clone(), ..at.clone() }),
            Target::Again(_) => self.node(at.clone()),
            Target::Each(id) => match self.procedure(at).each(id) {
                Some(each) => self.enter(each, at),
                None => Vec::new(),
            },
            Target::Next(place) => {
                let Some(inner) = innermost_loop(&at.frames) else {
                    self.lost(
                        place,
                        "next-outside-loop",
                        "`next` can be reached here without being in a loop",
                        "Lead to a step, or reach it through `{each: ...}` only.",
                    );
                    return Vec::new();
                };
                self.next_round(inner, at)
            }
            Target::Back(place) => {
                let Some(inner) = innermost_doubt(&at.frames) else {
                    self.lost(
                        place,
                        "back-without-doubt",
                        "`back` can be reached here while no step is doubted",
                        "Lead to a step, or reach it through `doubt` only.",
                    );
                    return Vec::new();
                };
                let Frame::Doubt { step } = at.frames[inner].clone() else { return Vec::new() };
                self.node(At { step, frames: at.frames[..inner].to_vec(), ..at.clone() })
            }
            Target::Return(_) => self.return_from(at),
            Target::Call { procedure, then } => self.call(procedure, then, at),
            Target::Conclude(id) => {
                let Some(conclusion) = self.procedure(at).conclusion(id) else { return Vec::new() };
                let scope = self.scope(at);
                self.walks.concluded.push(Concluded { conclusion, procedure: at.procedure, scope });
                if conclusion.is_final { vec![To::End] } else { self.return_from(at) }
            }
        }
    }

    fn lost(&mut self, place: &crate::source::Place, check: &str, message: &str, help: &str) {
        self.found.add(Diagnostic::error(place, check, message).help(help));
    }

    fn call(&mut self, id: &crate::source::Written<String>, then: &'p Target, at: &At) -> Vec<To> {
        let Some(called) = self.walks.procedures.iter().position(|procedure| procedure.id == **id) else {
            return self.lead_to(then, at);
        };
        let caller = |frame: &Frame| matches!(frame, Frame::Call { procedure, .. } if *procedure == called);
        if called == at.procedure || at.frames.iter().any(caller) {
            let message = format!("the calls of `{}` run in a circle", **id);
            self.lost(&id.place, "call-circle", &message, "Break the circle: lead to a step or a conclusion.");
            return Vec::new();
        }
        let known = self.thens.iter().position(|known| std::ptr::eq(*known, then));
        let number = known.unwrap_or_else(|| {
            self.thens.push(then);
            self.thens.len() - 1
        });
        let mut frames = at.frames.clone();
        frames.push(Frame::Call { procedure: at.procedure, then: number });
        let start = &self.walks.procedures[called].start;
        self.lead_to(start, &At { procedure: called, step: String::new(), frames })
    }

    fn return_from(&mut self, at: &At) -> Vec<To> {
        let Some(inner) = innermost_call(&at.frames) else { return vec![To::End] };
        let Frame::Call { procedure, then } = at.frames[inner] else { return Vec::new() };
        let frames = at.frames[..inner].to_vec();
        self.lead_to(self.thens[then], &At { procedure, step: String::new(), frames })
    }

    fn enter(&mut self, each: &'p Loop, at: &At) -> Vec<To> {
        let own = own_from(&at.frames);
        let running = |frame: &Frame| matches!(frame, Frame::Loop { id, .. } if *id == *each.id);
        let mut outside = at.clone();
        if let Some(depth) = at.frames[own..].iter().position(running) {
            outside.frames.truncate(own + depth);
        }
        if self.items(each, &outside).is_empty() {
            return self.route(&each.then, &outside);
        }
        outside.frames.push(Frame::Loop { id: each.id.value.clone(), round: 0 });
        self.node(At { step: each.first.value.clone(), ..outside })
    }

    fn items(&mut self, each: &'p Loop, outside: &At) -> Rc<Vec<Value>> {
        let key = (outside.procedure, each.id.value.clone(), outside.frames.clone());
        if let Some(items) = self.rounds.get(&key) {
            return items.clone();
        }
        let scope = self.scope(outside);
        let items = evaluate_list(&each.over, &scope).unwrap_or_else(|error| {
            self.found.add(error);
            Vec::new()
        });
        let items = Rc::new(items);
        self.rounds.insert(key, items.clone());
        items
    }

    fn next_round(&mut self, inner: usize, at: &At) -> Vec<To> {
        let Frame::Loop { id, round } = at.frames[inner].clone() else { return Vec::new() };
        let Some(each) = self.procedure(at).each(&id) else { return Vec::new() };
        let mut outside = At { frames: at.frames[..inner].to_vec(), ..at.clone() };
        if round + 1 < self.items(each, &outside).len() {
            outside.frames.push(Frame::Loop { id, round: round + 1 });
            return self.node(At { step: each.first.value.clone(), ..outside });
        }
        self.route(&each.then, &outside)
    }

    fn scope(&mut self, at: &At) -> Rc<Scope> {
        let loops: Vec<Frame> =
            at.frames.iter().filter(|frame| !matches!(frame, Frame::Doubt { .. })).cloned().collect();
        if let Some(scope) = self.scopes.get(&loops) {
            return scope.clone();
        }
        let mut scope = self.plain.clone();
        for inner in 0..at.frames.len() {
            let Frame::Loop { id, .. } = &at.frames[inner] else { continue };
            let each = self.walks.procedures[procedure_at(inner, at)].each(id);
            if let (Some(each), Some(item)) = (each, self.item(at, inner)) {
                scope.bind(&each.bind, item);
            }
        }
        let scope = Rc::new(scope);
        self.scopes.insert(loops, scope.clone());
        scope
    }

    fn node(&mut self, at: At) -> Vec<To> {
        if let Some(known) = self.known.get(&at) {
            return vec![To::Node(*known)];
        }
        if self.walks.nodes.len() >= MOST_NODES {
            self.too_large = true;
            return Vec::new();
        }
        let procedure = self.procedure(&at);
        let Some(step) = procedure.step(&at.step) else { return Vec::new() };
        let scope = self.scope(&at);
        let need = render_state(&step.state, &scope, self.walks.bike).unwrap_or_default();
        let assumes = render_state(&step.assumes, &scope, self.walks.bike).unwrap_or_default();
        let cautions = step.cautions.iter().filter_map(|id| procedure.caution(id));
        let cautioned = cautions.flat_map(|caution| caution.hazards.iter().copied()).collect();
        let number = self.walks.nodes.len();
        self.known.insert(at.clone(), number);
        self.walks.nodes.push(Node { at, step, scope, need, assumes, cautioned, left_out: false, edges: Vec::new() });
        vec![To::Node(number)]
    }
}

/// The value of `when` if it depends only on the bike and the loop; `None` if it depends on what was seen.
fn decide(when: &crate::expression::Expression, scope: &Scope) -> Option<bool> {
    if expression::names(when).iter().any(|name| name.path == "seen" || name.path.starts_with("seen.")) {
        return None;
    }
    evaluate_bool(when, scope).ok()
}

/// The number of the procedure that the frame at `inner` belongs to.
fn procedure_at(inner: usize, at: &At) -> usize {
    let call = at.frames[inner..].iter().find_map(|frame| match frame {
        Frame::Call { procedure, .. } => Some(*procedure),
        _ => None,
    });
    call.unwrap_or(at.procedure)
}
