//! Renders a procedure's templates for a picture, where there is no loop item and nothing has been seen. With a bike, values that all items
//! of a loop share are filled in, and values that differ are shown side by side ("left/right"). Everything else stays as its name in angle
//! marks.

use crate::expression::{Expression, Scope, Template, evaluate_list, evaluate_number, render};
use crate::procedure::{Ask, Loop, Procedure};
use serde_json::{Map, Value};

/// The values to fill in.
pub struct Words {
    scope: Option<Scope>,
}

impl Words {
    /// Fills in `bike` (from [`crate::bike::as_value`]) and the loops over its parts. Without a bike, names stay names.
    pub fn new(procedure: &Procedure, bike: Option<&Value>) -> Self {
        let scope = bike.map(|bike| {
            let mut scope = Scope::new(bike.clone());
            for each in &procedure.loops {
                // If the list cannot be evaluated, its names stay as written.
                if let Ok(items) = evaluate_list(&each.over, &scope)
                    && let Some(together) = items.into_iter().reduce(|a, b| merged(&a, &b))
                {
                    scope.bind(&each.bind, together);
                }
            }
            for step in &procedure.steps {
                if let Ask::Reading(ask) = &step.ask {
                    scope.see(&ask.name, Value::String(format!("‹{}›", ask.name.replace(['-', '_'], " "))));
                }
            }
            scope
        });
        Words { scope }
    }

    /// The value of an expression that depends only on the bike.
    pub fn number(&self, of: &Expression) -> Option<f64> {
        if of.contains("seen") {
            return None;
        }
        of.trim().parse().ok().or_else(|| evaluate_number(of, self.scope.as_ref()?).ok())
    }

    /// The words of a template.
    pub fn of(&self, template: &Template) -> String {
        let filled = self.scope.as_ref().and_then(|scope| render(template, scope).ok());
        filled.unwrap_or_else(|| named(template))
    }

    /// The items of a loop, with a bike: "left, right".
    pub fn items(&self, each: &Loop) -> Option<String> {
        let items = evaluate_list(&each.over, self.scope.as_ref()?).ok()?;
        let names: Option<Vec<String>> =
            items.iter().map(|item| Some(flat(item.get("words").or(item.get("id")).unwrap_or(item)))).collect();
        names.filter(|names| !names.is_empty()).map(|names| format!("in turn: {}", names.join(", ")))
    }

    /// An expression, on one line.
    pub fn condition(&self, expression: &Expression) -> String {
        expression.split_whitespace().collect::<Vec<_>>().join(" ")
    }
}

/// One item that stands for two: shared values, and `a/b` where they differ.
fn merged(a: &Value, b: &Value) -> Value {
    match (a, b) {
        (Value::Object(a), Value::Object(b)) => {
            let both = a.iter().filter_map(|(name, one)| Some((name.clone(), merged(one, b.get(name)?))));
            Value::Object(both.collect::<Map<_, _>>())
        }
        (Value::Array(a), Value::Array(b)) => Value::Array(a.iter().zip(b).map(|(a, b)| merged(a, b)).collect()),
        (a, b) if a == b => a.clone(),
        (a, b) => {
            let (a, b) = (flat(a), flat(b));
            if a.split('/').any(|part| part == b) { Value::String(a) } else { Value::String(format!("{a}/{b}")) }
        }
    }
}

fn flat(value: &Value) -> String {
    match value {
        Value::String(text) => text.clone(),
        other => other.to_string(),
    }
}

/// A template with its placeholders as names: `{{ set.side_words | capitalize }}` becomes `‹set side words›`. Conditions are left out.
fn named(template: &str) -> String {
    let mut out = String::new();
    let mut rest = template;
    while let Some(at) = rest.find("{{").into_iter().chain(rest.find("{%")).chain(rest.find("{#")).min() {
        out += &rest[..at];
        let (open, inside) = rest[at..].split_at(2);
        let close = match open {
            "{{" => "}}",
            "{%" => "%}",
            _ => "#}",
        };
        let Some(end) = inside.find(close) else {
            rest = &rest[at..];
            break;
        };
        if open == "{{" {
            let name = inside[..end].split('|').next().unwrap_or_default().trim();
            out += &format!("‹{}›", name.replace(['.', '_'], " "));
        }
        rest = &inside[end + 2..];
    }
    out + rest
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use serde_json::json;

    #[test]
    fn names_stand_for_what_is_not_known() {
        assert_eq!(
            named("{{ set.side_words | capitalize }} side{% if x %}, {{ x }}{% endif %}."),
            "‹set side words› side, ‹x›."
        );
        assert_eq!(named("open {{ for"), "open {{ for");
    }

    #[test]
    fn items_are_set_side_by_side() {
        let (a, b) = (json!({"id": "left", "coil": {"ohm": 4.5}}), json!({"id": "right", "coil": {"ohm": 4.5}}));
        assert_eq!(merged(&a, &b), json!({"id": "left/right", "coil": {"ohm": 4.5}}));
        assert_eq!(merged(&merged(&json!("a"), &json!("b")), &json!("a")), json!("a/b"));
    }

    proptest! {
        #[test]
        fn any_template_gives_words(text in "\\PC{0,80}|[{}%# a.|]{0,60}") {
            let _ = named(&text);
        }
    }
}
