//! The content of the customer's page, gathered from a review.

use super::checks::shown;
use super::titles::page_title;
use crate::review::{Reading, Review};
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// The first and the last reading of the same name and side, if at least two were measured and count.
fn before_and_after(review: &Review) -> Vec<Value> {
    let mut same: BTreeMap<(&str, Option<&str>), Vec<&Reading>> = BTreeMap::new();
    for reading in review.readings.iter().filter(|r| r.effective && !r.told) {
        same.entry((&reading.name, reading.round.as_deref())).or_default().push(reading);
    }
    same.into_iter()
        .filter_map(|((name, round), of)| match of[..] {
            [first, .., last] => Some(json!({
                "name": named(name, round), "before": shown(first), "after": shown(last),
                "before_is": first.verdict, "after_is": last.verdict,
            })),
            _ => None,
        })
        .collect()
}

fn named(name: &str, round: Option<&str>) -> String {
    let name = name.replace('_', " ");
    round.map_or_else(|| name.clone(), |round| format!("{name}, {round}"))
}

/// The page's template data.
pub fn context(review: &Review) -> Value {
    let mut last: BTreeMap<(&str, Option<&str>), &Reading> = BTreeMap::new();
    for reading in review.readings.iter().filter(|r| r.effective) {
        last.insert((&reading.name, reading.round.as_deref()), reading);
    }
    let outside: Vec<Value> = last
        .into_iter()
        .filter(|(_, r)| r.verdict == "bad")
        .map(|((name, round), r)| json!({"name": named(name, round), "shown": shown(r)}))
        .collect();
    let cautions = review.cautions.len();
    json!({
        "title": page_title(review, "for the customer"),
        "session": review.session,
        "digest": review.chain.digest.short,
        "whole": review.chain.state == "whole",
        "conclusion": review.conclusion,
        "outside": outside,
        "pairs": before_and_after(review),
        "untested": review.untested,
        "counts": {"checks": review.path.len(), "readings": review.readings.iter().filter(|r| r.effective && !r.told).count(), "cautions": cautions},
    })
}
