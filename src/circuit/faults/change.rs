//! An alteration as a library writes it, with names as templates and figures as expressions, and its expansion for a bike.

use crate::bike::PointsAt;
use crate::circuit::Alteration;
use crate::expression::{Expression, Scope, Template, evaluate_number, render, render_names};
use crate::source::Diagnostic;
use crate::source::tree::Node;

/// One alteration, not yet expanded.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Change {
    /// The field that identifies the alteration.
    tag: String,
    /// Names: branches, terminals, ids.
    pub texts: Vec<Template>,
    /// Figures.
    pub numbers: Vec<Expression>,
    at: PointsAt,
}

impl Change {
    pub(super) fn of(node: &Node) -> Self {
        let mut change = Self { tag: String::new(), texts: Vec::new(), numbers: Vec::new(), at: PointsAt::Open };
        let numbers = ["ohm", "to", "by"];
        let mut value = None;
        for (key, node) in node.entries() {
            let name = key.name.as_str();
            if name == "at" {
                change.at = PointsAt::named(&node.spelling).unwrap_or(PointsAt::Open);
            } else if name == "value" {
                value = Some(node.written());
            } else if !numbers.contains(&name) {
                change.tag = name.to_owned();
                match node.items() {
                    [] => change.texts.push(node.written()),
                    several => change.texts.extend(several.iter().map(Node::written)),
                }
            }
        }
        change.texts.extend(value);
        // In the order in which `on` uses them.
        change.numbers.extend(numbers.iter().filter_map(|name| node.written_at(name)));
        change
    }

    /// The alterations for the bike and place in `scope`: one, or one for each name if a text holds several separated by commas.
    ///
    /// # Errors
    /// A template or an expression that cannot be evaluated.
    pub(super) fn on(&self, scope: &Scope) -> Result<Vec<Alteration>, Diagnostic> {
        let numbers: Vec<f64> =
            self.numbers.iter().map(|number| evaluate_number(number, scope)).collect::<Result<_, _>>()?;
        match self.texts.as_slice() {
            [one] => Ok(render_names(std::slice::from_ref(one), scope)?
                .into_iter()
                .map(|name| self.alteration(name, String::new(), &numbers))
                .collect()),
            [] => Ok(vec![self.alteration(String::new(), String::new(), &numbers)]),
            [one, two, ..] => Ok(vec![self.alteration(render(one, scope)?, render(two, scope)?, &numbers)]),
        }
    }

    fn alteration(&self, name: String, other: String, numbers: &[f64]) -> Alteration {
        let number = |n: usize| numbers.get(n).copied().unwrap_or_default();
        match self.tag.as_str() {
            "open" => Alteration::Open { branch: name },
            "fixed" => Alteration::Ohm { branch: name, ohm: number(0) },
            "series" => Alteration::Series { branch: name, ohm: number(0) },
            "join" => Alteration::Join { a: name, b: other, ohm: number(0) },
            "swap" => Alteration::Swap { first: name, second: other },
            "set" => Alteration::Set { part: name, value: other, to: number(0) },
            "scale" => Alteration::Scale { part: name, value: other, by: number(0) },
            _ => Alteration::Stuck { set: name, at: self.at },
        }
    }
}
