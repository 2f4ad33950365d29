//! A kind of part tried on a specimen: whether its words, its typical values and its figures come out on a bike that specifies nothing.

use super::kind::{PartKind, Primitive, Terminals};
use crate::expression::{Scope, evaluate_number, render};
use crate::source::{Diagnostic, Place};
use serde_json::json;
use std::collections::BTreeMap;

/// Figures that must be above zero.
const ABOVE_ZERO: [&str; 14] = [
    "ohm",
    "henry",
    "microfarad",
    "leak-ohm",
    "watt",
    "primary-ohm",
    "primary-henry",
    "saturation-ampere",
    "secondary-ohm",
    "ratio",
    "secondary-farad",
    "saturation",
    "emission",
    "every",
];

impl Primitive {
    /// Whether one of its figures can be this number.
    pub fn can_be(&self, figure: &str, number: f64) -> bool {
        number.is_finite() && (number > 0.0 || !ABOVE_ZERO.contains(&figure))
    }
}

/// Adds what does not come out. `place` is the file's.
pub(super) fn check(kind: &PartKind, place: &Place, findings: &mut Vec<Diagnostic>) {
    words(kind, findings);
    let Some(values) = values(kind, place, findings) else { return };
    let mut scope = Scope::new(json!({}));
    values.iter().for_each(|(name, value)| scope.bind(name, json!(value)));
    for primitive in &kind.model {
        for (name, figures) in &primitive.figures {
            for figure in figures {
                match evaluate_number(figure, &scope) {
                    Ok(number) if primitive.can_be(name, number) => {}
                    Ok(number) => {
                        let message = format!("`{name}` of a {} comes out as {number}", *kind.id);
                        let help = "Resistances, inductances, capacitances and the like are above zero.";
                        findings.push(Diagnostic::error(&figure.place, "limits", message).help(help));
                    }
                    Err(why) => findings.push(why),
                }
            }
        }
    }
}

fn words(kind: &PartKind, findings: &mut Vec<Diagnostic>) {
    let mut scope = Scope::new(json!({}));
    ["side", "id", "part"].iter().for_each(|name| scope.bind(name, json!("left")));
    let of_terminals = match &kind.terminals {
        Terminals::Named(named) => named.as_slice(),
        Terminals::Itself | Terminals::Given => &[],
    };
    let all = std::iter::once(&kind.words).chain(of_terminals.iter().map(|(_, words)| words));
    findings.extend(all.filter_map(|words| render(words, &scope).err()));
}

/// The typical values; for one that the profile has to give, a value between its limits.
fn values(kind: &PartKind, place: &Place, findings: &mut Vec<Diagnostic>) -> Option<BTreeMap<String, f64>> {
    let before = findings.len();
    let mut scope =
        Scope::new(json!({"volt": 12.0, "ground": "negative", "points_cam": "camshaft", "ballast_ohm": 0.0}));
    scope.bind("specified", json!({}));
    scope.bind("index", json!(0.0));
    scope.bind("count", json!(1.0));
    let mut values = BTreeMap::new();
    for value in &kind.values {
        let (low, high) = value.limits;
        let between = if low > 0.0 { (low * high).sqrt() } else { (low + high) / 2.0 };
        let number = match value.usual.as_ref().map(|usual| evaluate_number(usual, &scope)) {
            None => between,
            Some(Ok(number)) => number,
            Some(Err(why)) => {
                findings.push(why);
                between
            }
        };
        if !(low..=high).contains(&number) {
            let message = format!("the usual `{}` of a {} is {number}, not from {low} to {high}", value.name, *kind.id);
            let place = value.usual.as_ref().map_or(place, |usual| &usual.place);
            findings
                .push(Diagnostic::error(place, "limits", message).help("On a 12 volt bike that specifies nothing."));
        }
        scope.bind(&value.name, json!(number));
        values.insert(value.name.clone(), number);
    }
    (findings.len() == before).then_some(values)
}
