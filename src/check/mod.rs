//! Semantic checks on procedures and bikes that parse. Each file opens with what it checks, why it matters and example findings.
//!
//! [`procedure`] walks every way through a procedure for each bike (`walks.rs`, built by `explore.rs`) and follows the bike's state and what
//! was seen along each way (`flow.rs`). The checks look at the result. [`bike`](fn@bike) checks a profile by itself.

mod answers;
mod bike;
mod causes;
mod cautions;
mod ear;
mod explore;
mod expressions;
mod findings;
mod flow;
mod gate;
mod healthy;
mod routes;
mod sources;
mod states;
mod walks;

pub use findings::{Reserved, Surroundings};
pub use gate::gate;

use crate::bike::{Bike, Words, as_value};
use crate::expression::Scope;
use crate::procedure::{Procedure, Step};
use crate::source::Diagnostic;
use findings::Findings;
use std::rc::Rc;

/// All that is wrong with `procedure`, in the file's order. Findings in a called procedure are not repeated here.
pub fn procedure(procedure: &Procedure, around: &Surroundings<'_>) -> Vec<Diagnostic> {
    let mut found = Findings::default();
    routes::names(procedure, around, &mut found);
    routes::checks(procedure, &mut found);
    answers::units(procedure, &mut found);
    states::tools(procedure, &mut found);
    sources::check(procedure, &mut found);
    cautions::contradictions(procedure, around, &mut found);
    answers::phrases(procedure, around.reserved, &|text| Some(text.value.clone()), None, &mut found);
    if found.has_errors() {
        return found.sorted();
    }
    routes::unreachable(procedure, &mut found);
    let called = walks::called_by(procedure, around);
    let all: Vec<&Procedure> = [procedure].into_iter().chain(called.iter().map(|each| &**each)).collect();
    let mut tried = 0;
    let mut states = states::States::default();
    let mut causes = causes::Causes::default();
    for bike in around.bikes {
        let plain = Scope::new(as_value(bike, around.words));
        if !walks::applies(procedure, &plain, &mut found) {
            continue;
        }
        tried += 1;
        let walks = come_out(all.clone(), bike, around, &mut found);
        let facts = flow::follow(&walks);
        ear::check(&walks, &mut found);
        expressions::seen(&walks, &facts, &mut found);
        healthy::check(&walks, &facts, around, &mut found);
        causes.check(&walks, around, &mut found);
        cautions::missing(&walks, &facts, &mut found);
        states.check(&walks, &facts, &mut found);
        answers::rendered_phrases(&walks, around.reserved, &mut found);
    }
    states.finish(&mut found);
    causes.finish(procedure, around, &mut found);
    if tried == 0 {
        let why = if around.bikes.is_empty() { "no bike was given" } else { "it applies to none of the bikes" };
        let message = format!("templates, limits, states and cautions were not tried: {why}");
        found.add(Diagnostic::warning(&procedure.place, "not-tried", message).help("Give a bike's file with --bike."));
    }
    found.sorted()
}

/// The walks of the procedures on a bike, and what in them does not come out for it: texts, limits, parts, ways out.
fn come_out<'p>(
    all: Vec<&'p Procedure>,
    bike: &'p Bike,
    around: &Surroundings<'_>,
    found: &mut Findings,
) -> walks::Walks<'p> {
    let walks = explore::explore(all, bike, around, found);
    expressions::render_all(&walks, found);
    answers::limits(&walks, found);
    routes::ways_out(&walks, found);
    healthy::condemned(&walks, found);
    walks
}

/// What would end a walk of `procedure` on `bike` in the middle. The rest that [`procedure`] finds is the author's affair and takes many times
/// as long.
fn fit(procedure: &Procedure, bike: &Bike, around: &Surroundings<'_>) -> Vec<Diagnostic> {
    let mut found = Findings::default();
    routes::names(procedure, around, &mut found);
    if !found.has_errors() {
        let called = walks::called_by(procedure, around);
        come_out([procedure].into_iter().chain(called.iter().map(|each| &**each)).collect(), bike, around, &mut found);
    }
    found.sorted()
}

/// All that is wrong with `bike`, in the file's order.
pub fn bike(bike: &Bike) -> Vec<Diagnostic> {
    let mut found = Findings::default();
    bike::check(bike, &mut found);
    found.sorted()
}

/// A step that can be come to, and what its templates and expressions can name there.
pub struct Stop<'p> {
    /// The procedure it stands in.
    pub procedure: &'p Procedure,
    /// The step.
    pub step: &'p Step,
    /// The bike, the items of the loops at hand, and samples of everything that could have been seen.
    pub scope: Rc<Scope>,
}

/// Every step that can be come to on `bike`, in each round of its loops, in no order that matters. `procedures[0]` is walked; the
/// others are those that it calls.
pub fn stops<'p>(procedures: Vec<&'p Procedure>, bike: &'p Bike, words: &dyn Words) -> Vec<Stop<'p>> {
    let around = Surroundings { bikes: &[], called: &|_| None, library: &[], reserved: &[], words, faults: None };
    let walks = explore::explore(procedures, bike, &around, &mut Findings::default());
    let stop = |node: &walks::Node<'p>| Stop {
        procedure: walks.procedures[node.at.procedure],
        step: node.step,
        scope: node.scope.clone(),
    };
    walks.nodes.iter().filter(|node| !node.left_out).map(stop).collect()
}
