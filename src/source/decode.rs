//! Reads values from a tree whose shape was checked. A missing field yields the type's empty value.

use super::Written;
use super::tree::{Kind, Node};

impl Node {
    /// The text with its place. A number is returned as spelled.
    pub fn written(&self) -> Written<String> {
        Written { value: self.spelling.clone(), place: self.place.clone() }
    }

    /// The field's text with its place.
    pub fn written_at(&self, name: &str) -> Option<Written<String>> {
        self.get(name).map(Node::written)
    }

    /// The field's text. Empty, at the mapping's place, if the field is missing.
    pub fn text(&self, name: &str) -> Written<String> {
        let absent = || Written { value: String::new(), place: self.place.clone() };
        self.written_at(name).unwrap_or_else(absent)
    }

    /// The field's texts.
    pub fn texts(&self, name: &str) -> Vec<Written<String>> {
        self.get(name).map(|list| list.items().iter().map(Node::written).collect()).unwrap_or_default()
    }

    /// The field's number.
    pub fn number(&self, name: &str) -> Option<f64> {
        match self.get(name)?.kind {
            Kind::Number(value) => Some(value),
            _ => None,
        }
    }

    /// Whether the field is `true`.
    pub fn truth(&self, name: &str) -> bool {
        matches!(self.get(name), Some(Node { kind: Kind::Bool(true), .. }))
    }

    /// The entries of the mapping in the field: key, the key's place, value.
    pub fn dict(&self, name: &str) -> impl Iterator<Item = (Written<String>, &Node)> {
        self.get(name).map(Node::entries).unwrap_or_default().iter().map(|(key, value)| (key.name.clone(), value))
    }
}
