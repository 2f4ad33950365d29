//! The shapes of the files as tables: the fields of each object, their contents, and which are required. The tables serve both reading
//! ([`Shape::check`] reports every deviation with its place) and the JSON Schemas ([`super::schema`]).

use super::tree::{Key, Kind, Node};
use super::{Diagnostic, Place};

/// The purpose of a text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TextFor {
    /// One of our own names: lower-case letters, digits, `-` and `_`, starting with a letter.
    Id,
    /// Plain words.
    Words,
    /// Jinja syntax.
    Template,
    /// Common Expression Language. A bare number is accepted too.
    Expression,
}

/// The shape of a value in a file.
#[derive(Debug)]
pub enum Shape {
    /// A text.
    Text(TextFor),
    /// A number, with minimum and maximum.
    Number(f64, f64),
    /// A whole number, with minimum and maximum.
    Whole(u32, u32),
    /// `true` or `false`.
    Truth,
    /// One of a closed list of words. The first part names what the words are: "unit".
    OneOf(&'static str, fn() -> Vec<&'static str>),
    /// A list, with the minimum and maximum number of items.
    List(usize, usize, &'static Shape),
    /// A mapping with free keys, with the minimum number of entries.
    Dict(usize, TextFor, &'static Shape),
    /// A mapping with known fields.
    Object(&'static Object),
    /// A mapping that has exactly one of these fields, which identifies it.
    Tagged(&'static str, &'static [(&'static str, Object)]),
    /// Shapes distinguished by kind: text, list or mapping.
    ByKind(&'static [&'static Shape]),
    /// Another shape, with its name in the schema.
    Ref(&'static str, &'static Shape),
}

/// A mapping with known fields.
#[derive(Debug)]
pub struct Object {
    /// What it is called, with its article: "a step".
    pub what: &'static str,
    /// Its fields.
    pub fields: &'static [Field],
}

/// A field of an [`Object`].
#[derive(Debug)]
pub struct Field {
    /// Its name.
    pub name: &'static str,
    /// What it holds.
    pub shape: Shape,
    /// Whether it is required.
    pub needed: bool,
    /// Its purpose, as a sentence.
    pub about: &'static str,
}

/// A required field.
pub const fn needed(name: &'static str, shape: Shape, about: &'static str) -> Field {
    Field { name, shape, needed: true, about }
}

/// An optional field.
pub const fn optional(name: &'static str, shape: Shape, about: &'static str) -> Field {
    Field { name, shape, needed: false, about }
}

/// Longest accepted text, characters.
pub const LONGEST_TEXT: usize = 4_000;
/// Longest accepted expression, bytes. A longer one could overflow the evaluator's stack.
pub const LONGEST_EXPRESSION: usize = 2_000;

impl Shape {
    /// Adds every error in `node` to `findings`. `what` names the place in the sentence: "`time`".
    pub fn check(&self, node: &Node, what: &str, findings: &mut Vec<Diagnostic>) {
        match self {
            Shape::Text(purpose) => check_text(*purpose, node, what, findings),
            Shape::Number(least, most) => match node.kind {
                Kind::Number(value) if *least <= value && value <= *most => {}
                Kind::Number(_) => findings.push(wrong(node, what, &format!("a number from {least} to {most}"))),
                _ => findings.push(wrong(node, what, "a number")),
            },
            Shape::Whole(least, most) => match node.kind {
                Kind::Number(value)
                    if value.fract() == 0.0 && f64::from(*least) <= value && value <= f64::from(*most) => {}
                _ => findings.push(wrong(node, what, &format!("a whole number from {least} to {most}"))),
            },
            Shape::Truth => {
                if !matches!(node.kind, Kind::Bool(_)) {
                    findings.push(wrong(node, what, "true or false"));
                }
            }
            Shape::OneOf(of, names) => check_name(of, &names(), node, what, findings),
            Shape::List(least, most, item) => match &node.kind {
                Kind::List(items) if (*least..=*most).contains(&items.len()) => {
                    for each in items {
                        item.check(each, &format!("an item of {what}"), findings);
                    }
                }
                Kind::List(items) => {
                    let span = match items.len() {
                        _ if least == most => format!("{least}"),
                        many if many > *most => format!("at most {most}"),
                        _ => format!("at least {least}"),
                    };
                    let message = format!("{what} has {} items and needs {span}", items.len());
                    findings.push(Diagnostic::error(&node.place, "count", message));
                }
                _ => findings.push(wrong(node, what, "a list")),
            },
            Shape::Dict(least, keys, value) => check_dict(*least, *keys, value, node, what, findings),
            Shape::Object(object) => object.check(node, what, findings),
            Shape::Tagged(of, kinds) => check_tagged(of, kinds, node, what, findings),
            Shape::ByKind(shapes) => match shapes.iter().find(|shape| shape.takes(node)) {
                Some(shape) => shape.check(node, what, findings),
                None => {
                    let kinds: Vec<&str> = shapes.iter().map(|shape| shape.kind()).collect();
                    findings.push(wrong(node, what, &kinds.join(" or ")));
                }
            },
            Shape::Ref(_, shape) => shape.check(node, what, findings),
        }
    }

    fn takes(&self, node: &Node) -> bool {
        match self {
            Shape::Text(TextFor::Expression) => matches!(node.kind, Kind::Text(_) | Kind::Number(_)),
            Shape::Text(_) | Shape::OneOf(..) => matches!(node.kind, Kind::Text(_) | Kind::Bool(_)),
            Shape::Number(..) | Shape::Whole(..) => matches!(node.kind, Kind::Number(_)),
            Shape::Truth => matches!(node.kind, Kind::Bool(_)),
            Shape::List(..) => matches!(node.kind, Kind::List(_)),
            Shape::Dict(..) | Shape::Object(_) | Shape::Tagged(..) => matches!(node.kind, Kind::Map(_)),
            Shape::ByKind(shapes) => shapes.iter().any(|shape| shape.takes(node)),
            Shape::Ref(_, shape) => shape.takes(node),
        }
    }

    fn kind(&self) -> &'static str {
        match self {
            Shape::Text(TextFor::Expression) => "an expression",
            Shape::Text(_) => "a text",
            Shape::OneOf(..) => "a word",
            Shape::Number(..) | Shape::Whole(..) => "a number",
            Shape::Truth => "true or false",
            Shape::List(..) => "a list",
            Shape::Dict(..) | Shape::Object(_) | Shape::Tagged(..) => "a mapping",
            Shape::ByKind(_) => "a value",
            Shape::Ref(_, shape) => shape.kind(),
        }
    }
}

impl Object {
    /// As [`Shape::check`].
    pub fn check(&self, node: &Node, what: &str, findings: &mut Vec<Diagnostic>) {
        let Kind::Map(entries) = &node.kind else {
            findings.push(wrong(node, what, &format!("{}, which is a mapping", self.what)));
            return;
        };
        for (key, value) in entries {
            match self.fields.iter().find(|field| field.name == *key.name) {
                Some(field) => field.shape.check(value, &format!("`{}`", field.name), findings),
                None => findings.push(self.unknown(key)),
            }
        }
        for field in self.fields.iter().filter(|field| field.needed && node.get(field.name).is_none()) {
            let message = format!("{what} is {} and needs the field `{}`", self.what, field.name);
            findings.push(Diagnostic::error(&node.place, "missing-field", message).help(field.about));
        }
    }

    fn unknown(&self, key: &Key) -> Diagnostic {
        let names: Vec<&str> = self.fields.iter().map(|field| field.name).collect();
        let message = format!("{} has no field `{}`", self.what, *key.name);
        Diagnostic::error(&key.name.place, "unknown-field", message).help(suggestion(&key.name, &names))
    }
}

/// Suggests a similar name ("Did you mean"), or lists the valid ones.
pub fn suggestion(word: &str, names: &[&str]) -> String {
    /// Words less similar than this are not suggested (Jaro-Winkler, 0 to 1).
    const ALIKE: f64 = 0.8;
    let best = names
        .iter()
        .map(|name| (strsim::jaro_winkler(word, name), *name))
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .filter(|(alike, _)| *alike >= ALIKE);
    match best {
        Some((_, name)) => format!("Did you mean `{name}`?"),
        None if names.is_empty() => "There is none to choose from.".to_owned(),
        None => format!("There is: {}.", names.join(", ")),
    }
}

fn wrong(node: &Node, what: &str, expected: &str) -> Diagnostic {
    let unquoted = matches!(node.kind, Kind::Bool(_)) && !expected.starts_with("true");
    let message = format!("{what} needs {expected} and has {}", node.describe());
    if unquoted {
        return unquoted_word(&node.place, &node.spelling);
    }
    Diagnostic::error(&node.place, "wrong-type", message)
}

/// The finding that an unquoted word is read as a boolean.
fn unquoted_word(place: &Place, word: &str) -> Diagnostic {
    let message = format!("without quotes, YAML reads `{word}` as true or false, not as the word");
    Diagnostic::error(place, "unquoted", message).help(format!("Write \"{word}\"."))
}

fn check_text(purpose: TextFor, node: &Node, what: &str, findings: &mut Vec<Diagnostic>) {
    let mut fault = |message: String, help: &str| {
        findings.push(Diagnostic::error(&node.place, "text", message).help(help));
    };
    match &node.kind {
        Kind::Text(text) if text.trim().is_empty() => {
            fault(format!("{what} is an empty text"), "Write it, or leave the field out.")
        }
        Kind::Text(text) if text.chars().count() > LONGEST_TEXT => {
            fault(format!("{what} is longer than {LONGEST_TEXT} characters"), "Say less.");
        }
        Kind::Text(text) if purpose == TextFor::Expression && text.len() > LONGEST_EXPRESSION => {
            fault(
                format!("{what} is an expression longer than {LONGEST_EXPRESSION} bytes"),
                "Split it over several steps.",
            );
        }
        Kind::Text(text) if purpose == TextFor::Id && !is_id(text) => {
            fault(format!("{what} is \"{text}\", which is not a name"), ID_RULE);
        }
        Kind::Text(_) => {}
        Kind::Number(_) if purpose == TextFor::Expression => {}
        Kind::Number(_) => {
            let found = wrong(node, what, "a text").help(format!("Write \"{}\".", node.spelling));
            findings.push(found);
        }
        _ if purpose == TextFor::Expression => findings.push(wrong(node, what, "an expression or a number")),
        _ => findings.push(wrong(node, what, "a text")),
    }
}

const ID_RULE: &str = "A name is of lower-case letters, digits, `-` and `_`, and begins with a letter.";

fn is_id(text: &str) -> bool {
    text.starts_with(|c: char| c.is_ascii_lowercase())
        && text.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-' || c == '_')
}

fn check_name(of: &str, names: &[&str], node: &Node, what: &str, findings: &mut Vec<Diagnostic>) {
    match &node.kind {
        Kind::Text(word) if names.contains(&word.as_str()) => {}
        Kind::Text(word) => {
            let message = format!("`{word}` is not a {of}");
            findings.push(Diagnostic::error(&node.place, "unknown-word", message).help(suggestion(word, names)));
        }
        // `unit: 1` means the unit named 1.
        Kind::Number(_) if names.contains(&node.spelling.as_str()) => {}
        _ => findings.push(wrong(node, what, &format!("a {of} ({})", names.join(", ")))),
    }
}

fn check_dict(least: usize, keys: TextFor, value: &Shape, node: &Node, what: &str, findings: &mut Vec<Diagnostic>) {
    let Kind::Map(entries) = &node.kind else {
        findings.push(wrong(node, what, "a mapping"));
        return;
    };
    if entries.len() < least {
        let message = format!("{what} has {} entries and needs at least {least}", entries.len());
        findings.push(Diagnostic::error(&node.place, "count", message));
    }
    for (key, each) in entries {
        if key.is_bool {
            findings.push(unquoted_word(&key.name.place, &key.name));
        } else if keys == TextFor::Id && !is_id(&key.name) {
            let message = format!("\"{}\" is not a name", *key.name);
            findings.push(Diagnostic::error(&key.name.place, "text", message).help(ID_RULE));
        }
        value.check(each, &format!("`{}`", *key.name), findings);
    }
}

fn check_tagged(of: &str, kinds: &[(&str, Object)], node: &Node, what: &str, findings: &mut Vec<Diagnostic>) {
    let names: Vec<&str> = kinds.iter().map(|(tag, _)| *tag).collect();
    if !matches!(node.kind, Kind::Map(_)) {
        findings.push(wrong(node, what, &format!("{of}: a mapping with one of {}", names.join(", "))));
        return;
    }
    let found: Vec<_> = kinds.iter().filter(|(tag, _)| node.get(tag).is_some()).collect();
    match found.as_slice() {
        [(_, object)] => object.check(node, what, findings),
        [] => {
            let help = match node.entries() {
                [(key, _), ..] => suggestion(&key.name, &names),
                [] => suggestion("", &names),
            };
            let message = format!("{what} needs {of}, with one of the fields {}", names.join(", "));
            findings.push(Diagnostic::error(&node.place, "missing-field", message).help(help));
        }
        [(first, _), (second, _), ..] => {
            let message = format!("{what} has both `{first}` and `{second}`");
            findings.push(Diagnostic::error(&node.place, "unknown-field", message).help("Keep one of the two."));
        }
    }
}
