//! A small picture of a reading and its limits: the good band, and the reading's position.

use crate::review::Reading;
use crate::review::sentence::{limits, short};

/// The text for a reading without limits.
pub(super) const NO_LIMITS: &str = "no limits";
/// Width of the picture, px.
const WIDE: f64 = 220.0;
/// Start and end of the scale, px.
const SCALE: (f64, f64) = (8.0, 212.0);
/// Space beyond limits and reading, as a share of their span.
const BEYOND: f64 = 0.25;

/// The picture. `None` for a reading without a number or without limits.
pub fn gauge(r: &Reading) -> Option<String> {
    let value = r.value.filter(|v| v.is_finite())?;
    let (low, high) = (r.low.filter(|v| v.is_finite()), r.high.filter(|v| v.is_finite()));
    let all = || low.into_iter().chain(high).chain([value]);
    low.or(high)?;
    let (least, most) = (all().fold(f64::INFINITY, f64::min), all().fold(f64::NEG_INFINITY, f64::max));
    let span = if most > least { most - least } else { most.abs().max(1.0) * BEYOND };
    let from = if least >= 0.0 { (least - span * BEYOND).max(0.0) } else { least - span * BEYOND };
    let to = most + span * BEYOND;
    if !(to - from).is_finite() || to <= from {
        return None;
    }
    let x = |v: f64| SCALE.0 + (v - from) / (to - from) * (SCALE.1 - SCALE.0);
    let (good_from, good_to) = (low.map_or(SCALE.0, x), high.map_or(SCALE.1, x));
    let unit = r.unit.name();
    let limits = limits(low, high, unit).unwrap_or_else(|| NO_LIMITS.to_owned());
    let tick = |limit: Option<f64>| match limit {
        Some(v) => {
            let anchor = if x(v) > WIDE * 0.7 {
                "end"
            } else if x(v) < WIDE * 0.3 {
                "start"
            } else {
                "middle"
            };
            format!(
                "<path class=\"limit\" d=\"M{0:.1} 12V30\"/><text class=\"tick\" x=\"{0:.1}\" y=\"41\" text-anchor=\"{anchor}\">{1}</text>",
                x(v),
                short(v)
            )
        }
        None => String::new(),
    };
    let class = match r.verdict.as_str() {
        "good" => "good",
        "bad" => "bad",
        _ => "plain",
    };
    Some(format!(
        "<svg class=\"gauge\" viewBox=\"0 0 {WIDE} 44\" width=\"{WIDE}\" height=\"44\" role=\"img\" aria-label=\"{} {unit}, {limits}\">\
         <rect class=\"scale\" x=\"{}\" y=\"16\" width=\"{}\" height=\"10\"/>\
         <rect class=\"band\" x=\"{good_from:.1}\" y=\"16\" width=\"{:.1}\" height=\"10\"/>{}{}\
         <path class=\"at {class}\" d=\"M{:.1} 16l-6 -12h12z\"/></svg>",
        short(value),
        SCALE.0,
        SCALE.1 - SCALE.0,
        (good_to - good_from).max(0.0),
        tick(low),
        tick(high),
        x(value),
    ))
}
