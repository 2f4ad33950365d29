//! Steps with no way out, and circles of steps that no answer leaves.
//!
//! Why: a walk must come to a conclusion; who can only leave by giving up was led in a circle.
//!
//! Example: `clean` leads to `measure`, and every band of `measure` leads to `clean`.
//!
//! Answers and steps left out count as ways; leaving a check untested does not.

use super::Findings;
use super::walks::{Edge, To, Via, Walks};
use crate::source::Diagnostic;
use std::collections::BTreeSet;

pub(super) fn check(walks: &Walks<'_>, found: &mut Findings) {
    let count = walks.nodes.len();
    let mut before: Vec<Vec<usize>> = vec![Vec::new(); count];
    let mut leads_out = vec![false; count];
    let mut waiting = Vec::new();
    for (from, node) in walks.nodes.iter().enumerate() {
        for edge in node.edges.iter().filter(|edge| edge.via != Via::Untested) {
            match edge.to {
                To::Node(to) => before[to].push(from),
                To::End if !leads_out[from] => {
                    leads_out[from] = true;
                    waiting.push(from);
                }
                To::End => {}
            }
        }
    }
    while let Some(to) = waiting.pop() {
        for &from in &before[to] {
            if !leads_out[from] {
                leads_out[from] = true;
                waiting.push(from);
            }
        }
    }
    let mut told: BTreeSet<usize> = BTreeSet::new();
    for (number, node) in walks.nodes.iter().enumerate() {
        if leads_out[number] || node.at.procedure != 0 || told.contains(&number) {
            continue;
        }
        let circle = circle_from(walks, number);
        told.extend(&circle);
        let ordinary = |edge: &&Edge| edge.via != Via::Untested;
        let stays = node.edges.iter().filter(ordinary).all(|edge| edge.to == To::Node(number));
        let id = node.step.id.as_str();
        let finding = match stays {
            true => {
                Diagnostic::error(&node.step.id.place, "no-way-out", format!("no answer leads out of the step `{id}`"))
                    .help("Let an answer lead to another step or to a conclusion.")
            }
            false => {
                let steps: BTreeSet<&str> = circle.iter().map(|n| walks.nodes[*n].step.id.as_str()).collect();
                let names: Vec<String> = steps.iter().map(|step| format!("`{step}`")).collect();
                let message =
                    format!("from the step `{id}` the answers lead in a circle for ever: {}", names.join(", "));
                Diagnostic::error(&node.step.id.place, "endless", message).help("Let some answer lead to a conclusion.")
            }
        };
        found.add(finding);
    }
}

fn circle_from(walks: &Walks<'_>, start: usize) -> BTreeSet<usize> {
    let mut circle = BTreeSet::from([start]);
    let mut waiting = vec![start];
    while let Some(from) = waiting.pop() {
        for edge in walks.nodes[from].edges.iter().filter(|edge| edge.via != Via::Untested) {
            if let To::Node(to) = edge.to
                && circle.insert(to)
            {
                waiting.push(to);
            }
        }
    }
    circle
}
