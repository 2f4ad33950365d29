//! Decodes the tree of a procedure into the types, after its shape was checked.

use super::{
    Ask, Band, Before, Caution, Checks, Choice, Conclusion, Condition, Hazard, Loop, Meaning, Observe, Procedure,
    ReadingAsk, Requirement, Route, SignalWord, StateTemplate, Step, Target, Works, WorksAs,
};
use crate::bike::{Engine, InstrumentKind, PointsAt};
use crate::expression::Template;
use crate::source::Written;
use crate::source::tree::Node;
use crate::units::{Quantity, Unit};

/// Words that name a target and so cannot be a step's id.
pub(super) const TARGET_WORDS: [&str; 4] = ["next", "again", "back", "return"];

/// Default working time of a step, second.
const USUAL_TIME: f64 = 40.0;
/// Default length of a step, minute.
const USUAL_MINUTES: f64 = 1.0;

pub(super) fn decode(root: &Node) -> Procedure {
    Procedure {
        id: root.text("procedure").value,
        title: root.text("title"),
        version: root.number("version").unwrap_or_default() as u32,
        language: root.text("language").value,
        opening: root.texts("opening"),
        applies: root.get("applies").map(requirements).unwrap_or_default(),
        works: root.get("works").map(Node::items).unwrap_or_default().iter().map(works).collect(),
        covers: root.get("covers").map(|_| root.texts("covers")),
        tools: root.texts("tools"),
        start: target_at(root, "start"),
        cautions: root.dict("cautions").map(|(id, of)| caution(id, of)).collect(),
        loops: root.dict("loops").map(|(id, of)| each(id, of)).collect(),
        checks: root.get("checks").map(checks),
        steps: root.dict("steps").map(|(id, of)| step(id, of)).collect(),
        conclusions: root.dict("conclusions").map(|(id, of)| conclusion(id, of)).collect(),
        escapes: root.dict("escapes").map(|(name, of)| (name.value, route(of))).collect(),
        place: root.place.clone(),
    }
}

fn requirements(of: &Node) -> Vec<Requirement> {
    match of.items() {
        [] => vec![Requirement { when: of.written(), otherwise: None }],
        several => several
            .iter()
            .map(|one| Requirement { when: one.text("when"), otherwise: one.written_at("otherwise") })
            .collect(),
    }
}

fn works(of: &Node) -> Works {
    let switches = of.dict("switches").map(|(name, at)| (name, at.written())).collect();
    let what = ["spark", "lit", "charge"].into_iter().find(|name| of.get(name).is_some()).unwrap_or("spark");
    let kind = match what {
        "lit" => WorksAs::Lit,
        "charge" => WorksAs::Charge,
        _ => WorksAs::Spark,
    };
    Works { kind, of: of.text(what), switches }
}

fn caution(id: Written<String>, of: &Node) -> Caution {
    Caution {
        id,
        signal: SignalWord::named(&of.text("signal")).unwrap_or(SignalWord::Danger),
        hazards: of.texts("hazards").iter().filter_map(|hazard| Hazard::named(hazard)).collect(),
        say: of.text("say"),
        brief: of.text("brief"),
        source: of.written_at("source"),
    }
}

fn each(id: Written<String>, of: &Node) -> Loop {
    Loop { id, over: of.text("over"), bind: of.text("bind"), first: of.text("first"), then: route_at(of, "then") }
}

fn checks(of: &Node) -> Checks {
    let before = |one: &Node| Before {
        instruments: one.texts("instruments").iter().filter_map(|kind| InstrumentKind::named(kind)).collect(),
        step: one.text("step"),
    };
    Checks {
        from: of.text("from"),
        before: of.get("before").map(Node::items).unwrap_or_default().iter().map(before).collect(),
        beside: of.get("beside").map(Node::items).unwrap_or_default().iter().map(target).collect(),
        conclude: of.text("conclude"),
        needs: of.texts("needs"),
        unshown: of.written_at("unshown"),
    }
}

fn target(of: &Node) -> Target {
    let place = || of.place.clone();
    if let Some(id) = of.written_at("each") {
        Target::Each(id)
    } else if let Some(id) = of.written_at("conclude") {
        Target::Conclude(id)
    } else if let Some(procedure) = of.written_at("call") {
        Target::Call { procedure, then: Box::new(target_at(of, "then")) }
    } else {
        match TARGET_WORDS.iter().position(|word| *word == of.spelling) {
            Some(0) => Target::Next(place()),
            Some(1) => Target::Again(place()),
            Some(2) => Target::Back(place()),
            Some(_) => Target::Return(place()),
            None => Target::Step(of.written()),
        }
    }
}

fn target_at(of: &Node, name: &str) -> Target {
    of.get(name).map_or_else(|| Target::Step(of.text(name)), target)
}

fn route(of: &Node) -> Route {
    match of.items() {
        [] => Route(vec![Condition { when: None, to: target(of) }]),
        conditions => Route(
            conditions
                .iter()
                .map(|condition| Condition { when: condition.written_at("when"), to: target_at(condition, "to") })
                .collect(),
        ),
    }
}

fn route_at(of: &Node, name: &str) -> Route {
    of.get(name).map_or_else(|| Route(vec![Condition { when: None, to: target_at(of, name) }]), route)
}

