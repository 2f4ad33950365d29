//! Checks the state of the bike that steps ask for: states that the steps before cannot have left, and instruments that `tools` does not list.
//!
//! Why it matters: the next reading relies on "the connector is apart"; if one way leads there with the connector together, the reading means
//! something else. A mechanic who starts without the spark tester finds out halfway, with greasy hands.
//!
//! Example findings:
//! - ``` `coil-ohms` assumes that main is unplugged, which does not hold on the way from `feed` ```
//! - ``` `tidy-up` removes the jumper, which no step before it fits ```
//! - ``the step `gap` uses a feeler gauge and `tools` names none``
//!
//! [`tools`] looks for English words, so it passes over procedures in other languages.

use super::findings::Findings;
use super::flow::{Fact, Facts, OUT, asked_for};
use super::walks::{To, Via, Walks};
use crate::bike::InstrumentKind;
use crate::expression::Template;
use crate::procedure::Procedure;
use crate::source::Diagnostic;
use std::collections::BTreeMap;

/// Parts that some step plugs in or removes, and whether any way on any bike can have left them apart or fitted.
#[derive(Default)]
pub(super) struct States {
    undone: BTreeMap<(String, &'static str), (Diagnostic, bool)>,
}

impl States {
    pub(super) fn check(&mut self, walks: &Walks<'_>, facts: &[Facts], found: &mut Findings) {
        for (number, (node, facts_here)) in walks.nodes.iter().zip(facts).enumerate() {
            if node.at.procedure != 0 || node.left_out {
                continue;
            }
            for (fact, value) in asked_for(&node.assumes) {
                if !facts_here.is(&fact, &value) {
                    let from = way_without(walks, facts, number, &fact, &value);
                    let message = format!(
                        "`{}` assumes that {}, which does not hold on the way from {from}",
                        *node.step.id,
                        words(&fact, &value)
                    );
                    let help = "Ask for it with `state:` here, or on that way.";
                    let place = node.step.assumes.place.as_ref().unwrap_or(&node.step.id.place);
                    found.add(Diagnostic::error(place, "not-left-so", message).help(help));
                }
            }
            let state = &node.step.state;
            for part in &state.plug_in {
                let render = |part: &Template| crate::expression::render(part, &node.scope).ok();
                let Some(id) = render(part).filter(|id| !id.is_empty()) else { continue };
                let may = facts_here.may_be(&Fact::Plug(id.clone()), OUT);
                let message = format!("`{}` plugs in {id}, which no step before it unplugs", *node.step.id);
                self.note(part, "plug-in", may, Diagnostic::warning(&part.place, "nothing-to-undo", message));
            }
            for name in &state.remove {
                let rendered = crate::expression::render(name, &node.scope).ok();
                let Some(id) = rendered.filter(|id| !id.is_empty()) else { continue };
                let may = facts_here.may_be_fitted().any(|fitted| fitted == id);
                let message = format!("`{}` removes the {id}, which no step before it fits", *node.step.id);
                self.note(name, "remove", may, Diagnostic::error(&name.place, "nothing-to-undo", message));
            }
        }
    }

    fn note(&mut self, what: &Template, kind: &'static str, may: bool, finding: Diagnostic) {
        let finding = finding.help("Is the name the same as where it was taken apart or fitted?");
        let entry = self.undone.entry((what.place.to_string(), kind)).or_insert((finding, false));
        entry.1 |= may;
    }

    /// Reports parts that no way on any bike can have left apart or fitted.
    pub(super) fn finish(self, found: &mut Findings) {
        self.undone.into_values().filter(|(_, may)| !may).for_each(|(finding, _)| found.add(finding));
    }
}

/// A step from which a way leads to node `to` where `fact` is not `value`.
fn way_without(walks: &Walks<'_>, facts: &[Facts], to: usize, fact: &Fact, value: &str) -> String {
    for (from, node) in walks.nodes.iter().enumerate() {
        for edge in node.edges.iter().filter(|edge| edge.to == To::Node(to)) {
            let holds = match edge.via {
                Via::LeftOut => facts[from].is(fact, value),
                Via::Answer(_) | Via::Doubted => facts[from].after(&node.need).is(fact, value),
                Via::Untested => facts[from].is(fact, value) && facts[from].after(&node.need).is(fact, value),
            };
            if !holds {
                return format!("`{}`", *node.step.id);
            }
        }
    }
    "the start".to_owned()
}

fn words(fact: &Fact, value: &str) -> String {
    match fact {
        Fact::Switch(name) => format!("the {name} switch is at {value}"),
        Fact::Plug(id) => format!("{id} is {}", if value == OUT { "unplugged" } else { "plugged in" }),
        Fact::Points(set) => format!("the points {set} are {value}"),
        Fact::Fitted(name) if value == OUT => format!("the {name} is off"),
        Fact::Fitted(name) => format!("the {name} joins {value}"),
        Fact::Instrument if value == OUT => "the instrument is laid down".to_owned(),
        Fact::Instrument => format!("the instrument is the {value}"),
        Fact::Engine => format!("the engine is {value}"),
    }
}

/// Words of which one must stand in `tools`.
fn tool_words(kind: InstrumentKind) -> &'static [&'static str] {
    match kind {
        InstrumentKind::Lamp => &["test lamp", "lamp"],
        InstrumentKind::Voltmeter => &["voltmeter", "multimeter"],
        InstrumentKind::Ohmmeter => &["ohmmeter", "multimeter"],
        InstrumentKind::Ammeter => &["ammeter", "multimeter"],
        InstrumentKind::Feeler => &["feeler gauge", "feeler"],
        InstrumentKind::SparkTester => &["spark tester"],
    }
}

pub(super) fn tools(procedure: &Procedure, found: &mut Findings) {
    if procedure.language != "en" && !procedure.language.starts_with("en-") {
        return;
    }
    let tools: Vec<String> = procedure.tools.iter().map(|tool| tool.to_lowercase()).collect();
    let named = |words: &[&str]| tools.iter().any(|tool| words.iter().any(|word| tool.contains(word)));
    for step in &procedure.steps {
        if let Some((kind, first, _)) = &step.state.instrument
            && !named(tool_words(*kind))
        {
            let message = format!("the step `{}` uses a {} and `tools` names none", *step.id, tool_words(*kind)[0]);
            found.add(Diagnostic::error(&first.place, "tool", message).help("Add it to `tools`."));
        }
        for (name, _) in &step.state.fit {
            let word = name.split('-').next_back().unwrap_or(name).to_lowercase();
            if !named(&[word.as_str()]) {
                let message = format!("the step `{}` fits a {} and `tools` names none", *step.id, **name);
                found.add(Diagnostic::error(&name.place, "tool", message).help("Add it to `tools`."));
            }
        }
    }
}
