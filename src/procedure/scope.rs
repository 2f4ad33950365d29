//! What templates and expressions can name at one moment of a walk: `bike`, the items of the loops we are in, and `seen`.

use super::Template;
use crate::written::{Diagnostic, template};
use serde_json::{Map, Value};
use std::collections::BTreeMap;
use std::sync::Arc;

/// The names at one moment.
///
/// ```
/// use probeside::procedure::Scope;
/// use serde_json::json;
/// let mut scope = Scope::new(json!({"name": "Heron"}));
/// scope.see("rest-voltage", json!(12.6));
/// assert_eq!(scope.seen()["rest_voltage"], 12.6);
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Scope {
    /// The bike and the loops' items, shared: a walk makes many scopes of one bike.
    names: BTreeMap<String, Arc<Value>>,
    seen: Value,
}

/// Names have `_` where ids have `-`.
pub(super) fn as_name(id: &str) -> String {
    id.replace('-', "_")
}

impl Scope {
    /// The names before anything was seen; `bike` as [`crate::bike::as_value`] gives it.
    pub fn new(bike: impl Into<Arc<Value>>) -> Self {
        Self { names: [("bike".to_owned(), bike.into())].into(), seen: Value::Object(Map::new()) }
    }

    /// Binds the item of a loop to its name.
    pub fn bind(&mut self, name: &str, item: impl Into<Arc<Value>>) {
        self.names.insert(as_name(name), item.into());
    }

    /// Takes the item of a loop away.
    pub fn unbind(&mut self, name: &str) {
        self.names.remove(&as_name(name));
    }

    /// Remembers a choice or a reading under its name; `-` becomes `_`.
    pub fn see(&mut self, name: &str, value: Value) {
        if let Value::Object(seen) = &mut self.seen {
            seen.insert(as_name(name), value);
        }
    }

    /// Forgets what was seen under this name.
    pub fn forget(&mut self, name: &str) {
        if let Value::Object(seen) = &mut self.seen {
            seen.remove(&as_name(name));
        }
    }

    /// What was seen.
    pub fn seen(&self) -> &Value {
        &self.seen
    }

    /// Every name with its value.
    pub fn names(&self) -> impl Iterator<Item = (&str, &Value)> {
        let bound = self.names.iter().map(|(name, value)| (name.as_str(), &**value));
        bound.chain([("seen", &self.seen)])
    }
}

/// Renders `text` for the bike and the loop at hand.
///
/// # Errors
/// The template names what is not there, or does too much.
pub fn render(text: &Template, scope: &Scope) -> Result<String, Diagnostic> {
    template::render(text, scope.names())
}
