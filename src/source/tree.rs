//! A YAML document as a tree whose nodes know their places. Depth, nodes and aliases are bounded. A duplicate key is reported, and an
//! unquoted `no` can be recognised as a boolean.

use super::{Diagnostic, Place, Written};
use serde::de::{Deserialize, Deserializer, MapAccess, SeqAccess, Visitor};
use serde_yaml::options::{AliasLimits, DuplicateKeyPolicy, MergeKeyPolicy, NonFiniteFloatPolicy};
use serde_yaml::{Location, Spanned};
use std::fmt;
use std::sync::Arc;

/// Deepest nesting.
const MAX_DEPTH: usize = 48;
/// Most nodes, including those repeated by aliases.
const MAX_NODES: usize = 100_000;
/// Most aliases in a file.
const MAX_ALIASES: usize = 1_000;

/// A node's kind and value.
#[derive(Debug, Clone, PartialEq)]
pub enum Kind {
    /// Nothing: `null`, `~` or no value.
    Nothing,
    /// An unquoted `true`, `false`, `yes`, `no`, `on`, `off`.
    Bool(bool),
    /// An unquoted number.
    Number(f64),
    /// A text.
    Text(String),
    /// A list.
    List(Vec<Node>),
    /// A mapping in the file's order, without duplicate keys.
    Map(Vec<(Key, Node)>),
}

/// The key of a mapping's entry.
#[derive(Debug, Clone, PartialEq)]
pub struct Key {
    /// The key as written, without quotes.
    pub name: Written<String>,
    /// Whether it is an unquoted boolean, such as `on`.
    pub is_bool: bool,
}

/// A node with its place.
#[derive(Debug, Clone)]
pub struct Node {
    /// Its kind and value.
    pub kind: Kind,
    /// Its place. For an alias, the alias's place.
    pub place: Place,
    /// A scalar as written in the file, without quotes. Empty for lists and mappings.
    pub spelling: String,
}

impl PartialEq for Node {
    fn eq(&self, other: &Self) -> bool {
        self.kind == other.kind
    }
}

impl Node {
    /// The value of the field `name`, if this is a mapping with that field.
    pub fn get(&self, name: &str) -> Option<&Node> {
        self.entries().iter().find(|(key, _)| *key.name == name).map(|(_, value)| value)
    }

    /// The entries of a mapping. Empty for anything else.
    pub fn entries(&self) -> &[(Key, Node)] {
        match &self.kind {
            Kind::Map(entries) => entries,
            _ => &[],
        }
    }

    /// The items of a list. Empty for anything else.
    pub fn items(&self) -> &[Node] {
        match &self.kind {
            Kind::List(items) => items,
            _ => &[],
        }
    }

    /// A description for messages: "the number 5".
    pub fn describe(&self) -> String {
        match &self.kind {
            Kind::Nothing => "nothing".to_owned(),
            Kind::Bool(_) => format!("the unquoted boolean `{}`", self.spelling),
            Kind::Number(_) => format!("the number {}", self.spelling),
            Kind::Text(text) => format!("the text \"{}\"", shortened(text)),
            Kind::List(_) => "a list".to_owned(),
            Kind::Map(_) => "a mapping".to_owned(),
        }
    }
}

fn shortened(text: &str) -> String {
    const LONGEST: usize = 40;
    match text.char_indices().nth(LONGEST) {
        Some((end, _)) => format!("{}...", &text[..end]),
        None => text.to_owned(),
    }
}

/// Parses the single YAML document in `text`. `file` is the name used in places.
///
/// # Errors
/// Syntax errors, exceeded limits, and every duplicate key in a mapping.
pub fn parse(text: &str, file: &str) -> Result<Node, Vec<Diagnostic>> {
    let mut budget = serde_yaml::Budget::default();
    budget.max_depth = MAX_DEPTH;
    budget.max_nodes = MAX_NODES;
    budget.max_aliases = MAX_ALIASES;
    let mut aliases = AliasLimits::default();
    aliases.max_total_replayed_events = MAX_NODES;
    let options = serde_yaml::options! {
        budget: Some(budget),
        alias_limits: aliases,
        duplicate_keys: DuplicateKeyPolicy::PassThrough,
        merge_keys: MergeKeyPolicy::Error,
        non_finite_float_policy: NonFiniteFloatPolicy::AsString,
        with_snippet: false,
    };
    let file: Arc<str> = Arc::from(file);
    let raw: Raw = serde_yaml::from_str_with_options(text, options).map_err(|error| vec![syntax(&error, &file)])?;
    let mut placer = Placer { text, file, findings: Vec::new() };
    let node = placer.node(raw);
    if node.kind == Kind::Nothing && placer.findings.is_empty() {
        let empty = Diagnostic::error(&super::whole_file(&placer.file), "syntax", "the file is empty");
        return Err(vec![empty.help("It starts with `procedure:`, `bike:` or `vocabulary:`.")]);
    }
    if placer.findings.is_empty() { Ok(node) } else { Err(placer.findings) }
}

