//! Everything that can be wrong with a procedure or a bike that reads well: one check, one file. Each file opens with what it
//! does, why, and an example.
//!
//! [`procedure`] walks every way through a procedure for each bike (`walks.rs`) and follows on them what the bike's state can be
//! and what was said (`flow.rs`); the checks look at that.

mod answers;
mod bike_ids;
mod bike_switches;
mod bike_wires;
mod cautions;
mod contradictions;
mod ear;
mod ear_actions;
mod ear_sides;
mod ear_words;
mod explore;
mod feed;
mod findings;
mod flow;
mod frame;
mod healthy;
mod limits;
mod parts;
mod prompts;
mod reach;
mod renders;
mod seen;
mod sources;
mod states;
mod surroundings;
mod targets;
mod tools;
mod units;
mod walks;
mod way_out;

pub use surroundings::{Reserved, Surroundings};

use crate::bike::{Bike, Words, as_value};
use crate::procedure::{Procedure, Scope, Step};
use crate::source::Diagnostic;
use findings::Findings;
use std::rc::Rc;

/// All that is wrong with `procedure`, in the file's order. Findings in a called procedure are not repeated here.
pub fn procedure(procedure: &Procedure, around: &Surroundings<'_>) -> Vec<Diagnostic> {
    let mut found = Findings::default();
    targets::check(procedure, around, &mut found);
    parts::check(procedure, &mut found);
    units::check(procedure, &mut found);
    tools::check(procedure, &mut found);
    sources::check(procedure, &mut found);
    contradictions::check(procedure, around, &mut found);
    answers::check(procedure, around.reserved, &|text| Some(text.value.clone()), None, &mut found);
    if found.has_errors() {
        return found.sorted();
    }
    reach::check(procedure, &mut found);
    let called = walks::called_by(procedure, around);
    let all: Vec<&Procedure> = [procedure].into_iter().chain(called.iter().map(|each| &**each)).collect();
    let mut tried = 0;
    let mut states = states::States::default();
    for bike in around.bikes {
        let plain = Scope::new(as_value(bike, around.words));
        if !walks::applies(procedure, &plain, &mut found) {
            continue;
        }
        tried += 1;
        let walks = explore::explore(all.clone(), bike, around, &mut found);
        let facts = flow::follow(&walks);
        renders::check(&walks, &mut found);
        limits::check(&walks, &mut found);
        prompts::check(&walks, &mut found);
        ear_actions::check(&walks, &mut found);
        ear_sides::check(&walks, &mut found);
        ear_words::check(&walks, &mut found);
        way_out::check(&walks, &mut found);
        seen::check(&walks, &facts, &mut found);
        healthy::check(&walks, &facts, around, &mut found);
        cautions::check(&walks, &facts, &mut found);
        states.check(&walks, &facts, &mut found);
        answers::check_rendered(&walks, around.reserved, &mut found);
    }
    states.finish(&mut found);
    if tried == 0 {
        let why = if around.bikes.is_empty() { "no bike was given" } else { "it applies to none of the bikes" };
        let message = format!("templates, limits, states and cautions were not tried: {why}");
        found.add(Diagnostic::warning(&procedure.place, "not-tried", message).help("Give a bike's file with --bike."));
    }
    found.sorted()
}

/// All that is wrong with `bike`, in the file's order.
pub fn bike(bike: &Bike) -> Vec<Diagnostic> {
    let mut found = Findings::default();
    bike_ids::check(bike, &mut found);
    bike_wires::check(bike, &mut found);
    bike_switches::check(bike, &mut found);
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
