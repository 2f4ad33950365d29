//! Writes a chart as SVG 1.1. Text is wrapped and escaped, every box and label has a title for tooltips and screen readers, the colours
//! suit light and dark screens, and kinds of boxes and answers can be told apart without colour.

use super::chart::{Chart, Label, Node, Shape, Tone};
use super::place::{Area, LINE, Layout, MARK, PAD, SIZE, SMALL, Way, Worded, place};
use crate::procedure::SignalWord;
use crate::system::Kind;
use std::fmt::Write;

/// The named colours of pictures and pages, for light, dark and paper. No other style defines a colour.
pub const PALETTE: &str = include_str!("palette.css");
/// The style of the pictures, in the [`PALETTE`]'s colours. A page with [`inline`] pictures must include both.
pub const STYLE: &str = include_str!("style.css");

/// The picture as an output file.
pub const PICTURE: Kind = Kind {
    name: "picture of a procedure",
    begins: "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"",
    goes_on: &["<title id=\"picture-title\">"],
};

/// A complete SVG file.
pub fn svg(chart: Chart) -> String {
    let mut out = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    draw(&mut out, place(chart), "picture", true);
    out
}

/// An `svg` element without its style, for use in an HTML page. `id` makes its names unique in the page.
pub fn inline(chart: Chart, id: &str) -> String {
    let mut out = String::new();
    draw(&mut out, place(chart), id, false);
    out
}

/// Text for XML: escaped, without characters that XML 1.0 forbids or that change the writing direction.
pub fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\n' => out.push('\n'),
            c if c.is_control() => out.push(' '),
            '\u{200b}'..='\u{200f}'
            | '\u{2028}'..='\u{202e}'
            | '\u{2066}'..='\u{2069}'
            | '\u{feff}'
            | '\u{fffe}'
            | '\u{ffff}' => {
                out.push(' ');
            }
            c => out.push(c),
        }
    }
    out
}

/// A coordinate, rounded to a tenth of a pixel.
fn n(value: f64) -> String {
    let rounded = (value * 10.0).round() / 10.0;
    format!("{}", if rounded == 0.0 { 0.0 } else { rounded })
}

// Writing to a String cannot fail, so this macro drops the result.
macro_rules! put {
    ($out:expr, $($what:tt)*) => {{ let _ = write!($out, $($what)*); }};
}

fn draw(out: &mut String, layout: Layout, id: &str, whole: bool) {
    let (w, h) = (n(layout.w.ceil()), n(layout.h.ceil()));
    let id = escaped(id);
    put!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {w} {h}\" width=\"{w}\" height=\"{h}\" class=\"chart\" role=\"group\" aria-labelledby=\"{id}-title {id}-about\">\n"
    );
    put!(out, "<title id=\"{id}-title\">{}</title>\n", escaped(&layout.chart.title));
    put!(out, "<desc id=\"{id}-about\">{}</desc>\n", escaped(&layout.chart.description));
    if whole {
        put!(out, "<style>\n{PALETTE}{STYLE}</style>\n<rect class=\"paper\" width=\"{w}\" height=\"{h}\"/>\n");
    }
    for (edge, way) in layout.chart.edges.iter().zip(&layout.ways) {
        let around = !edge.labels.is_empty() && edge.labels.iter().all(|label| label.tone == Tone::Around);
        arrow(out, way, around);
    }
    for (edge, words) in layout.chart.edges.iter().zip(&layout.words) {
        if let Some(words) = words {
            labels(out, words, &edge.labels);
        }
    }
    for (node, placed) in layout.chart.nodes.iter().zip(&layout.boxes) {
        let link = node.link.as_ref().map(|link| escaped(link));
        match &link {
            Some(link) => put!(out, "<a href=\"#{id}-{link}\">"),
            None => put!(out, "<g>"),
        }
        put!(out, "<title>{}</title>", escaped(&hover(node)));
        let anchor = node.anchor.as_ref().map_or(String::new(), |anchor| format!(" id=\"{id}-{}\"", escaped(anchor)));
        outline(out, node.shape, placed.area, &anchor);
        let size = if matches!(node.shape, Shape::Jump | Shape::Aside) { SMALL } else { SIZE };
        let mut y = placed.area.y + PAD + size - 2.0;
        for line in &placed.heading {
            text(out, placed.area.x + PAD, y, size, "head", line);
            y += LINE;
        }
        for (at, (signal, line)) in placed.cautions.iter().enumerate() {
            if at == 0 || placed.cautions[at - 1].0 != *signal || line.starts_with(signal.name()) {
                triangle(out, placed.area.x + PAD, y, *signal);
            }
            text(out, placed.area.x + PAD + MARK, y, SMALL, "caution", line);
            y += LINE;
        }
        for line in &placed.body {
            text(out, placed.area.x + PAD, y, size, "say", line);
            y += LINE;
        }
        out.push_str(if link.is_some() { "</a>\n" } else { "</g>\n" });
    }
    out.push_str("</svg>\n");
}

fn hover(node: &Node) -> String {
    if node.hover.is_empty() { format!("{}: {}", node.heading, node.body) } else { node.hover.clone() }
}

