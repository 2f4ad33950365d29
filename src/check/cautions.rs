//! States that can hurt, with no caution before them.
//!
//! Why: the caution belongs before the step, acknowledged, on every way that leads to it.
//!
//! Example: `engine: kicked` with the key on, and no caution about high voltage on the way from `start`.
//!
//! Which states call for which caution: common practice, no source.

use super::Findings;
use super::feed;
use super::flow::{Fact, Facts, OUT};
use super::walks::{Node, Walks};
use crate::bike::{Bike, Engine, InstrumentKind, PointsAt};
use crate::procedure::Hazard;
use crate::source::Diagnostic;
use std::collections::BTreeMap;

pub(super) fn check(walks: &Walks<'_>, facts: &[Facts], found: &mut Findings) {
    for (node, facts) in walks.nodes.iter().zip(facts) {
        if node.at.procedure != 0 || node.left_out {
            continue;
        }
        let given = |hazard: &Hazard| node.cautioned.contains(hazard) || facts.cautioned.contains(hazard);
        let missing: BTreeMap<Hazard, &str> =
            called_for(node, facts, walks.bike).into_iter().filter(|(hazard, _)| !given(hazard)).collect();
        if missing.is_empty() {
            continue;
        }
        let why: Vec<&str> = missing.values().copied().collect::<std::collections::BTreeSet<_>>().into_iter().collect();
        let names: Vec<&str> = missing.keys().map(|hazard| hazard.name()).collect();
        let message = format!(
            "at `{}` {}, and a way leads here without a caution about {}",
            *node.step.id,
            why.join(" and "),
            names.join(", ")
        );
        let covering = walks.procedure().cautions.iter().filter(|c| c.hazards.iter().any(|h| missing.contains_key(h)));
        let covering: Vec<String> = covering.map(|caution| format!("`{}`", *caution.id)).collect();
        let help = match covering.as_slice() {
            [] => "Write a caution with these hazards and give it at this step.".to_owned(),
            some => format!("Give it at this step with `caution:`; there is {}.", some.join(", ")),
        };
        found.add(Diagnostic::error(&node.step.id.place, "no-caution", message).help(help));
    }
}

fn called_for(node: &Node<'_>, facts: &Facts, bike: &Bike) -> BTreeMap<Hazard, &'static str> {
    let need = &node.need;
    let after = facts.after(need);
    let mut hazards = BTreeMap::new();
    let mut call = |hazard: Hazard, why: &'static str| {
        hazards.entry(hazard).or_insert(why);
    };
    let live_key = bike.key.positions.iter().filter(|position| position.connects);
    let key_on = live_key.into_iter().any(|position| after.may_be(&Fact::Switch("key".to_owned()), &position.name));
    let engine = need.engine;
    let tester = need.instrument.as_ref().is_some_and(|tool| tool.kind == InstrumentKind::SparkTester);
    if key_on && tester {
        call(Hazard::HighVoltage, "a spark tester is used with the key on");
        call(Hazard::FuelVapour, "a spark tester is used with the key on");
    }
    if key_on && matches!(engine, Some(Engine::Kicked | Engine::Running)) {
        call(Hazard::HighVoltage, "the engine is kicked with the key on");
        call(Hazard::FuelVapour, "the engine is kicked with the key on");
    }
    let key_is_set = need.switches.contains_key("key");
    let jumper = |name: &str| name.contains("jumper");
    let jumper_on = need.fitted.keys().any(|name| jumper(name)) || (key_is_set && after.may_be_fitted().any(jumper));
    if key_on && jumper_on {
        call(Hazard::ShortCircuit, "a jumper is fitted with the key on");
    }
    if matches!(engine, Some(Engine::Turned | Engine::Kicked | Engine::Running)) {
        call(Hazard::MovingParts, "the engine turns");
    }
    if engine == Some(Engine::Kicked) {
        call(Hazard::Kickback, "the engine is kicked");
    }
    if engine == Some(Engine::Running) {
        call(Hazard::Exhaust, "the engine runs");
        call(Hazard::HotParts, "the engine runs");
    }
    let leads = need.instrument.iter().flat_map(|tool| [&tool.first, &tool.second]);
    if leads.chain(need.fitted.values().flatten()).any(|terminal| terminal.starts_with("battery.")) {
        call(Hazard::Battery, "something is connected to the battery");
    }
    let surely_apart = |part: &str| after.is(&Fact::Plug(part.to_owned()), OUT);
    let closed = bike.points.iter().any(|set| {
        let id = &set.id.value;
        let closed_here = need.points.get(id) == Some(&PointsAt::Closed);
        let closed_before = key_is_set && after.may_be(&Fact::Points(id.clone()), PointsAt::Closed.name());
        (closed_here || closed_before) && !surely_apart(&set.connector) && feed::reaches(bike, &set.coil, &surely_apart)
    });
    if key_on && closed {
        call(Hazard::CoilHeat, "the key is on with points closed");
    }
    hazards
}
