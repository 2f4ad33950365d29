//! The names that templates and expressions can use at one point of a walk: `bike`, the items of the current loops, and `seen`.

use super::Template;
use crate::source::{Diagnostic, template};
use serde_json::{Map, Value};
use std::cell::RefCell;
use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

/// The names at one point.
///
/// ```
/// use probeside::expression::Scope;
/// use serde_json::json;
/// let mut scope = Scope::new(json!({"name": "Borage"}));
/// scope.see("rest-voltage", json!(12.6));
/// assert_eq!(scope.seen()["rest_voltage"], 12.6);
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Scope {
    /// The bike and the loops' items. They are shared because a walk creates many scopes for one bike.
    names: BTreeMap<String, Arc<Value>>,
    seen: Seen,
}

/// What was seen so far, by name. Clones share it until one of them changes.
///
/// ```
/// use probeside::expression::Seen;
/// use serde_json::json;
/// let mut seen = Seen::default();
/// seen.see("rest-voltage", json!(12.6));
/// assert_eq!(seen.value()["rest_voltage"], 12.6);
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Seen(Arc<Value>);

impl Default for Seen {
    fn default() -> Self {
        Self(Arc::new(Value::Object(Map::new())))
    }
}

impl Seen {
    /// Records a choice or a reading under its name; `-` becomes `_`.
    pub fn see(&mut self, name: &str, value: Value) {
        if let Value::Object(seen) = Arc::make_mut(&mut self.0) {
            seen.insert(as_name(name), value);
        }
    }

    /// Removes what was seen under this name.
    pub fn forget(&mut self, name: &str) {
        if let Value::Object(seen) = Arc::make_mut(&mut self.0) {
            seen.remove(&as_name(name));
        }
    }

    /// Whether anything was seen under this name.
    pub fn has(&self, name: &str) -> bool {
        self.0.get(as_name(name)).is_some()
    }

    /// All of it, as an object.
    pub fn value(&self) -> &Value {
        &self.0
    }
}

/// Names have `_` where ids have `-`.
pub(super) fn as_name(id: &str) -> String {
    id.replace('-', "_")
}

impl Scope {
    /// The scope before anything was seen. `bike` comes from [`crate::bike::as_value`].
    pub fn new(bike: impl Into<Arc<Value>>) -> Self {
        Self::after(bike, Seen::default())
    }

    /// The scope after `seen`.
    pub fn after(bike: impl Into<Arc<Value>>, seen: Seen) -> Self {
        Self { names: [("bike".to_owned(), bike.into())].into(), seen }
    }

    /// Binds a loop's item to its name.
    pub fn bind(&mut self, name: &str, item: impl Into<Arc<Value>>) {
        self.names.insert(as_name(name), item.into());
    }

    /// Records a choice or a reading under its name; `-` becomes `_`.
    pub fn see(&mut self, name: &str, value: Value) {
        self.seen.see(name, value);
    }

    /// Removes what was seen under this name.
    pub fn forget(&mut self, name: &str) {
        self.seen.forget(name);
    }

    /// What was seen.
    pub fn seen(&self) -> &Value {
        self.seen.value()
    }

    /// Every name with its value.
    pub fn names(&self) -> impl Iterator<Item = (&str, &Value)> {
        let bound = self.names.iter().map(|(name, value)| (name.as_str(), &**value));
        bound.chain([("seen", self.seen.value())])
    }

    /// The bike and the loops' items, still shared.
    pub(super) fn shared(&self) -> impl Iterator<Item = (&str, &Arc<Value>)> + Clone {
        self.names.iter().map(|(name, value)| (name.as_str(), value))
    }
}

/// Most texts in the cache.
const MOST_REMEMBERED: usize = 4096;
/// Most cached results of one text: a few rounds.
const MOST_WAYS: usize = 64;

/// A rendered text with its inputs, which stay shared while it is cached.
struct Rendered {
    with: Vec<(String, Arc<Value>)>,
    text: String,
}

/// Whether both hold the same values under the same names.
pub(super) fn same_values(one: &[(String, Arc<Value>)], other: &[(&str, &Arc<Value>)]) -> bool {
    one.len() == other.len() && one.iter().zip(other).all(|((a, x), (b, y))| a == b && Arc::ptr_eq(x, y))
}

/// The values as owned entries for the cache.
pub(super) fn kept_values(some: &[(&str, &Arc<Value>)]) -> Vec<(String, Arc<Value>)> {
    some.iter().map(|(name, value)| ((*name).to_owned(), (*value).clone())).collect()
}

thread_local! {
    /// The rendered templates that use only the bike and the loops' items, by text. A proof renders each many thousand times.
    static RENDERED: RefCell<HashMap<String, Vec<Rendered>>> = RefCell::default();
}

/// Renders `text` for the current bike and loop item.
///
/// # Errors
/// The template uses an unknown name, or does too much work.
pub fn render(text: &Template, scope: &Scope) -> Result<String, Diagnostic> {
    if !template::is_template(text) {
        return Ok(text.value.clone());
    }
    if text.contains("seen") {
        return template::render(text, scope.names());
    }
    let with: Vec<(&str, &Arc<Value>)> = scope.shared().filter(|(name, _)| text.contains(name)).collect();
    let same = |one: &&Rendered| same_values(&one.with, &with);
    let known = RENDERED.with_borrow(|all| all.get(&text.value)?.iter().find(same).map(|one| one.text.clone()));
    if let Some(known) = known {
        return Ok(known);
    }
    let out = template::render(text, scope.names())?;
    RENDERED.with_borrow_mut(|all| {
        if all.len() >= MOST_REMEMBERED {
            all.clear();
        }
        let ways = all.entry(text.value.clone()).or_default();
        if ways.len() >= MOST_WAYS {
            ways.clear();
        }
        ways.push(Rendered { with: kept_values(&with), text: out.clone() });
    });
    Ok(out)
}

/// Renders names for the current bike and loop item. A text may hold several names, separated by commas, or none.
///
/// # Errors
/// A template that cannot be rendered.
pub fn render_names(texts: &[Template], scope: &Scope) -> Result<Vec<String>, Diagnostic> {
    let mut names = Vec::new();
    for text in texts {
        let all = render(text, scope)?;
        names.extend(all.split(',').map(str::trim).filter(|name| !name.is_empty()).map(str::to_owned));
    }
    Ok(names)
}
