//! The path through the tree as pictures: every check in order, the answer on the arrow, and beside it the other answers and where they
//! would have led. Split into parts, so that none is torn apart in print.

use super::checks::Check;
use super::titles::cut;
use crate::procedure::{Ask, Procedure, Route, draw};
use crate::review::Review;
use draw::{Chart, Label, Node, Shape, Tone};
use std::collections::BTreeMap;

/// Checks in one picture: about as many as fit on a page.
const CHECKS: usize = 6;
/// Most other answers listed beside a check.
const ASIDES: usize = 4;
/// Longest prompt in a box, characters. The list of checks has the full prompt.
const PROMPT: usize = 90;

/// The pictures.
pub(super) fn pictures(review: &Review, checks: &[Check], procedures: &BTreeMap<String, Procedure>) -> Vec<String> {
    let parts: Vec<&[Check]> = checks.chunks(CHECKS).collect();
    let count = parts.len();
    let one = |(at, part): (usize, &&[Check])| {
        let mut chart = Chart {
            title: format!("The way taken, part {} of {count}", at + 1),
            description: "Checks from top to bottom; the arrows bear the answers. Beside each check stand the answers that were not given."
                .to_owned(),
            ..Chart::default()
        };
        let next = parts.get(at + 1).and_then(|part| part.first());
        part_of_way(&mut chart, part, next, review, procedures);
        draw::inline(chart, &format!("way-{}", at + 1))
    };
    parts.iter().enumerate().map(one).collect()
}

fn part_of_way(
    chart: &mut Chart,
    part: &[Check],
    next: Option<&Check>,
    review: &Review,
    procedures: &BTreeMap<String, Procedure>,
) {
    let mut before: Option<(usize, &Check)> = None;
    for check in part {
        let round = check.round.as_ref().map_or_else(String::new, |round| format!(", {round}"));
        let heading = format!("Check {}{round}", check.number);
        let mut node = Node::new(Shape::Step, heading, cut(&check.asked, PROMPT));
        node.hover = format!("{}: {}", check.time, check.asked);
        let at = chart.add(node);
        if let Some((from, earlier)) = before {
            chart.join(from, at, None);
            answers(chart, from, at, earlier);
        }
        aside(chart, at, check, procedures);
        before = Some((at, check));
    }
    let Some((last, check)) = before else { return };
    let end = match (next, &review.conclusion) {
        (Some(next), _) => Node::new(Shape::Jump, format!("on to {}", next.number), ""),
        (None, Some(conclusion)) => Node::new(Shape::Conclusion, conclusion.id.clone(), conclusion.cause.clone()),
        (None, None) => Node::new(Shape::Jump, "no conclusion", ""),
    };
    let end = chart.add(end);
    chart.join(last, end, None);
    answers(chart, last, end, check);
}

fn answers(chart: &mut Chart, from: usize, to: usize, check: &Check) {
    for answer in &check.answers {
        let tone = match answer.verdict.as_str() {
            "good" => Tone::Good,
            "bad" => Tone::Bad,
            "untested" => Tone::Around,
            _ => Tone::Plain,
        };
        chart.join(from, to, Some(Label::new(answer.shown.clone(), tone)));
    }
}

/// The other possible answers.
fn aside(chart: &mut Chart, at: usize, check: &Check, procedures: &BTreeMap<String, Procedure>) {
    let Some(step) = procedures.get(&check.procedure).and_then(|p| p.step(&check.step)) else { return };
    let given = |id: &str| check.answers.iter().any(|answer| answer.id == id);
    let mut others: Vec<(String, &Route)> = match &step.ask {
        Ask::Choice(choices) | Ask::Watch { choices, .. } => {
            choices.iter().filter(|c| !given(&c.id)).map(|c| (c.id.value.clone(), &c.go)).collect()
        }
        Ask::Reading(ask) => ask.bands.iter().filter(|b| !given(&b.id)).map(|b| (b.id.value.clone(), &b.go)).collect(),
        Ask::Done(_) | Ask::Note(_) => return,
    };
    let more = others.len().saturating_sub(ASIDES);
    others.truncate(ASIDES);
    if others.is_empty() {
        return;
    }
    let mut lines: Vec<String> = others
        .iter()
        .map(|(id, Route(conditions))| {
            let to = conditions.last().map_or_else(String::new, |c| draw::target_name(&c.to).replace('-', " "));
            format!("{id}: {to}.")
        })
        .collect();
    if more > 0 {
        lines.push(format!("And {more} more."));
    }
    let mut node = Node::new(Shape::Aside, "not answered", lines.join(" "));
    node.hover = format!("Not answered at check {}: {}", check.number, lines.join(" "));
    let aside = chart.add(node);
    chart.join(at, aside, None);
}
