//! Checks cautions: states that can hurt without a caution before them, and cautions that their own steps or other procedures contradict.
//!
//! Why it matters: a caution belongs before the step, acknowledged, on every way that leads there. A warning about something that is not there
//! teaches people not to listen, and a step that calls for what a caution forbids undoes it.
//!
//! Example findings:
//! - ``at `kick` the engine is kicked with the key on, and a way leads here without a caution about high-voltage``
//! - ``the caution `strobe` warns of a strobe, and no step that it stands before uses one or lists it as a tool``
//! - ``` `coil-warm` calls for a hair dryer, and the caution `heat` of `coil-heat` forbids it ```
//!
//! Which state calls for which caution is common practice, no source. Contradictions are found in words, not in meanings: the vocabulary lists
//! the things that a caution may warn of (`writing: things`), those that are forbidden everywhere once a caution forbids them (`writing: bans`),
//! and the words that forbid what follows them in a clause (`writing: forbids`). A thing under another name, or on neither list, is missed.

use super::ear::words_for;
use super::findings::{Findings, Surroundings};
use super::flow::{Fact, Facts, OUT};
use super::walks::{Node, Walks};
use crate::bike::{Bike, Engine, InstrumentKind, PointsAt};
use crate::expression::Template;
use crate::phrase::Named;
use crate::procedure::{Ask, Caution, Hazard, Procedure, Step};
use crate::source::Diagnostic;
use std::collections::BTreeMap;

/// States that can hurt, on a way without the caution that they call for.
pub(super) fn missing(walks: &Walks<'_>, facts: &[Facts], found: &mut Findings) {
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
    let key = bike.switch("key");
    let live_key = key.into_iter().flat_map(|key| &key.positions).filter(|position| position.works);
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
    let is_moved =
        |(set, at): (&String, &PointsAt)| *at != PointsAt::Turning && !facts.is(&Fact::Points(set.clone()), at.name());
    if need.points.iter().any(is_moved) {
        call(Hazard::MovingParts, "the engine is turned until the points stand as they must");
    }
    if engine == Some(Engine::Kicked) {
        call(Hazard::Kickback, "the engine is kicked");
    }
    if engine == Some(Engine::Running) {
        call(Hazard::Exhaust, "the engine runs");
        call(Hazard::HotParts, "the engine runs");
    }
    let leads = need.instrument.iter().flat_map(|tool| [&tool.first, &tool.second]);
    if leads
        .chain(need.fitted.values().flatten())
        .any(|terminal| bike.battery.as_ref().is_some_and(|ends| ends.contains(terminal)))
    {
        call(Hazard::Battery, "something is connected to the battery");
    }
    let surely_apart = |part: &str| after.is(&Fact::Plug(part.to_owned()), OUT);
    let closed = bike.points.iter().any(|set| {
        let id = &set.id;
        let closed_here = need.points.get(id) == Some(&PointsAt::Closed);
        let closed_before = key_is_set && after.may_be(&Fact::Points(id.clone()), PointsAt::Closed.name());
        (closed_here || closed_before)
            && !set.connector.as_ref().is_some_and(|connector| surely_apart(connector))
            && bike.is_fed(&set.coil, &surely_apart)
    });
    if key_on && closed {
        call(Hazard::CoilHeat, "the key is on with points closed");
    }
    hazards
}

/// Cautions that steps contradict.
pub(super) fn contradictions(procedure: &Procedure, around: &Surroundings<'_>, found: &mut Findings) {
    let Some(words) = words_for(procedure) else { return };
    let named = |text: &str| words.things_named_in(text);
    for caution in &procedure.cautions {
        let before: Vec<&Step> =
            procedure.steps.iter().filter(|step| step.cautions.iter().any(|id| **id == *caution.id)).collect();
        let ends = procedure.conclusions.iter().filter(|end| end.cautions.iter().any(|id| **id == *caution.id));
        let remedies: Vec<&Template> = ends.map(|end| &end.remedy).collect();
        if before.is_empty() && remedies.is_empty() {
            continue;
        }
        let tools = procedure.tools.iter().flat_map(|tool| named(tool));
        let told = before.iter().flat_map(|step| texts(step)).chain(remedies).flat_map(|text| named(&text.value));
        let fitted = before.iter().flat_map(|step| &step.state.fit).flat_map(|(name, _)| named(&name.value));
        let used: Vec<String> = tools.chain(told).chain(fitted).map(|named| named.thing).collect();
        for Named { thing, forbidden, .. } in spoken(caution).flat_map(|text| named(&text.value)) {
            if !forbidden && !used.contains(&thing) {
                let message = format!(
                    "the caution `{}` warns of a {thing}, and no step that it stands before uses one or lists it as a tool",
                    *caution.id
                );
                let help = "Warn of what is there, or list the thing under `tools`.";
                found.add(Diagnostic::error(&caution.say.place, "caution-of-nothing", message).help(help));
                break;
            }
        }
    }
    let mut bans: BTreeMap<String, String> = BTreeMap::new();
    let library = around.library.iter().map(|beside| &**beside);
    for owner in [procedure].into_iter().chain(library.filter(|beside| beside.language == procedure.language)) {
        for caution in &owner.cautions {
            for Named { thing, forbidden, banned } in spoken(caution).flat_map(|text| named(&text.value)) {
                if forbidden && banned {
                    bans.entry(thing).or_insert_with(|| format!("`{}` of `{}`", *caution.id, owner.id));
                }
            }
        }
    }
    let ends = procedure.conclusions.iter().map(|end| (&end.id, &end.remedy));
    let steps = procedure.steps.iter().flat_map(|step| texts(step).map(move |text| (&step.id, text)));
    for (id, text) in steps.chain(ends) {
        for Named { thing, forbidden, .. } in named(&text.value) {
            if let Some(caution) = bans.get(&thing).filter(|_| !forbidden) {
                let message = format!("`{}` calls for a {thing}, and the caution {caution} forbids it", **id);
                let help = "Say another way of doing it, or forbid it here as well.";
                found.add(Diagnostic::error(&text.place, "forbidden-elsewhere", message).help(help));
            }
        }
    }
}

fn spoken(caution: &Caution) -> impl Iterator<Item = &Template> {
    [&caution.say, &caution.brief].into_iter()
}

/// What a step tells to do.
fn texts(step: &Step) -> impl Iterator<Item = &Template> {
    let choices = match &step.ask {
        Ask::Choice(choices) | Ask::Watch { choices, .. } => &choices[..],
        Ask::Reading(_) | Ask::Done(_) | Ask::Note(_) => &[],
    };
    let echoes = choices.iter().map(|choice| &choice.echo);
    [&step.say, &step.more].into_iter().chain(&step.brief).chain(echoes)
}
