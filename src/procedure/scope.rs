//! What templates and expressions can name at one moment of a walk: `bike`, the items of the loops we are in, and `seen`.

use super::Template;
use crate::written::{Diagnostic, template};
use serde_json::{Map, Value};
use std::collections::BTreeMap;
use std::sync::{Arc, OnceLock};

/// The names at one moment.
///
/// ```
/// use probeside::procedure::Scope;
/// use serde_json::json;
/// let mut scope = Scope::new(json!({"name": "Heron"}));
/// scope.see("rest-voltage", json!(12.6));
/// assert_eq!(scope.seen()["rest_voltage"], 12.6);
/// ```
#[derive(Debug, Clone)]
pub struct Scope {
    names: Map<String, Value>,
    /// What the engines made of each name, shared by clones until the name changes: a bike is large, and is asked for often.
    made: BTreeMap<String, Arc<Made>>,
}

#[derive(Debug, Default)]
struct Made {
    expression: OnceLock<cel::Value>,
    template: OnceLock<template::Given>,
}

impl PartialEq for Scope {
    fn eq(&self, other: &Self) -> bool {
        self.names == other.names
    }
}

/// Names have `_` where ids have `-`.
pub(super) fn as_name(id: &str) -> String {
    id.replace('-', "_")
}

impl Scope {
    /// The names before anything was seen; `bike` as [`crate::bike::as_value`] gives it.
    pub fn new(bike: Value) -> Self {
        let mut scope = Self { names: Map::new(), made: BTreeMap::new() };
        scope.set("bike".to_owned(), bike);
        scope.set("seen".to_owned(), Value::Object(Map::new()));
        scope
    }

    fn set(&mut self, name: String, value: Value) {
        self.made.insert(name.clone(), Arc::default());
        self.names.insert(name, value);
    }

    /// Binds the item of a loop to its name.
    pub fn bind(&mut self, name: &str, item: Value) {
        self.set(as_name(name), item);
    }

    /// Takes the item of a loop away.
    pub fn unbind(&mut self, name: &str) {
        let name = as_name(name);
        self.made.remove(&name);
        self.names.remove(&name);
    }

    /// Remembers a choice or a reading under its name; `-` becomes `_`.
    pub fn see(&mut self, name: &str, value: Value) {
        if let Some(Value::Object(seen)) = self.names.get_mut("seen") {
            seen.insert(as_name(name), value);
            self.made.insert("seen".to_owned(), Arc::default());
        }
    }

    /// Forgets what was seen under this name.
    pub fn forget(&mut self, name: &str) {
        if let Some(Value::Object(seen)) = self.names.get_mut("seen") {
            seen.remove(&as_name(name));
            self.made.insert("seen".to_owned(), Arc::default());
        }
    }

    /// What was seen.
    pub fn seen(&self) -> &Value {
        &self.names["seen"]
    }

    /// Every name with its value.
    pub fn names(&self) -> &Map<String, Value> {
        &self.names
    }

    /// Every name with what `make` made of its value for expressions, once.
    pub(super) fn for_expressions(&self, make: fn(&Value) -> cel::Value) -> impl Iterator<Item = (&str, cel::Value)> {
        self.names.iter().filter_map(move |(name, value)| {
            let made = self.made.get(name)?.expression.get_or_init(|| make(value));
            Some((name.as_str(), made.clone()))
        })
    }
}

/// Renders `text` for the bike and the loop at hand.
///
/// # Errors
/// The template names what is not there, or does too much.
pub fn render(text: &Template, scope: &Scope) -> Result<String, Diagnostic> {
    if !template::is_template(text) {
        return Ok(text.value.clone());
    }
    let given = scope.names.iter().filter_map(|(name, value)| {
        let made = scope.made.get(name)?.template.get_or_init(|| template::Given::new(value));
        Some((name.as_str(), made))
    });
    template::render(text, given)
}
