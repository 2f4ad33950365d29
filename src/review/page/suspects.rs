//! The suspects over the walk: their shares as bands over the answers, and rows with the first ones.

use super::titles::Titles;
use crate::procedure::draw::escaped;
use crate::review::sentence::percent;
use crate::review::{Review, Suspects};
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// The picture's columns, px: least width of one, most for all, most of one.
const COLUMN: (f64, f64, f64) = (14.0, 760.0, 44.0);
/// Height of the whole, px.
const HEIGHT: f64 = 200.0;
/// Margins left, right, above and below, px.
const EDGE: (f64, f64, f64, f64) = (48.0, 8.0, 10.0, 22.0);
/// Most suspects with a band of their own; each has a colour in page.css.
const MOST_BANDS: usize = 6;
/// A suspect gets a band if it had this share after some answer: enough for its number to stand in it.
const LEAST_BAND: f64 = 0.08;
/// Number of suspects in a row.
const NAMED: usize = 3;

/// The data for the page's template: the picture with its sentence, and a row for each answer. Empty for a walk without advice.
pub fn suspects(review: &Review) -> Value {
    if review.suspects.is_empty() {
        return Value::Null;
    }
    let titles = Titles::of(review);
    let rows: Vec<Value> = review.suspects.iter().enumerate().map(|(at, one)| row(at + 1, one, &titles)).collect();
    let bands = bands(&review.suspects);
    let key: Vec<Value> =
        bands.iter().map(|band| json!({"words": band.words, "share": percent(band.last())})).collect();
    json!({
        "picture": picture(&review.suspects, &bands), "bands": key, "sentence": sentence(&review.suspects), "rows": rows,
    })
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

/// A suspect that had a good share after some answer.
struct Band {
    words: String,
    /// Its share after each answer.
    shares: Vec<f64>,
}

impl Band {
    fn last(&self) -> f64 {
        self.shares.last().copied().unwrap_or_default()
    }

    fn most(&self) -> f64 {
        self.shares.iter().copied().fold(0.0, f64::max)
    }
}

/// The suspects that get a band, the heaviest at the end first.
fn bands(all: &[Suspects]) -> Vec<Band> {
    let mut by_fault: BTreeMap<&str, Band> = BTreeMap::new();
    for (at, one) in all.iter().enumerate() {
        for suspect in &one.weighed.suspects {
            let new = || Band { words: suspect.words.clone(), shares: vec![0.0; all.len()] };
            by_fault.entry(&suspect.fault).or_insert_with(new).shares[at] = suspect.weight;
        }
    }
    let mut bands: Vec<Band> = by_fault.into_values().filter(|band| band.most() >= LEAST_BAND).collect();
    bands.sort_by(|a, b| b.most().total_cmp(&a.most()));
    bands.truncate(MOST_BANDS);
    bands.sort_by(|a, b| b.last().total_cmp(&a.last()).then(b.most().total_cmp(&a.most())));
    bands
}

/// Every suspect's share as a band over the answers, the other faults above them, and what is outside the library on top.
fn picture(all: &[Suspects], bands: &[Band]) -> String {
    let (left, right, above, below) = EDGE;
    let column = (COLUMN.1 / all.len() as f64).clamp(COLUMN.0, COLUMN.2);
    let (wide, tall) = (left + column * all.len() as f64 + right, above + HEIGHT + below);
    let y = |share: f64| above + HEIGHT * (1.0 - share);
    let mut out = format!(
        "<svg class=\"suspects\" viewBox=\"0 0 {wide:.1} {tall}\" width=\"{wide:.1}\" height=\"{tall}\" role=\"img\" aria-labelledby=\"suspects-title\"><title id=\"suspects-title\">{}</title>",
        escaped(&sentence(all))
    );
    for (share, words) in [(0.0, "0 %"), (0.5, "50 %"), (1.0, "100 %")] {
        let y = y(share);
        out += &format!(
            "<path class=\"grid\" d=\"M{left} {y:.1}H{:.1}\"/><text class=\"tick\" x=\"{}\" y=\"{:.1}\" text-anchor=\"end\">{words}</text>",
            wide - right,
            left - 5.0,
            y + 4.0
        );
    }
    for (at, one) in all.iter().enumerate() {
        let x = left + column * at as f64;
        let mut drawn = 0.0;
        let named: f64 = bands.iter().map(|band| band.shares[at]).sum();
        let others = (1.0 - named - one.weighed.outside).max(0.0);
        let named = bands.iter().enumerate().map(|(number, band)| (format!("band-{}", number + 1), band.shares[at]));
        for (class, share) in named.chain([("others".to_owned(), others)]) {
            out += &format!(
                "<rect class=\"{class}\" x=\"{x:.1}\" y=\"{:.1}\" width=\"{column:.1}\" height=\"{:.1}\"/>",
                y(drawn + share),
                HEIGHT * share
            );
            drawn += share;
        }
        if one.weighed.doubtful.is_some() {
            let (top, wide) = (above + 1.5, column - 3.0);
            out += &format!(
                "<rect class=\"doubt\" x=\"{:.1}\" y=\"{top}\" width=\"{wide:.1}\" height=\"{:.1}\"/>",
                x + 1.5,
                HEIGHT - 3.0
            );
        }
    }
    // Each number stands where its band is widest, so that nobody has to tell the colours apart.
    for (number, band) in bands.iter().enumerate() {
        let at = (0..all.len()).max_by(|a, b| band.shares[*a].total_cmp(&band.shares[*b])).unwrap_or_default();
        let drawn: f64 = bands[..number].iter().map(|below| below.shares[at]).sum();
        let (x, y) = (left + column * (at as f64 + 0.5), y(drawn + band.shares[at] / 2.0) + 4.0);
        let number = number + 1;
        out += &format!(
            "<text class=\"tick in-{number}\" x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"middle\">{number}</text>"
        );
    }
    let (x, y) = (left, above + HEIGHT + 15.0);
    out += &format!("<text class=\"tick\" x=\"{x}\" y=\"{y}\">answer 1</text>");
    if column * all.len() as f64 > 140.0 {
        let x = wide - right;
        out += &format!("<text class=\"tick\" x=\"{x:.1}\" y=\"{y}\" text-anchor=\"end\">answer {}</text>", all.len());
    }
    out + "</svg>"
}