fn syntax(error: &serde_yaml::Error, file: &Arc<str>) -> Diagnostic {
    use serde_yaml::Error;
    const LIMIT: &str = "limit exceeded";
    let error = error.without_snippet();
    let (line, column) = error.location().map_or((0, 0), |l| (l.line() as u32, l.column() as u32));
    let place = Place { file: file.clone(), line, column };
    let told = |message: &str, help: &str| Diagnostic::error(&place, "syntax", message).help(help);
    let text = error.to_string();
    match error {
        Error::AliasError { .. } if text.contains(LIMIT) => over_limit(&place),
        Error::Budget { .. }
        | Error::AliasReplayLimitExceeded { .. }
        | Error::AliasExpansionLimitExceeded { .. }
        | Error::AliasReplayStackDepthExceeded { .. }
        | Error::AliasReplayCounterOverflow { .. } => over_limit(&place),
        Error::MultipleDocuments { .. } => {
            told("the file holds more than one document", "Split it at the line `---` into files of their own.")
        }
        Error::MergeKeyNotAllowed { .. } => told("merge keys (`<<`) are not taken", "Write the fields out."),
        Error::RecursiveReferencesRequireWeakTypes { .. } => {
            told("an alias stands inside what it names", "Write the part out, without `*`.")
        }
        _ => {
            let first = text.lines().next().unwrap_or_default();
            let cut = first.split(" at line ").next().unwrap_or(first);
            told(
                &format!("this is not well-formed YAML: {cut}"),
                "Look at indents, colons, brackets and quotes here and just above.",
            )
        }
    }
}

fn over_limit(place: &Place) -> Diagnostic {
    let message = format!(
        "the file goes over a limit: at most {MAX_DEPTH} levels deep, {MAX_NODES} nodes, {MAX_ALIASES} aliases"
    );
    Diagnostic::error(place, "syntax", message).help("Write it flatter, with fewer aliases.")
}

struct Placer<'t> {
    text: &'t str,
    file: Arc<str>,
    findings: Vec<Diagnostic>,
}

impl Placer<'_> {
    fn place(&self, at: Location) -> Place {
        Place { file: self.file.clone(), line: at.line() as u32, column: at.column() as u32 }
    }

    fn spelling(&self, raw: &Raw) -> String {
        match &raw.kind {
            RawKind::Text(text) => return text.clone(),
            RawKind::List(_) | RawKind::Map(_) => return String::new(),
            _ => {}
        }
        let span = raw.defined.span();
        let slice = span.byte_offset().zip(span.byte_len()).and_then(|(from, len)| {
            let from = usize::try_from(from).ok()?;
            self.text.get(from..from.checked_add(usize::try_from(len).ok()?)?)
        });
        slice.unwrap_or_default().trim().to_owned()
    }

    fn node(&mut self, raw: Raw) -> Node {
        let place = self.place(raw.at);
        let spelling = self.spelling(&raw);
        let kind = match raw.kind {
            RawKind::Nothing => Kind::Nothing,
            RawKind::Bool(value) => Kind::Bool(value),
            RawKind::Number(value) => Kind::Number(value),
            RawKind::Text(text) => Kind::Text(text),
            RawKind::List(items) => Kind::List(items.into_iter().map(|item| self.node(item)).collect()),
            RawKind::Map(entries) => Kind::Map(self.entries(entries)),
        };
        Node { kind, place, spelling }
    }

    fn entries(&mut self, raw: Vec<(Raw, Raw)>) -> Vec<(Key, Node)> {
        let mut seen: std::collections::HashMap<String, u32> = std::collections::HashMap::new();
        let mut entries = Vec::new();
        for (key, value) in raw {
            let key = self.node(key);
            if matches!(key.kind, Kind::List(_) | Kind::Map(_) | Kind::Nothing) {
                let message = format!("{} cannot be the name of a field", key.describe());
                self.findings.push(
                    Diagnostic::error(&key.place, "syntax", message)
                        .help("Use a word. Does a text with `{{` lack its quotes?"),
                );
                continue;
            }
            let is_bool = matches!(key.kind, Kind::Bool(_));
            let name = key.spelling;
            if let Some(line) = seen.get(&name) {
                let message = format!("`{name}` stands twice here, first in line {line}");
                self.findings
                    .push(Diagnostic::error(&key.place, "duplicate-key", message).help("Keep one of the two."));
                continue;
            }
            seen.insert(name.clone(), key.place.line);
            let name = Written { value: name, place: key.place };
            entries.push((Key { name, is_bool }, self.node(value)));
        }
        entries
    }
}

enum RawKind {
    Nothing,
    Bool(bool),
    Number(f64),
    Text(String),
    List(Vec<Raw>),
    Map(Vec<(Raw, Raw)>),
}

