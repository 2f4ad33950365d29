//! Checks every step against the circuit of a healthy bike: its answer must not be marked bad. Also checks that looks, faults and condemned
//! parts exist.
//!
//! Why it matters: a limit that no sound bike keeps, or a lamp expected to be lit where the circuit leaves it dark, sends the mechanic after a
//! fault that is not there.
//!
//! Example findings:
//! - ``a healthy Borage Twin gives the answer `lit` at `touch`, which is written as bad``
//! - ``the fault library `ignition` has no look `cams` ``
//!
//! A step without a good answer is for a bike known to be at fault; it is skipped.

use super::findings::{Findings, Surroundings};
use super::flow::Facts;
use super::walks::{Node, Walks};
use crate::bike::{BikeState, as_value};
use crate::circuit::faults::Library;
use crate::circuit::{Expected, Model, Question, Subject};
use crate::expression::{Scope, Template, render_names};
use crate::procedure::{Ask, Meaning, Observe};
use crate::source::shape::suggestion;
use crate::source::{Diagnostic, Place};
use std::collections::BTreeSet;

/// Parts that a conclusion condemns and the bike has not.
pub(super) fn condemned(walks: &Walks<'_>, found: &mut Findings) {
    let parts = walks.bike.fault_places();
    for end in walks.concluded.iter().filter(|end| end.procedure == 0) {
        for text in &end.conclusion.condemns {
            known_parts(text, render_names(std::slice::from_ref(text), &end.scope), &parts, walks, found);
        }
    }
}

pub(super) fn check(walks: &Walks<'_>, facts: &[Facts], around: &Surroundings<'_>, found: &mut Findings) {
    let Some(library) = around.faults else { return };
    let procedure = walks.procedures[0];
    for text in procedure.covers.iter().flatten() {
        let names = render_names(std::slice::from_ref(text), &Scope::new(as_value(walks.bike, around.words)));
        for name in names.unwrap_or_default() {
            if !library.has_kind(name.split([':', '@']).next().unwrap_or(&name)) {
                let message = format!("the fault library `{}` has no kind `{name}`", *library.name);
                found.add(
                    Diagnostic::error(&text.place, "unknown-fault", message)
                        .help("Name KIND, KIND:PLACE or KIND@SEVERITY."),
                );
            }
        }
    }
    let subject = Subject::new(&Model::new(walks.bike), library, &[], &BTreeSet::new());
    for (node, facts) in walks.nodes.iter().zip(facts) {
        if node.at.procedure == 0 && !node.left_out {
            known_look(node, library, found);
            step(node, facts, &subject, walks, found);
        }
    }
}

fn known_parts(
    text: &Template,
    names: Result<Vec<String>, Diagnostic>,
    parts: &BTreeSet<String>,
    walks: &Walks<'_>,
    found: &mut Findings,
) {
    for name in names.unwrap_or_default().iter().filter(|name| !parts.contains(*name)) {
        let known: Vec<&str> = parts.iter().map(String::as_str).collect();
        let message = format!("the {} has no part `{name}`", walks.bike.name);
        found.add(Diagnostic::error(&text.place, "unknown-part", message).help(suggestion(name, &known)));
    }
}

fn known_look(node: &Node<'_>, library: &Library, found: &mut Findings) {
    if let Some(Observe::Look { look, .. }) = &node.step.observe
        && !library.looks.contains_key(look.as_str())
    {
        let known: Vec<&str> = library.looks.keys().map(String::as_str).collect();
        let message = format!("the fault library `{}` has no look `{}`", *library.name, **look);
        found.add(Diagnostic::error(&look.place, "unknown-look", message).help(suggestion(look, &known)));
    }
}

fn step(node: &Node<'_>, facts: &Facts, subject: &Subject<'_>, walks: &Walks<'_>, found: &mut Findings) {
    let written = written(&node.step.ask);
    if !written.iter().any(|(_, means, _)| *means == Meaning::Good) {
        return;
    }
    let Ok(question) = Question::new(node.step, &node.scope) else { return };
    // Some ways may leave a thing apart or fitted and others not. The step is wrong only if it is wrong in both cases.
    let mut told = None;
    for apart in [false, true] {
        let state: BikeState = facts.known(apart).after(&node.need);
        let (answer, typical) = match subject.answer(&question, &state, 0) {
            Ok(Expected::Choices(choices)) => (choices.first().cloned(), String::new()),
            Ok(Expected::Reading(reading)) if reading.not_valid.is_none() => {
                let typical = reading.typical.map(|value| format!(", {value}")).unwrap_or_default();
                (reading.bands.first().cloned(), typical)
            }
            _ => return,
        };
        let Some(answer) = answer else { return };
        match written.iter().find(|(id, ..)| *id == answer) {
            Some((_, Meaning::Bad, place)) => told = Some((answer, typical, *place)),
            _ => return,
        }
    }
    if let Some((answer, typical, place)) = told {
        let message = format!(
            "a healthy {} gives the answer `{answer}`{typical} at `{}`, which is written as bad",
            walks.bike.name, *node.step.id
        );
        let help = "Are the leads, the switches and the limits right? The circuit reads the step's state.";
        found.add(Diagnostic::error(place, "healthy-answer", message).help(help));
    }
}

/// The answers or bands of a step: id, meaning and place.
fn written(ask: &Ask) -> Vec<(&str, Meaning, &Place)> {
    match ask {
        Ask::Choice(choices) | Ask::Watch { choices, .. } => {
            choices.iter().map(|choice| (choice.id.as_str(), choice.means, &choice.id.place)).collect()
        }
        Ask::Reading(reading) => {
            reading.bands.iter().map(|band| (band.id.as_str(), band.means, &band.id.place)).collect()
        }
        Ask::Done(_) | Ask::Note(_) => Vec::new(),
    }
}
