//! Plots the measured voltage along the feed path: a line that falls by every measured drop, dashed where nothing was measured.

use crate::bike::{Bike, InstrumentKind};
use crate::procedure::draw::escaped;
use crate::review::sentence::short;
use crate::review::{Reading, Review};
use crate::units::{Quantity, Unit};

/// Terminals that are ground for a meter.
const GROUND: [&str; 3] = ["battery.ground", "engine", "frame"];
/// Distance between terminals, px.
const STEP: f64 = 64.0;
/// Margins left, right, above and below the plot, px.
const EDGE: (f64, f64, f64, f64) = (52.0, 24.0, 18.0, 96.0);
/// Height of the plot, px.
const HIGH: f64 = 150.0;

/// A voltage drop between two points of the path.
#[derive(Debug, Clone, PartialEq)]
struct Drop {
    from: usize,
    to: usize,
    volt: f64,
    number: u32,
}

/// The measurements along one coil's feed.
#[derive(Debug, Clone, PartialEq)]
pub struct Feed {
    coil: String,
    path: Vec<String>,
    drops: Vec<Drop>,
    /// Voltage to ground at a point of the path, with the number of its reading.
    points: Vec<(usize, f64, u32)>,
}

/// The feeds with at least one measured drop, or with measured voltages at two points.
pub fn feeds(review: &Review, bike: &Bike) -> Vec<Feed> {
    let mut found: Vec<Feed> = Vec::new();
    for coil in &bike.coils {
        let parts = bike.feed(&coil.id);
        let mut path: Vec<String> = bike.battery.iter().map(|[live, _]| live.clone()).collect();
        path.extend(parts.iter().flat_map(|part| [part.supply.clone(), part.load.clone()]));
        path.push(coil.ends[0].clone());
        let feed = measured(review, &coil.id, path);
        let told = |other: &Feed| {
            feed.drops.iter().all(|d| other.drops.iter().any(|o| o.number == d.number))
                && feed.points.iter().all(|p| other.points.iter().any(|o| o.2 == p.2))
        };
        if (!feed.drops.is_empty() || feed.points.len() > 1) && !found.iter().any(told) {
            found.push(feed);
        }
    }
    found
}

fn volts(reading: &Reading) -> Option<f64> {
    let value = reading.value?;
    match (reading.quantity, reading.unit) {
        (Quantity::Voltage, Unit::Volt) => Some(value),
        (Quantity::Voltage, Unit::Millivolt) => Some(value / 1000.0),
        _ => None,
    }
}

fn measured(review: &Review, coil: &str, path: Vec<String>) -> Feed {
    let mut feed = Feed { coil: coil.to_owned(), path, drops: Vec::new(), points: Vec::new() };
    for reading in review.readings.iter().filter(|r| r.effective) {
        let (Some(volt), Some(leads)) = (volts(reading), &reading.instrument) else { continue };
        if leads.kind != InstrumentKind::Voltmeter {
            continue;
        }
        let place = |terminal: &str| feed.path.iter().position(|at| at == terminal);
        match (place(&leads.first), place(&leads.second)) {
            (Some(a), Some(b)) if a != b => {
                let drop = Drop { from: a.min(b), to: a.max(b), volt: volt.abs(), number: reading.number };
                feed.drops.retain(|d| (d.from, d.to) != (drop.from, drop.to));
                feed.drops.push(drop);
            }
            (Some(at), None) if GROUND.contains(&leads.second.as_str()) => point(&mut feed, at, volt, reading.number),
            (None, Some(at)) if GROUND.contains(&leads.first.as_str()) => point(&mut feed, at, volt, reading.number),
            _ => {}
        }
    }
    feed
}

/// Adds a voltage. The latest at a point counts.
fn point(feed: &mut Feed, at: usize, volt: f64, number: u32) {
    feed.points.retain(|(place, _, _)| *place != at);
    feed.points.push((at, volt.abs(), number));
}

impl Feed {
    /// A sentence that replaces the picture.
    pub fn sentence(&self) -> String {
        let mut parts: Vec<String> = self
            .points
            .iter()
            .map(|(at, volt, number)| format!("{} V at {} (reading {number})", short(*volt), self.path[*at]))
            .collect();
        let mut drops = self.drops.clone();
        drops.sort_by_key(|d| (d.from, d.to));
        parts.extend(drops.iter().map(|d| {
            format!("{} V lost from {} to {} (reading {})", short(d.volt), self.path[d.from], self.path[d.to], d.number)
        }));
        format!("Feed of coil {}: {}.", self.coil, parts.join("; "))
    }

