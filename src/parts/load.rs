//! Loads a kind of part from its file.

use super::kind::{Ends, PartKind, Primitive, PrimitiveKind, Terminals, Unplugs, Value};
use super::shape::PART;
use super::specimen;
use crate::expression;
use crate::source::shape::suggestion;
use crate::source::tree::{self, Kind, Node};
use crate::source::{Diagnostic, Written, template};
use crate::units::Unit;
use std::collections::BTreeSet;

/// Primitives with another number of ends than two.
const ENDS: [(PrimitiveKind, usize, usize); 2] =
    [(PrimitiveKind::Windings, 4, 4), (PrimitiveKind::Selector, 2, usize::MAX)];

/// Parses a kind from `text`. `file` is the name used in places.
///
/// # Errors
/// Every error in the file, each with its place.
pub(super) fn parse(text: &str, file: &str) -> Result<PartKind, Vec<Diagnostic>> {
    let root = tree::parse(text, file)?;
    let mut findings = Vec::new();
    PART.check(&root, "the file", &mut findings);
    if !findings.is_empty() {
        return Err(findings);
    }
    let kind = decode(&root, text);
    check(&kind, &root, &mut findings);
    if findings.is_empty() {
        specimen::check(&kind, &root.place, &mut findings);
    }
    if findings.is_empty() { Ok(kind) } else { Err(findings) }
}

fn decode(root: &Node, text: &str) -> PartKind {
    let terminals = match root.get("terminals") {
        Some(named) if matches!(named.kind, Kind::Map(_)) => Terminals::Named(
            named.entries().iter().map(|(key, words)| (key.name.value.clone(), words.written())).collect(),
        ),
        Some(word) if word.spelling == "itself" => Terminals::Itself,
        _ => Terminals::Given,
    };
    let unplugs = match root.get("unplugs") {
        None => Unplugs::Never,
        Some(word) if word.items().is_empty() => Unplugs::Whole,
        Some(some) => Unplugs::At(some.items().iter().map(|item| item.spelling.clone()).collect()),
    };
    PartKind {
        id: root.text("part"),
        words: root.text("words"),
        terminals,
        values: root.dict("values").map(|(name, of)| value(name, of)).collect(),
        unplugs,
        model: root.get("model").map(Node::items).unwrap_or_default().iter().map(primitive).collect(),
        cranks: root.get("cranks").is_some_and(|cranks| cranks.kind == Kind::Bool(true)),
        text: text.into(),
    }
}

fn value(name: Written<String>, of: &Node) -> Value {
    let times = of.get("times").map(Node::items).unwrap_or_default();
    let number = |node: &Node| if let Kind::Number(value) = node.kind { value } else { 1.0 };
    Value {
        name: name.value,
        unit: Unit::named(&of.text("unit")).unwrap_or(Unit::One),
        usual: of.written_at("usual"),
        limits: (of.number("low").unwrap_or_default(), of.number("high").unwrap_or_default()),
        spread: of.number("spread"),
        times: if let [low, high] = times { Some((number(low), number(high))) } else { None },
        about: of.text("about").value,
        source: of.written_at("source").map(|source| source.value).unwrap_or_default(),
    }
}

fn primitive(of: &Node) -> Primitive {
    let mut primitive =
        Primitive { name: None, kind: PrimitiveKind::Resistance, ends: Ends::Halves, figures: Default::default() };
    for (key, node) in of.entries() {
        let name = key.name.as_str();
        if let Some(kind) = PrimitiveKind::named(name) {
            primitive.kind = kind;
            primitive.ends = match node.items() {
                [] if node.spelling == "positions" => Ends::Positions,
                [] => Ends::Halves,
                several => Ends::Named(several.iter().map(|end| end.spelling.clone()).collect()),
            };
        } else if name == "name" {
            primitive.name = Some(node.spelling.clone());
        } else {
            let figures = if node.items().is_empty() {
                vec![node.written()]
            } else {
                node.items().iter().map(Node::written).collect()
            };
            primitive.figures.insert(name.to_owned(), figures);
        }
    }
    primitive
}

fn check(kind: &PartKind, root: &Node, findings: &mut Vec<Diagnostic>) {
    findings.extend(template::check_syntax(&kind.words).err());
    let known: Vec<&str> = match &kind.terminals {
        Terminals::Named(named) => named.iter().map(|(name, _)| name.as_str()).collect(),
        _ => Vec::new(),
    };
    if let Terminals::Named(named) = &kind.terminals {
        findings.extend(named.iter().filter_map(|(_, words)| template::check_syntax(words).err()));
    }
    let ends =
        kind.model.iter().filter_map(|p| if let Ends::Named(ends) = &p.ends { Some(ends) } else { None }).flatten();
    let off = if let Unplugs::At(ends) = &kind.unplugs { ends.as_slice() } else { &[] };
    for end in ends.chain(off).filter(|end| !known.contains(&end.as_str())) {
        let message = format!("a {} has no terminal `{end}`", *kind.id);
        findings.push(Diagnostic::error(&root.place, "unknown-terminal", message).help(suggestion(end, &known)));
    }
    for primitive in &kind.model {
        let (least, most) =
            ENDS.iter().find(|(of, ..)| *of == primitive.kind).map_or((2, 2), |(_, least, most)| (*least, *most));
        if let Ends::Named(ends) = &primitive.ends
            && !(least..=most).contains(&ends.len())
        {
            let message =
                format!("a {} of a {} has {} terminals and needs {least}", primitive.kind, *kind.id, ends.len());
            findings.push(Diagnostic::error(&root.place, "count", message));
        }
        findings
            .extend(primitive.figures.values().flatten().filter_map(|figure| expression::check_syntax(figure).err()));
    }
    branches(kind, root, findings);
    given_ends(kind, root, findings);
    for value in &kind.values {
        findings.extend(value.usual.iter().filter_map(|usual| expression::check_syntax(usual).err()));
        if value.limits.0 > value.limits.1 {
            let message = format!("`{}` of a {} has a `low` above its `high`", value.name, *kind.id);
            findings.push(Diagnostic::error(&root.place, "limits", message).help("Exchange the two."));
        }
    }
}

/// Every branch of the model has its own name.
fn branches(kind: &PartKind, root: &Node, findings: &mut Vec<Diagnostic>) {
    let mut names = BTreeSet::new();
    for primitive in &kind.model {
        if !names.insert(&primitive.name) {
            let message = match &primitive.name {
                Some(name) => format!("two primitives of a {} are named `{name}`", *kind.id),
                None => format!("two primitives of a {} have no name", *kind.id),
            };
            let help = "Give each its own `name`; one may go without.";
            findings.push(Diagnostic::error(&root.place, "name", message).help(help));
        }
    }
}

/// `halves` and `positions` are terminals that the profile gives, and a kind whose terminals the profile gives has one of the two.
fn given_ends(kind: &PartKind, root: &Node, findings: &mut Vec<Diagnostic>) {
    let given = kind.model.iter().filter(|primitive| !matches!(primitive.ends, Ends::Named(_))).count();
    let message = match (&kind.terminals, given) {
        (Terminals::Given, 1) => return,
        (Terminals::Given, _) => {
            format!("the terminals of a {} are given, and its model says so {given} times", *kind.id)
        }
        (_, 0) => return,
        _ => format!("the model of a {} is joined to terminals that the profile gives, and it has its own", *kind.id),
    };
    let help = "`terminals: given` belongs to one `resistance: halves` or one `switch: positions`.";
    findings.push(Diagnostic::error(&root.place, "count", message).help(help));
}
