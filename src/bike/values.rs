//! The values of a bike's parts: those that the profile gives, and the typical ones of the catalogue for the rest.

use super::{Bike, Part};
use crate::expression::{Scope, evaluate_number};
use crate::parts::Primitive;
use crate::source::Diagnostic;
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;

impl Bike {
    /// Resistance of the ballast resistors, ohm. Zero without one.
    fn ballast_ohm(&self) -> f64 {
        self.parts.iter().filter(|part| *part.kind.id == "ballast").filter_map(|part| part.values.get("ohm")).sum()
    }

    /// The values of a part by name, each in the unit that the catalogue states: `changed` before the profile's own before the typical ones.
    ///
    /// # Errors
    /// An expression of the catalogue that does not come out.
    pub fn values(&self, part: &Part, changed: &BTreeMap<String, f64>) -> Result<BTreeMap<String, f64>, Diagnostic> {
        let alike: Vec<&Part> = self.parts.iter().filter(|other| other.kind.id == part.kind.id).collect();
        let index = alike.iter().position(|other| other.id == part.id).unwrap_or_default();
        let mut scope = Scope::new(json!({
            "volt": self.volt,
            "ground": self.ground.name(),
            "ballast_ohm": self.ballast_ohm(),
            "points_cam": self.points_cam.map_or("camshaft", super::Shaft::name),
        }));
        let middles = self.specified.iter().map(|(name, of)| (name.replace('-', "_"), json!((of.low + of.high) / 2.0)));
        scope.bind("specified", Value::Object(middles.collect::<Map<_, _>>()));
        scope.bind("index", json!(index as f64));
        scope.bind("count", json!(alike.len() as f64));
        let mut values = BTreeMap::new();
        for value in &part.kind.values {
            let given = changed.get(&value.name).or_else(|| part.values.get(&value.name));
            let number = match (given, &value.usual) {
                (Some(number), _) => *number,
                (None, Some(usual)) => evaluate_number(usual, &scope)?,
                (None, None) => continue,
            };
            scope.bind(&value.name.replace('-', "_"), json!(number));
            values.insert(value.name.clone(), number);
        }
        Ok(values)
    }
}

impl Primitive {
    /// A figure of the primitive, with the part's values: one number, or several from empty to full.
    ///
    /// # Errors
    /// An expression that does not come out.
    pub fn figure(&self, name: &str, values: &BTreeMap<String, f64>) -> Result<Vec<f64>, Diagnostic> {
        let Some(expressions) = self.figures.get(name) else { return Ok(Vec::new()) };
        let mut scope = None;
        let number = |expression: &crate::expression::Expression| {
            // Most figures are a plain value or number.
            if let Some(value) = values.get(&expression.replace('_', "-")) {
                return Ok(*value);
            }
            if let Ok(number) = expression.parse::<f64>() {
                return Ok(number);
            }
            let scope = scope.get_or_insert_with(|| {
                let mut scope = Scope::new(json!({}));
                values.iter().for_each(|(name, value)| scope.bind(&name.replace('-', "_"), json!(value)));
                scope
            });
            evaluate_number(expression, scope)
        };
        expressions.iter().map(number).collect()
    }
}
