//! What templates and expressions can name at one moment of a walk: `bike`, the items of the loops we are in, and `seen`.

use super::Template;
use crate::written::{Diagnostic, template};
use serde_json::{Map, Value};

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
    names: Map<String, Value>,
}

/// Names have `_` where ids have `-`.
pub(super) fn as_name(id: &str) -> String {
    id.replace('-', "_")
}

impl Scope {
    /// The names before anything was seen; `bike` as [`crate::bike::as_value`] gives it.
    pub fn new(bike: Value) -> Self {
        let mut names = Map::new();
        names.insert("bike".to_owned(), bike);
        names.insert("seen".to_owned(), Value::Object(Map::new()));
        Self { names }
    }

    /// Binds the item of a loop to its name.
    pub fn bind(&mut self, name: &str, item: Value) {
        self.names.insert(as_name(name), item);
    }

    /// Takes the item of a loop away.
    pub fn unbind(&mut self, name: &str) {
        self.names.remove(&as_name(name));
    }

    /// Remembers a choice or a reading under its name; `-` becomes `_`.
    pub fn see(&mut self, name: &str, value: Value) {
        if let Some(Value::Object(seen)) = self.names.get_mut("seen") {
            seen.insert(as_name(name), value);
        }
    }

    /// Forgets what was seen under this name.
    pub fn forget(&mut self, name: &str) {
        if let Some(Value::Object(seen)) = self.names.get_mut("seen") {
            seen.remove(&as_name(name));
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
}

/// Renders `text` for the bike and the loop at hand.
///
/// # Errors
/// The template names what is not there, or does too much.
pub fn render(text: &Template, scope: &Scope) -> Result<String, Diagnostic> {
    // The map is built once per scope and lent to the engine as a whole.
    template::render(text, &scope.names)
}
