//! The graph that most checks look at: every way through a procedure for one bike. This file checks nothing itself; `explore.rs` builds the
//! graph.
//!
//! A node is a step in a round of its loops, in a chain of doubts, in a called procedure. An edge is an answer, a doubt, a step left out or a
//! check left untested.

use super::findings::{Findings, Surroundings};
use crate::bike::{Bike, StateNeed};
use crate::expression::{Scope, evaluate_bool, evaluate_list};
use crate::procedure::{Ask, COMES_AND_GOES, Conclusion, Hazard, Procedure, Route, Step, Target};
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::rc::Rc;

/// Something to come back to.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(super) enum Frame {
    /// A round of a loop, from 0.
    Loop { id: String, round: usize },
    /// The step that is doubted.
    Doubt { step: String },
    /// The calling procedure, and the number of the target to go on with.
    Call { procedure: usize, then: usize },
}

/// A place on a walk.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(super) struct At {
    /// Number of the procedure; 0 is the one that is checked.
    pub procedure: usize,
    /// Step id.
    pub step: String,
    /// What to come back to.
    pub frames: Vec<Frame>,
}

/// The part of `frames` that belongs to the procedure at hand begins here.
pub(super) fn own_from(frames: &[Frame]) -> usize {
    frames.iter().rposition(|frame| matches!(frame, Frame::Call { .. })).map_or(0, |call| call + 1)
}

/// Where the innermost loop of the procedure at hand stands in `frames`.
pub(super) fn innermost_loop(frames: &[Frame]) -> Option<usize> {
    let own = own_from(frames);
    frames[own..].iter().rposition(|frame| matches!(frame, Frame::Loop { .. })).map(|at| own + at)
}

/// Where the innermost doubt of the procedure at hand stands in `frames`.
pub(super) fn innermost_doubt(frames: &[Frame]) -> Option<usize> {
    let own = own_from(frames);
    frames[own..].iter().rposition(|frame| matches!(frame, Frame::Doubt { .. })).map(|at| own + at)
}

/// Where the innermost call stands in `frames`.
pub(super) fn innermost_call(frames: &[Frame]) -> Option<usize> {
    own_from(frames).checked_sub(1)
}

/// What takes a walk along an edge.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Via {
    /// The step is left out, or another check comes before it.
    LeftOut,
    /// An answer, with the names under which it is kept.
    Answer(Vec<String>),
    /// A doubted answer.
    Doubted,
    /// The check was left untested, or an escape was said.
    Untested,
}

/// Where an edge leads.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum To {
    /// Another place.
    Node(usize),
    /// The end of the walk.
    End,
}

/// An edge.
#[derive(Debug, Clone)]
pub(super) struct Edge {
    pub via: Via,
    pub to: To,
}

/// A node: a step at a place.
pub(super) struct Node<'p> {
    pub at: At,
    pub step: &'p Step,
    /// What templates and expressions can name, with a sample of everything that could have been seen.
    pub scope: Rc<Scope>,
    /// The state that it asks for; empty if that does not evaluate for this bike.
    pub need: StateNeed,
    /// What it assumes.
    pub assumes: StateNeed,
    /// Hazards that its cautions are about.
    pub cautioned: BTreeSet<Hazard>,
    /// The step is always left out for this bike.
    pub left_out: bool,
    pub edges: Vec<Edge>,
}

/// A conclusion that a walk reaches, and from where.
pub(super) struct Concluded<'p> {
    pub conclusion: &'p Conclusion,
    pub procedure: usize,
    pub scope: Rc<Scope>,
}

/// Every way through.
pub(super) struct Walks<'p> {
    pub procedures: Vec<&'p Procedure>,
    pub bike: &'p Bike,
    pub nodes: Vec<Node<'p>>,
    pub concluded: Vec<Concluded<'p>>,
    /// Names that are kept somewhere.
    pub samples: BTreeSet<String>,
}

