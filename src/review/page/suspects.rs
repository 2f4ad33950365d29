//! The suspects over the walk: columns with their number after each answer, and rows with the first ones and their shares.

use super::titles::Titles;
use crate::procedure::draw::escaped;
use crate::review::sentence::percent;
use crate::review::{Review, Suspects};
use serde_json::{Value, json};

/// The picture's columns, px: width of one, most for all, height of the tallest.
const COLUMN: (f64, f64, f64) = (14.0, 900.0, 120.0);
/// Margins left, right, above and below, px.
const EDGE: (f64, f64, f64, f64) = (36.0, 8.0, 10.0, 22.0);
/// Number of suspects in a row.
const NAMED: usize = 3;

/// The data for the page's template: the picture with its sentence, and a row for each answer. Empty for a walk without advice.
pub fn suspects(review: &Review) -> Value {
    if review.suspects.is_empty() {
        return Value::Null;
    }
    let titles = Titles::of(review);
    let rows: Vec<Value> = review.suspects.iter().enumerate().map(|(at, one)| row(at + 1, one, &titles)).collect();
    json!({"picture": picture(&review.suspects), "sentence": sentence(&review.suspects), "rows": rows})
}

fn row(number: usize, one: &Suspects, titles: &Titles<'_>) -> Value {
    let title = |step: &str, round: &Option<String>| titles.title(step, round.as_deref());
    let named = one.weighed.suspects.iter().take(NAMED).filter(|s| s.weight > 0.0);
    let named: Vec<Value> = named.map(|s| json!({"words": s.words, "share": percent(s.weight)})).collect();
    let reasons = one.weighed.suspects.first().map(|s| &s.because[..]).unwrap_or_default();
    let reasons: Vec<String> = reasons.iter().map(|b| format!("{}: {}", title(&b.step, &b.round), b.answer)).collect();
    let doubt = one
        .weighed
        .doubtful
        .as_ref()
        .map(|d| json!({"title": title(&d.step, &d.round), "answer": d.answer, "share": percent(d.weight)}));
    json!({
        "number": number, "time": super::super::clock(&one.time), "title": title(&one.step, &one.round), "left": one.weighed.left,
        "suspects": named, "outside": percent(one.weighed.outside), "because": reasons, "doubt": doubt,
    })
}

fn sentence(all: &[Suspects]) -> String {
    let (first, last) = (&all[0].weighed, &all[all.len() - 1].weighed);
    format!(
        "Suspects that weigh 1 % or more: {} after the first answer that tells something, {} after the last of {}.",
        first.left,
        last.left,
        all.len()
    )
}

fn picture(all: &[Suspects]) -> String {
    let (left, right, above, below) = EDGE;
    let column = COLUMN.0.min(COLUMN.1 / all.len() as f64);
    let most = all.iter().map(|one| one.weighed.left).max().unwrap_or(1).max(1);
    let (wide, tall) = (left + column * all.len() as f64 + right, above + COLUMN.2 + below);
    let high = |count: u32| COLUMN.2 * f64::from(count) / f64::from(most);
    let mut out = format!(
        "<svg class=\"suspects\" viewBox=\"0 0 {wide:.1} {tall}\" width=\"{wide:.1}\" height=\"{tall}\" role=\"img\" aria-labelledby=\"suspects-title\"><title id=\"suspects-title\">{}</title>",
        escaped(&sentence(all))
    );
    for count in [0, most] {
        let y = above + COLUMN.2 - high(count);
        out += &format!(
            "<path class=\"grid\" d=\"M{left} {y:.1}H{:.1}\"/><text class=\"tick\" x=\"{}\" y=\"{:.1}\" text-anchor=\"end\">{count}</text>",
            wide - right,
            left - 5.0,
            y + 4.0
        );
    }
    for (at, one) in all.iter().enumerate() {
        let height = high(one.weighed.left).max(1.0);
        let class = if one.weighed.doubtful.is_some() { "bar doubt" } else { "bar" };
        out += &format!(
            "<rect class=\"{class}\" x=\"{:.1}\" y=\"{:.1}\" width=\"{:.1}\" height=\"{height:.1}\"/>",
            left + column * at as f64 + column * 0.1,
            above + COLUMN.2 - height,
            column * 0.8
        );
    }
    let (x, y) = (left, above + COLUMN.2 + 15.0);
    out += &format!("<text class=\"tick\" x=\"{x}\" y=\"{y}\">answer 1</text>");
    if all.len() > 12 {
        let x = wide - right;
        out += &format!("<text class=\"tick\" x=\"{x:.1}\" y=\"{y}\" text-anchor=\"end\">answer {}</text>", all.len());
    }
    out + "</svg>"
}
