//! Loads a fault library from its YAML file. Whether its names exist on a bike is checked on expansion.

use super::shape::FAULTS;
use super::{Kind, Library, Look};
use crate::expression;
use crate::source::tree::{self, Node};
use crate::source::{Diagnostic, Written, read_text, template};
use std::path::Path;

impl Library {
    /// Loads the library in `path`.
    ///
    /// # Errors
    /// Every error in the file, each with its place.
    pub fn load(path: &Path) -> Result<Self, Vec<Diagnostic>> {
        let text = read_text(path).map_err(|error| vec![error])?;
        let library = Self::parse(&text, &path.to_string_lossy())?;
        let stem = path.file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default();
        if stem != *library.name {
            let message = format!("the library calls itself `{}` and its file is named `{stem}`", *library.name);
            return Err(vec![Diagnostic::error(&library.name.place, "name", message).help("Give both the same name.")]);
        }
        Ok(library)
    }

    /// Parses a library from `text`. `file` is the name used in places.
    ///
    /// # Errors
    /// As [`Library::load`].
    pub fn parse(text: &str, file: &str) -> Result<Self, Vec<Diagnostic>> {
        Self::from_tree(&tree::parse(text, file)?)
    }

    /// Decodes a library from its tree.
    ///
    /// # Errors
    /// As [`Library::load`].
    pub fn from_tree(root: &Node) -> Result<Self, Vec<Diagnostic>> {
        let mut findings = Vec::new();
        FAULTS.check(root, "the file", &mut findings);
        if !findings.is_empty() {
            return Err(findings);
        }
        let look = |(name, of): (Written<String>, &Node)| {
            (name.value, Look { words: of.text("words").value, healthy: of.text("healthy").value })
        };
        let library = Self {
            name: root.text("faults"),
            source: root.text("source").value,
            outside: root.texts("outside").into_iter().map(|text| text.value).collect(),
            looks: root.dict("looks").map(look).collect(),
            kinds: root.dict("kinds").map(|(id, of)| kind(id, of)).collect(),
        };
        library.kinds.iter().for_each(|kind| library.check(kind, &mut findings));
        if findings.is_empty() { Ok(library) } else { Err(findings) }
    }

    fn check(&self, kind: &Kind, findings: &mut Vec<Diagnostic>) {
        let alterations = kind.alter.iter().flat_map(|change| &change.texts);
        let looks = kind.looks.iter().flat_map(|(_, at, is)| [at, is]);
        let texts =
            [&kind.words, &kind.cure].into_iter().chain(&kind.place).chain(&kind.parts).chain(alterations).chain(looks);
        findings.extend(texts.filter_map(|text| template::check_syntax(text).err()));
        let numbers = kind.alter.iter().flat_map(|change| &change.numbers);
        let expressions = kind.over.iter().chain(&kind.when).chain(&kind.counts).chain(numbers);
        findings.extend(expressions.filter_map(|each| expression::check_syntax(each).err()));
        for (look, _, is) in &kind.looks {
            match self.looks.get(look.as_str()) {
                None => {
                    let known: Vec<&str> = self.looks.keys().map(String::as_str).collect();
                    let message = format!("the library has no look `{}`", **look);
                    let help = crate::source::shape::suggestion(look, &known);
                    findings.push(Diagnostic::error(&look.place, "unknown-look", message).help(help));
                }
                Some(of) if of.healthy == **is => {
                    let message = format!("`{}` is what a healthy bike shows", **is);
                    let help = "A fault shows something else, or leave it out.";
                    findings.push(Diagnostic::error(&is.place, "unknown-look", message).help(help));
                }
                Some(_) => {}
            }
        }
        if let (Some(over), None) = (&kind.over, &kind.bind) {
            let message = format!("`{}` has `over` and needs `bind`", *kind.id);
            let help = "Give the place a name for templates and expressions.";
            findings.push(Diagnostic::error(&over.place, "missing-field", message).help(help));
        }
    }
}

fn kind(id: Written<String>, of: &Node) -> Kind {
    let severities = of.get("severities");
    let values = severities.and_then(|s| s.get("values")).map(Node::items).unwrap_or_default();
    let number = |node: &Node| match node.kind {
        tree::Kind::Number(value) => Some(value),
        _ => None,
    };
    Kind {
        id,
        words: of.text("words"),
        over: of.written_at("over"),
        bind: of.written_at("bind"),
        place: of.written_at("place"),
        when: of.written_at("when"),
        parts: of.texts("parts"),
        cure: of.text("cure"),
        likelihood: of.number("likelihood").unwrap_or_default(),
        unit: severities.map(|s| s.text("unit").value),
        severities: values.iter().filter_map(number).collect(),
        counts: of.written_at("counts"),
        only_by_substitution: of.written_at("only-by-substitution").map(|text| text.value),
        alter: of.get("alter").map(Node::items).unwrap_or_default().iter().map(super::Change::of).collect(),
        looks: of
            .get("looks")
            .map(Node::items)
            .unwrap_or_default()
            .iter()
            .map(|shown| (shown.text("look"), shown.text("at"), shown.text("is")))
            .collect(),
    }
}
