//! Optional electrical data in a profile beyond the wires: the battery by its charge, contacts, windings, caps, and when each points set is
//! open. Missing values default to the circuit's typical ones, whose sources are given there.

use super::shape::{CHARGE, TURN};
use crate::source::Diagnostic;
use crate::source::tree::{Kind, Node};
use std::collections::BTreeMap;

/// A battery's voltage and internal resistance by its state of charge.
#[derive(Debug, Clone, PartialEq)]
pub struct BatteryTable {
    /// States of charge, 0 to 1, ascending.
    pub charge: Vec<f64>,
    /// Open-circuit voltage at each, volt.
    pub volt: Vec<f64>,
    /// Internal resistance at each, ohm.
    pub ohm: Vec<f64>,
}

/// A coil's windings beyond the primary's resistance.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Windings {
    /// Primary inductance, henry.
    pub primary_henry: Option<f64>,
    /// Secondary resistance, ohm.
    pub secondary_ohm: Option<f64>,
    /// Secondary turns over primary turns.
    pub ratio: Option<f64>,
    /// Capacitance of secondary, lead and plug together, picofarad.
    pub secondary_picofarad: Option<f64>,
}

/// When a points set opens, in crank degrees.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Opening {
    /// The crank angle at which it opens. The profile chooses the zero.
    pub opens_at: Option<f64>,
    /// How much crank angle it stays closed between two openings.
    pub closed: Option<f64>,
    /// The crank angle from one opening to the next.
    pub every: Option<f64>,
}

/// All optional electrical data.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Electric {
    /// The battery.
    pub battery: Option<BatteryTable>,
    /// Resistance of a closed contact by part (`key`, `kill`, `fuse`, connectors, `points-ID`) and of each `cap-PLUG`, ohm.
    pub ohm: BTreeMap<String, f64>,
    /// Windings by coil.
    pub windings: BTreeMap<String, Windings>,
    /// Openings by points set.
    pub openings: BTreeMap<String, Opening>,
    /// Rated power of the test lamp, watt.
    pub lamp_watt: Option<f64>,
}

impl BatteryTable {
    /// Open-circuit voltage and internal resistance at a state of charge, interpolated linearly.
    pub fn at(&self, charge: f64) -> (f64, f64) {
        let last = self.charge.len().saturating_sub(1);
        let above = self.charge.iter().position(|at| *at >= charge).unwrap_or(last).max(1).min(last);
        let below = above.saturating_sub(1);
        let width = self.charge[above] - self.charge[below];
        let share = if width > 0.0 { ((charge - self.charge[below]) / width).clamp(0.0, 1.0) } else { 0.0 };
        let along = |of: &[f64]| of[below] + share * (of[above] - of[below]);
        (along(&self.volt), along(&self.ohm))
    }
}

fn numbers(of: &Node, name: &str) -> Vec<f64> {
    let number = |node: &Node| if let Kind::Number(value) = node.kind { Some(value) } else { None };
    of.get(name).map(Node::items).unwrap_or_default().iter().filter_map(number).collect()
}

pub(super) fn decode(root: &Node) -> Electric {
    let mut ohm = BTreeMap::new();
    let mut keep = |part: String, of: &Node, field: &str| {
        ohm.extend(of.number(field).map(|value| (part, value)));
    };
    for part in ["key", "kill", "fuse"] {
        root.get(part).into_iter().for_each(|of| keep(part.to_owned(), of, "ohm"));
    }
    root.dict("connectors").for_each(|(id, of)| keep(id.value, of, "ohm"));
    root.dict("points").for_each(|(id, of)| keep(format!("points-{}", *id), of, "ohm"));
    root.dict("plugs").for_each(|(id, of)| keep(format!("cap-{}", *id), of, "cap-ohm"));
    let windings = |of: &Node| Windings {
        primary_henry: of.number("primary-henry"),
        secondary_ohm: of.number("secondary-ohm"),
        ratio: of.number("ratio"),
        secondary_picofarad: of.number("secondary-picofarad"),
    };
    let opening =
        |of: &Node| Opening { opens_at: of.number("opens-at"), closed: of.number("closed"), every: of.number("every") };
    Electric {
        battery: root.get("battery").map(|of| BatteryTable {
            charge: numbers(of, "charge"),
            volt: numbers(of, "volt"),
            ohm: numbers(of, "ohm"),
        }),
        ohm,
        windings: root.dict("coils").map(|(id, of)| (id.value, windings(of))).collect(),
        openings: root.dict("points").map(|(id, of)| (id.value, opening(of))).collect(),
        lamp_watt: root.get("test-lamp").and_then(|of| of.number("watt")),
    }
}

/// Checks data that fits its shape but is impossible.
pub(super) fn check(root: &Node, findings: &mut Vec<Diagnostic>) {
    if let Some(battery) = root.get("battery") {
        let charge = numbers(battery, "charge");
        let rising = |of: &[f64]| of.windows(2).all(|pair| pair[0] < pair[1]);
        if !rising(&charge) || charge.iter().any(|at| *at < CHARGE.0 || *at > CHARGE.1) {
            let message = "`charge` has to rise from 0 (empty) towards 1 (full)";
            findings.push(Diagnostic::error(&battery.place, "limits", message).help("Write [0, 0.5, 1]."));
        }
        for name in ["volt", "ohm"] {
            if numbers(battery, name).len() != charge.len() {
                let message = format!("`{name}` and `charge` of the battery have different lengths");
                let help = "Give one value for each state of charge.";
                findings.push(Diagnostic::error(&battery.place, "limits", message).help(help));
            }
        }
    }
    for (id, of) in root.dict("points") {
        let every = of.number("every").unwrap_or(TURN);
        for name in ["closed", "opens-at"] {
            if of.number(name).is_some_and(|angle| angle >= every) {
                let message = format!("the points `{}` open every {every} degrees, and `{name}` is not less", *id);
                let help =
                    "All three are crank degrees; a cam on the camshaft with one lobe opens its points every 720.";
                findings.push(Diagnostic::error(&of.place, "limits", message).help(help));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn battery_between_and_beyond_what_is_given() {
        let table =
            BatteryTable { charge: vec![0.0, 0.5, 1.0], volt: vec![11.9, 12.2, 12.7], ohm: vec![0.1, 0.06, 0.04] };
        assert_eq!(table.at(0.5), (12.2, 0.06));
        assert!((table.at(0.75).0 - 12.45).abs() < 1e-12 && (table.at(0.25).1 - 0.08).abs() < 1e-12);
        assert_eq!((table.at(-1.0).0, table.at(2.0).0), (11.9, 12.7));
        let one = BatteryTable { charge: vec![1.0], volt: vec![6.3], ohm: vec![0.02] };
        assert_eq!(one.at(0.3), (6.3, 0.02));
    }
}