struct Raw {
    kind: RawKind,
    at: Location,
    defined: Location,
}

impl<'de> Deserialize<'de> for Raw {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let Spanned { value, referenced, defined } = Spanned::<RawKind>::deserialize(from)?;
        Ok(Raw { kind: value, at: referenced, defined })
    }
}

impl<'de> Deserialize<'de> for RawKind {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct Any;
        impl<'de> Visitor<'de> for Any {
            type Value = RawKind;
            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a value")
            }
            fn visit_unit<E>(self) -> Result<RawKind, E> {
                Ok(RawKind::Nothing)
            }
            fn visit_bool<E>(self, value: bool) -> Result<RawKind, E> {
                Ok(RawKind::Bool(value))
            }
            fn visit_i64<E>(self, value: i64) -> Result<RawKind, E> {
                Ok(RawKind::Number(value as f64))
            }
            fn visit_u64<E>(self, value: u64) -> Result<RawKind, E> {
                Ok(RawKind::Number(value as f64))
            }
            fn visit_f64<E>(self, value: f64) -> Result<RawKind, E> {
                Ok(RawKind::Number(value))
            }
            fn visit_str<E>(self, text: &str) -> Result<RawKind, E> {
                Ok(RawKind::Text(text.to_owned()))
            }
            fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<RawKind, A::Error> {
                let mut items = Vec::new();
                while let Some(item) = list.next_element()? {
                    items.push(item);
                }
                Ok(RawKind::List(items))
            }
            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<RawKind, A::Error> {
                let mut entries = Vec::new();
                while let Some(entry) = map.next_entry()? {
                    entries.push(entry);
                }
                Ok(RawKind::Map(entries))
            }
        }
        from.deserialize_any(Any)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn findings(text: &str) -> Vec<String> {
        parse(text, "f").unwrap_err().iter().map(|f| f.to_string().lines().next().unwrap().to_owned()).collect()
    }

    #[test]
    fn every_node_knows_its_place() {
        let tree = parse("a: [1, \"two\"]\nb:\n  on: no\n  é: {x: &t text, y: *t}\n", "f").unwrap();
        let place = |node: &Node| (node.place.line, node.place.column);
        assert_eq!(place(&tree.get("a").unwrap().items()[1]), (1, 8));
        let b = tree.get("b").unwrap();
        let (key, value) = &b.entries()[0];
        assert!(key.is_bool);
        assert_eq!((key.name.as_str(), key.name.place.line, key.name.place.column), ("on", 3, 3));
        assert_eq!((&value.kind, value.spelling.as_str(), place(value)), (&Kind::Bool(false), "no", (3, 7)));
        let deep = b.get("é").unwrap();
        assert_eq!(place(deep.get("x").unwrap()).0, 4);
        assert_eq!(place(deep.get("y").unwrap()), (4, 22));
        assert_eq!(deep.get("x"), deep.get("y"));
    }

    #[test]
    fn duplicates_are_all_reported() {
        let all = findings("a: 1\nb: {c: 1, c: 2}\na: 3\n");
        assert_eq!(
            all,
            [
                "f:2:11: error [duplicate-key] `c` stands twice here, first in line 2",
                "f:3:1: error [duplicate-key] `a` stands twice here, first in line 1"
            ]
        );
    }

    #[test]
    fn bombs_and_depths_are_refused() {
        let mut bomb = "a0: &a0 [x, x, x, x, x, x, x, x, x, x]\n".to_owned();
        for level in 1..9 {
            let before = format!("*a{}", level - 1);
            bomb += &format!("a{level}: &a{level} [{}]\n", vec![before; 10].join(", "));
        }
        assert!(findings(&bomb)[0].contains("goes over a limit"), "{:?}", findings(&bomb));
        let deep = "[".repeat(10_000);
        assert_eq!(findings(&deep).len(), 1);
        let nested: String = (0..10_000).map(|level| format!("{}a:\n", " ".repeat(level % 900))).collect();
        assert_eq!(findings(&nested).len(), 1);
        let mut block = String::new();
        for level in 0..200 {
            block += &format!("{}a:\n", " ".repeat(level));
        }
        assert!(findings(&block)[0].contains("goes over a limit"), "{:?}", findings(&block));
    }

    #[test]
    fn what_is_no_yaml_gets_a_sentence() {
        for text in ["", "a: [1", "a: 1\n---\nb: 2\n", "a: b: c", "a: {{ x }}", "<<: {a: 1}", "a: &x [*x]", "a: *none"]
        {
            let all = findings(text);
            assert_eq!(all.len(), 1, "{text:?}");
            assert!(all[0].starts_with("f"), "{all:?}");
        }
    }

    proptest! {
        #[test]
        fn any_text_is_a_tree_or_sentences(text in "[-a-c:\\[\\]{}&*!|>'\"\n #,0-9?%@`<~.]{0,80}") {
            let _ = parse(&text, "f");
        }
    }
}