impl<'p> Walks<'p> {
    /// The procedure that is checked.
    pub fn procedure(&self) -> &'p Procedure {
        self.procedures[0]
    }

    /// The checked procedure's nodes whose step is not left out.
    pub fn own(&self) -> impl Iterator<Item = &Node<'p>> {
        self.nodes.iter().filter(|node| node.at.procedure == 0 && !node.left_out)
    }
}

/// The procedures that `procedure` calls, and those that they call.
pub(super) fn called_by(procedure: &Procedure, around: &Surroundings<'_>) -> Vec<Rc<Procedure>> {
    let mut all: Vec<Rc<Procedure>> = Vec::new();
    let mut waiting = calls(procedure);
    while let Some(id) = waiting.pop() {
        if id != procedure.id
            && all.iter().all(|known| known.id != id)
            && let Some(called) = (around.called)(&id)
        {
            waiting.extend(calls(&called));
            all.push(called);
        }
    }
    all
}

fn calls(procedure: &Procedure) -> Vec<String> {
    fn of(target: &Target, ids: &mut Vec<String>) {
        if let Target::Call { procedure, then } = target {
            ids.push(procedure.value.clone());
            of(then, ids);
        }
    }
    let mut ids = Vec::new();
    procedure.targets().into_iter().for_each(|target| of(target, &mut ids));
    ids
}

/// Whether `procedure` applies to `bike`. An expression that does not evaluate is reported.
pub(super) fn applies(procedure: &Procedure, scope: &Scope, found: &mut Findings) -> bool {
    procedure.applies.iter().all(|one| match evaluate_bool(&one.when, scope) {
        Ok(holds) => holds,
        Err(error) => {
            found.add(error);
            false
        }
    })
}

/// Puts a sample of everything that can be seen into `scope`, and returns the names.
pub(super) fn samples(procedures: &[&Procedure], scope: &mut Scope) -> BTreeSet<String> {
    let mut rounds: BTreeSet<String> = BTreeSet::new();
    for each in procedures.iter().flat_map(|procedure| &procedure.loops) {
        let items = evaluate_list(&each.over, scope).unwrap_or_default();
        rounds.extend(items.iter().filter_map(|item| item.get("id")?.as_str().map(str::to_owned)));
    }
    scope.see(COMES_AND_GOES, json!(true));
    let mut names = BTreeSet::from([COMES_AND_GOES.to_owned()]);
    let mut keep = |name: &str, value: Value| {
        let name = name.replace('-', "_");
        for suffix in rounds.iter().map(|round| format!("_{}", round.replace('-', "_"))).chain([String::new()]) {
            scope.see(&format!("{name}{suffix}"), value.clone());
            names.insert(format!("{name}{suffix}"));
        }
    };
    for procedure in procedures {
        for step in &procedure.steps {
            match &step.ask {
                Ask::Choice(choices) | Ask::Watch { choices, .. } => {
                    keep(&step.id, json!(choices.first().map(|choice| choice.id.as_str())));
                }
                Ask::Reading(reading) => {
                    keep(&reading.name, json!(1.0));
                    keep(&format!("{}_band", *step.id), json!(reading.bands.first().map(|band| band.id.as_str())));
                }
                Ask::Done(_) | Ask::Note(_) => {}
            }
        }
        keep(&procedure.id, json!(procedure.conclusions.first().map(|conclusion| conclusion.id.as_str())));
    }
    names
}

/// Every target of a step with the step's routes, doubts included.
pub(super) fn targets_of(ask: &Ask) -> Vec<&Target> {
    match ask {
        Ask::Choice(choices) | Ask::Watch { choices, .. } => {
            choices.iter().flat_map(|choice| choice.doubt.iter().chain(targets(&choice.go))).collect()
        }
        Ask::Reading(reading) => {
            let bands = reading.bands.iter().flat_map(|band| band.doubt.iter().chain(targets(&band.go)));
            bands.chain(reading.over_range.iter().flat_map(targets)).collect()
        }
        Ask::Done(route) | Ask::Note(route) => targets(route).collect(),
    }
}

/// The targets of a route.
pub(super) fn targets(route: &Route) -> impl Iterator<Item = &Target> {
    route.0.iter().map(|condition| &condition.to)
}
