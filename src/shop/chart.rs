//! A small chart of a reading over the visits, in the style of the review's page: a dot for each visit as found, limits dashed.

use super::visits::{Series, titled};
use crate::procedure::draw::escaped;
use crate::review::short;

/// Width and height, px.
const SIZE: (f64, f64) = (320.0, 150.0);
/// Margins left, right, above and below the plot, px.
const EDGE: (f64, f64, f64, f64) = (52.0, 14.0, 18.0, 26.0);
/// Space beyond readings and limits, as a share of their span.
const BEYOND: f64 = 0.15;

/// The chart. `days` are the visits' days. `None` if the numbers are too far apart to plot.
pub fn chart(series: &Series, days: &[&str], id: &str) -> Option<String> {
    let dots: Vec<(f64, f64, usize, &str)> =
        series.points.iter().filter_map(|p| Some((p.began_ms as f64, p.value?, p.visit, p.verdict.as_str()))).collect();
    let bounds = || series.low.into_iter().chain(series.high);
    let all = || dots.iter().map(|(_, v, _, _)| *v).chain(bounds());
    let (least, most) = (all().fold(f64::INFINITY, f64::min), all().fold(f64::NEG_INFINITY, f64::max));
    let room = if most > least { (most - least) * BEYOND } else { most.abs().max(1.0) * BEYOND };
    let (low, high) = (least - room, most + room);
    if !(high - low).is_finite() || high <= low {
        return None;
    }
    let (left, right, above, below) = EDGE;
    let (wide, tall) = SIZE;
    let (begin, end) = (dots.first()?.0, dots.last()?.0);
    let x = |ms: f64| {
        let share = if end > begin { (ms - begin) / (end - begin) } else { 0.5 };
        left + share * (wide - left - right)
    };
    let y = |v: f64| above + (high - v) / (high - low) * (tall - above - below);
    let unit = series.unit.name();
    let title = format!("{}: {}", titled(&series.name, series.round.as_deref()), series.trend.words);
    let mut out = format!(
        "<svg class=\"plot\" viewBox=\"0 0 {wide} {tall}\" width=\"{wide}\" height=\"{tall}\" role=\"img\" aria-labelledby=\"{id}\"><title id=\"{id}\">{}</title>",
        escaped(&title)
    );
    out += &format!("<path class=\"grid\" d=\"M{left} {above}V{0:.1}H{1}\"/>", tall - below, wide - right);
    for (limit, word) in [(series.low, "from"), (series.high, "to")] {
        if let Some(limit) = limit {
            out += &format!(
                "<path class=\"limit dashed\" d=\"M{left} {0:.1}H{1}\"/><text class=\"tick\" x=\"{2}\" y=\"{3:.1}\" text-anchor=\"end\">{word} {4}</text>",
                y(limit),
                wide - right,
                left - 4.0,
                y(limit) + 4.0,
                short(limit)
            );
        }
    }
    for pair in dots.windows(2) {
        out += &format!(
            "<path class=\"line\" d=\"M{:.1} {:.1}L{:.1} {:.1}\"/>",
            x(pair[0].0),
            y(pair[0].1),
            x(pair[1].0),
            y(pair[1].1)
        );
    }
    for (at, (ms, value, _, verdict)) in dots.iter().enumerate() {
        let class = if *verdict == "bad" { "dot bad" } else { "dot" };
        out += &format!("<circle class=\"{class}\" cx=\"{:.1}\" cy=\"{:.1}\" r=\"4\"/>", x(*ms), y(*value));
        if at == 0 || at + 1 == dots.len() {
            out += &format!(
                "<text class=\"value\" x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"{}\">{} {unit}</text>",
                x(*ms),
                y(*value) - 8.0,
                if at == 0 { "start" } else { "end" },
                short(*value)
            );
        }
    }
    let day = |dot: Option<&(f64, f64, usize, &str)>| {
        dot.and_then(|(_, _, visit, _)| days.get(*visit)).copied().unwrap_or_default().to_owned()
    };
    for (at, anchor, text) in [(left, "start", day(dots.first())), (wide - right, "end", day(dots.last()))] {
        out += &format!(
            "<text class=\"tick\" x=\"{at}\" y=\"{}\" text-anchor=\"{anchor}\">{}</text>",
            tall - 8.0,
            escaped(&text)
        );
    }
    Some(out + "</svg>")
}