fn text(out: &mut String, x: f64, y: f64, size: f64, class: &str, line: &str) {
    put!(
        out,
        "<text x=\"{}\" y=\"{}\" font-size=\"{}\" class=\"{class}\">{}</text>",
        n(x),
        n(y),
        n(size),
        escaped(line)
    );
}

fn outline(out: &mut String, shape: Shape, a: Area, anchor: &str) {
    let class = match shape {
        Shape::Start => "start",
        Shape::Step => "step",
        Shape::Loop => "loop",
        Shape::Call => "call",
        Shape::Conclusion => "end",
        Shape::Jump => "jump",
        Shape::Aside => "aside",
    };
    let round = match shape {
        Shape::Start | Shape::Jump => a.h.min(30.0) / 2.0,
        Shape::Step => 5.0,
        _ => 0.0,
    };
    let rect = |a: Area, round: f64, extra: &str| {
        format!(
            "<rect{extra} class=\"box {class}\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" rx=\"{}\"/>",
            n(a.x),
            n(a.y),
            n(a.w),
            n(a.h),
            n(round)
        )
    };
    out.push_str(&rect(a, round, anchor));
    let inner = match shape {
        Shape::Conclusion => Some(Area { x: a.x + 3.0, y: a.y + 3.0, w: a.w - 6.0, h: a.h - 6.0 }),
        _ => None,
    };
    if let Some(inner) = inner {
        out.push_str(&rect(inner, round, ""));
    }
    let bar = |x: f64| format!("<path class=\"bar {class}\" d=\"M{} {}V{}\"/>", n(x), n(a.y), n(a.y + a.h));
    if matches!(shape, Shape::Call | Shape::Loop) {
        out.push_str(&bar(a.x + 4.0));
    }
    if shape == Shape::Call {
        out.push_str(&bar(a.x + a.w - 4.0));
    }
}

/// The triangle of a safety sign beside the signal word.
fn triangle(out: &mut String, x: f64, y: f64, signal: SignalWord) {
    let class = signal.name().to_lowercase();
    put!(out, "<path class=\"sign {class}\" d=\"M{} {}h12l-6 -10.5z\"/>", n(x), n(y));
    put!(out, "<path class=\"in-sign\" d=\"M{} {}v-4.5m0 6.2v.8\"/>", n(x + 6.0), n(y - 2.8));
}

fn labels(out: &mut String, words: &Worded, labels: &[Label]) {
    let a = words.area;
    let hover: Vec<&str> =
        labels.iter().map(|l| if l.hover.is_empty() { l.text.as_str() } else { l.hover.as_str() }).collect();
    put!(out, "<g><title>{}</title>", escaped(&hover.join("\n")));
    put!(
        out,
        "<rect class=\"words\" x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" rx=\"4\"/>",
        n(a.x),
        n(a.y),
        n(a.w),
        n(a.h)
    );
    for (at, (line, label, first)) in words.lines.iter().enumerate() {
        let y = a.y + LINE * (at as f64 + 1.0) - 3.0;
        let tone = labels[*label].tone;
        if *first {
            mark(out, a.x + 4.0, y, tone);
        }
        let class = match tone {
            Tone::Good => "good",
            Tone::Bad => "bad",
            Tone::Plain => "plain",
            Tone::Around => "around",
        };
        text(out, a.x + MARK + 2.0, y, SMALL, class, line);
    }
    out.push_str("</g>\n");
}

/// A tick, a cross, a dot or a dash.
fn mark(out: &mut String, x: f64, y: f64, tone: Tone) {
    let (class, lines) = match tone {
        Tone::Good => ("good", "m1 -4l3 3.5l5.5 -8"),
        Tone::Bad => ("bad", "m1.5 -8.5l7.5 8m0 -8l-7.5 8"),
        Tone::Plain => ("plain", "m4.5 -5.5h2v2h-2z"),
        Tone::Around => ("around", "m1 -4.5h3m2.5 0h3"),
    };
    put!(out, "<path class=\"mark {class}\" d=\"M{} {}{lines}\"/>", n(x), n(y));
}

fn arrow(out: &mut String, way: &Way, around: bool) {
    let Some((x, y)) = way.first().copied() else { return };
    let mut d = format!("M{} {}", n(x), n(y));
    let (mut last_x, mut last_y) = (x, y);
    for (at, (x, y)) in way.iter().copied().enumerate().skip(1) {
        if at % 2 == 1 || (x - last_x).abs() < 0.5 {
            put!(d, "L{} {}", n(x), n(y));
        } else {
            let half = (y - last_y) / 2.0;
            put!(d, "C{} {} {} {} {} {}", n(last_x), n(last_y + half), n(x), n(y - half), n(x), n(y));
        }
        (last_x, last_y) = (x, y);
    }
    let class = if around { "way around" } else { "way" };
    put!(out, "<path class=\"{class}\" d=\"{d}\"/><path class=\"tip\" d=\"M{} {}l-4 -7h8z\"/>\n", n(last_x), n(last_y));
}