    /// The plot.
    pub fn picture(&self, id: &str) -> String {
        let start = self.points.iter().find(|(at, _, _)| *at == 0).map(|(_, volt, _)| *volt);
        let lost: f64 = self.fine().iter().map(|d| d.volt).sum();
        let top = start.unwrap_or(0.0);
        let line = self.line(top);
        let ends = self.drops.iter().map(|d| line[d.from].1 - d.volt);
        let least = line
            .iter()
            .map(|(_, y)| *y)
            .chain(self.points.iter().map(|(_, v, _)| *v))
            .chain(ends)
            .fold(top - lost, f64::min);
        let room = (top - least).max(0.2) * 0.15;
        let (low, high) = (least - room, top + room);
        let (left, right, above, below) = EDGE;
        let wide = left + right + STEP * (self.path.len() - 1) as f64;
        let tall = above + HIGH + below;
        let x = |at: usize| left + STEP * at as f64;
        let y = |volt: f64| above + (high - volt) / (high - low) * HIGH;
        let mut out = format!(
            "<svg class=\"plot\" viewBox=\"0 0 {wide} {tall}\" width=\"{wide}\" height=\"{tall}\" role=\"img\" aria-labelledby=\"{id}\"><title id=\"{id}\">{}</title>",
            escaped(&self.sentence())
        );
        for (at, name) in self.path.iter().enumerate() {
            out += &format!(
                "<path class=\"grid\" d=\"M{0} {above}V{1}\"/><text class=\"tick\" transform=\"translate({2} {3}) rotate(-40)\" text-anchor=\"end\">{4}</text>",
                x(at),
                above + HIGH,
                x(at) + 4.0,
                above + HIGH + 14.0,
                escaped(name)
            );
        }
        let whole = if start.is_some() { "V" } else { "V lost" };
        for volt in ticks(low, high) {
            out += &format!(
                "<path class=\"grid\" d=\"M{left} {0:.1}H{1}\"/><text class=\"tick\" x=\"{2}\" y=\"{3:.1}\" text-anchor=\"end\">{4} {whole}</text>",
                y(volt),
                wide - right,
                left - 4.0,
                y(volt) + 4.0,
                if start.is_some() { short(volt) } else { short(-volt) },
            );
        }
        let fine = self.fine();
        for (at, pair) in line.windows(2).enumerate() {
            let measured = fine.iter().any(|d| d.from <= at && at < d.to);
            let class = if measured { "line" } else { "line dashed" };
            out += &format!(
                "<path class=\"{class}\" d=\"M{} {:.1}L{} {:.1}\"/>",
                x(at),
                y(pair[0].1),
                x(at + 1),
                y(pair[1].1)
            );
        }
        for drop in &fine {
            let (a, b) = (line[drop.from].1, line[drop.to].1);
            out += &format!(
                "<text class=\"value\" x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"middle\">−{}</text>",
                (x(drop.from) + x(drop.to)) / 2.0,
                y((a + b) / 2.0) - 7.0,
                short(drop.volt)
            );
        }
        for drop in self.drops.iter().filter(|d| !fine.contains(d)) {
            let end = line[drop.from].1 - drop.volt;
            out += &format!(
                "<circle class=\"ring\" cx=\"{0}\" cy=\"{1:.1}\" r=\"4.5\"/><text class=\"value\" x=\"{2}\" y=\"{3:.1}\" text-anchor=\"end\">−{4} from {5}</text>",
                x(drop.to),
                y(end),
                x(drop.to) - 8.0,
                y(end) + 4.0,
                short(drop.volt),
                escaped(&self.path[drop.from])
            );
        }
        for (at, volt, _) in &self.points {
            out += &format!("<circle class=\"dot\" cx=\"{}\" cy=\"{:.1}\" r=\"4\"/>", x(*at), y(*volt));
        }
        out + "</svg>"
    }

    /// Drops that contain no other drop: the finest that were measured.
    fn fine(&self) -> Vec<Drop> {
        let mut drops = self.drops.clone();
        drops.sort_by_key(|d| (d.to - d.from, d.from));
        let mut kept: Vec<Drop> = Vec::new();
        for drop in drops {
            if kept.iter().all(|k| drop.to <= k.from || k.to <= drop.from) {
                kept.push(drop);
            }
        }
        kept.sort_by_key(|d| d.from);
        kept
    }

    /// The points with their voltages, which fall by the measured drops.
    fn line(&self, top: f64) -> Vec<(usize, f64)> {
        let fine = self.fine();
        let mut volt = top;
        let mut line = vec![(0, top)];
        for at in 1..self.path.len() {
            if let Some(drop) = fine.iter().find(|d| d.from < at && at <= d.to) {
                volt -= drop.volt / (drop.to - drop.from) as f64;
            }
            line.push((at, volt));
        }
        line
    }
}

/// At most six round numbers between two voltages.
fn ticks(low: f64, high: f64) -> Vec<f64> {
    const STEPS: [f64; 8] = [0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0];
    let step = STEPS.into_iter().find(|step| (high - low) / step <= 6.0).unwrap_or((high - low) / 5.0);
    let first = (low / step).ceil();
    (0..7).map(|n| (first + f64::from(n)) * step).take_while(|v| *v <= high).collect()
}