fn means(of: &Node) -> Meaning {
    Meaning::named(&of.text("means")).unwrap_or(Meaning::Neither)
}

fn step(id: Written<String>, of: &Node) -> Step {
    Step {
        id,
        say: of.text("say"),
        brief: of.written_at("brief"),
        more: of.text("more"),
        cautions: of.texts("caution"),
        state: of.get("state").map(state).unwrap_or_default(),
        assumes: of.get("assumes").map(state).unwrap_or_default(),
        when: of.written_at("when"),
        otherwise: of.get("otherwise").map(route),
        observe: of.get("observe").map(observe),
        mends: of.texts("mends"),
        ask: ask(of.get("ask").unwrap_or(of)),
        time: of.number("time").unwrap_or(USUAL_TIME),
        minutes: of.number("minutes").unwrap_or(USUAL_MINUTES),
        untested: route_at(of, "untested"),
        source: of.written_at("source"),
    }
}

fn observe(of: &Node) -> Observe {
    if let Some(look) = of.written_at("look") {
        let at = of.get("at").map_or_else(Vec::new, |at| match at.items() {
            [] => vec![at.written()],
            several => several.iter().map(Node::written).collect(),
        });
        Observe::Look { look, at }
    } else if let Some(switch) = of.written_at("sweep") {
        Observe::Sweep(switch)
    } else if let Some(set) = of.written_at("flick") {
        Observe::Flick(set)
    } else if let Some(bulb) = of.written_at("lit") {
        Observe::Lit(bulb)
    } else if of.get("move").is_some() {
        Observe::Move(of.texts("move"))
    } else {
        Observe::Complaint(of.place.clone())
    }
}

fn ask(of: &Node) -> Ask {
    if let Some(watch) = of.get("watch") {
        Ask::Watch { choices: choices(watch), within: watch.number("within").unwrap_or(USUAL_TIME) }
    } else if let Some(of) = of.get("reading") {
        Ask::Reading(Box::new(reading(of)))
    } else if of.get("done").is_some() {
        Ask::Done(route_at(of, "done"))
    } else if of.get("note").is_some() {
        Ask::Note(route_at(of, "note"))
    } else {
        Ask::Choice(choices(of))
    }
}

fn choices(of: &Node) -> Vec<Choice> {
    let choice = |(id, of): (Written<String>, &Node)| Choice {
        id,
        phrases: of.texts("phrases"),
        ask_back: of.texts("ask-back"),
        echo: of.text("echo"),
        means: means(of),
        shows: of.texts("shows"),
        doubt: of.get("doubt").map(target),
        go: route_at(of, "go"),
    };
    of.dict("choice").map(choice).collect()
}

fn reading(of: &Node) -> ReadingAsk {
    let mut plausible = of.texts("plausible").into_iter();
    let mut limit = || plausible.next().unwrap_or_else(|| of.text("plausible"));
    ReadingAsk {
        name: of.text("name"),
        quantity: Quantity::named(&of.text("quantity")).unwrap_or(Quantity::Count),
        unit: Unit::named(&of.text("unit")).unwrap_or(Unit::One),
        low: limit(),
        high: limit(),
        resolution: of.number("resolution").unwrap_or(1.0),
        bands: of.get("bands").map(Node::items).unwrap_or_default().iter().map(band).collect(),
        over_range: of.get("over-range").map(route),
        source: of.text("source"),
    }
}

fn band(of: &Node) -> Band {
    Band {
        id: of.text("id"),
        from: of.written_at("from"),
        below: of.written_at("below"),
        means: means(of),
        say: of.written_at("say"),
        doubt: of.get("doubt").map(target),
        go: route_at(of, "go"),
    }
}

fn state(of: &Node) -> StateTemplate {
    let pair = |of: &Node| -> [Template; 2] {
        let mut leads = of.items().iter().map(Node::written);
        let mut lead = || leads.next().unwrap_or_else(|| of.written());
        [lead(), lead()]
    };
    let instrument = of.dict("instrument").next().and_then(|(kind, leads)| {
        let [first, second] = pair(leads);
        Some((InstrumentKind::named(&kind)?, first, second))
    });
    StateTemplate {
        switches: of.dict("switches").map(|(name, position)| (name, position.written())).collect(),
        unplug: of.texts("unplug"),
        plug_in: of.texts("plug-in"),
        points: of.dict("points").filter_map(|(set, at)| Some((set, PointsAt::named(&at.spelling)?))).collect(),
        engine: of.written_at("engine").and_then(|engine| Engine::named(&engine)),
        crank: of.written_at("crank"),
        fit: of.dict("fit").map(|(name, between)| (name, pair(between))).collect(),
        remove: of.texts("remove"),
        instrument,
        lay_down: of.truth("lay-down"),
        place: Some(of.place.clone()),
    }
}

fn conclusion(id: Written<String>, of: &Node) -> Conclusion {
    Conclusion {
        id,
        cause: of.text("cause"),
        remedy: of.text("remedy"),
        condemns: of.texts("condemns"),
        means: of.texts("means"),
        rules_out: of.texts("rules-out"),
        not_tested: of.texts("not-tested"),
        recheck: of.texts("recheck"),
        cautions: of.texts("caution"),
        is_final: of.truth("final"),
        source: of.written_at("source"),
        healthy: of.truth("healthy"),
    }
}
