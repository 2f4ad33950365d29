//! All kinds by name: those that the program carries, and those of a folder beside a bike, which take precedence.

use super::kind::PartKind;
use super::load::parse;
use crate::source::{Diagnostic, read_text};
use include_dir::{Dir, include_dir};
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{Arc, LazyLock};

/// The shipped files.
static SHIPPED: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/procedures/parts");

/// Kinds of part by name.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Catalogue {
    kinds: BTreeMap<String, Arc<PartKind>>,
}

impl Catalogue {
    /// The kinds that the program carries.
    ///
    /// # Panics
    /// A shipped file is wrong, which the tests rule out.
    pub fn shipped() -> &'static Catalogue {
        static KINDS: LazyLock<Catalogue> = LazyLock::new(|| {
            let mut catalogue = Catalogue::default();
            for file in SHIPPED.files() {
                let text = file.contents_utf8().expect("a shipped part is text");
                let name = format!("parts/{}", file.path().display());
                catalogue.add(text, &name).unwrap_or_else(|wrong| panic!("{}", wrong[0]));
            }
            catalogue
        });
        &KINDS
    }

    /// The shipped kinds, and those in `folder`, if there is one.
    ///
    /// # Errors
    /// Every error in the folder's files.
    pub fn with_folder(folder: &Path) -> Result<Catalogue, Vec<Diagnostic>> {
        let mut catalogue = Self::shipped().clone();
        let Ok(entries) = std::fs::read_dir(folder) else { return Ok(catalogue) };
        let mut findings = Vec::new();
        let mut files: Vec<_> = entries.filter_map(|entry| Some(entry.ok()?.path())).collect();
        files.retain(|file| file.extension().is_some_and(|end| end == "yaml" || end == "yml"));
        files.sort();
        for file in files {
            let added = read_text(&file)
                .map_err(|why| vec![why])
                .and_then(|text| catalogue.add(&text, &file.to_string_lossy()));
            findings.extend(added.err().unwrap_or_default());
        }
        if findings.is_empty() { Ok(catalogue) } else { Err(findings) }
    }

    /// Adds the kind in `text`, or puts it in the place of the one with its name. `file` is the name used in places.
    ///
    /// # Errors
    /// Every error in the file.
    pub fn add(&mut self, text: &str, file: &str) -> Result<(), Vec<Diagnostic>> {
        if self.kinds.values().any(|kind| *kind.text == *text) {
            return Ok(());
        }
        let kind = parse(text, file)?;
        let stem = Path::new(file).file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default();
        if stem != *kind.id {
            let message = format!("the kind calls itself `{}` and its file is named `{stem}`", *kind.id);
            return Err(vec![Diagnostic::error(&kind.id.place, "name", message).help("Give both the same name.")]);
        }
        self.kinds.insert(kind.id.value.clone(), Arc::new(kind));
        Ok(())
    }

    /// The kind with this name.
    pub fn kind(&self, name: &str) -> Option<&Arc<PartKind>> {
        self.kinds.get(name)
    }

    /// The names of all kinds.
    pub fn names(&self) -> Vec<&str> {
        self.kinds.keys().map(String::as_str).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_shipped_kind_loads_and_says_where_its_typical_values_come_from() {
        let catalogue = Catalogue::shipped();
        assert!(catalogue.names().len() >= 20, "{:?}", catalogue.names());
        for kind in catalogue.kinds.values() {
            for value in &kind.values {
                let derived = value.usual.as_ref().is_some_and(|usual| usual.parse::<f64>().is_err());
                let plain = value.usual.is_none() || value.limits == (-1.0, 1.0);
                assert!(plain || derived || !value.source.is_empty(), "{}: {}", *kind.id, value.name);
            }
        }
    }

    #[test]
    fn what_is_wrong_is_told_with_its_place() {
        let told = |text: &str| {
            let mut catalogue = Catalogue::default();
            catalogue.add(text, "horn.yaml").unwrap_err()[0].to_string().lines().next().unwrap_or_default().to_owned()
        };
        let horn =
            "part: horn\nwords: horn\nterminals: {live: a, case: b}\nmodel:\n  - {resistance: [live, case], ohm: 5}\n";
        assert!(Catalogue::default().add(horn, "horn.yaml").is_ok());
        assert_eq!(
            told(&horn.replace("[live, case]", "[live, shell]")),
            "horn.yaml:1:1: error [unknown-terminal] a horn has no terminal `shell`"
        );
        assert_eq!(
            told(&horn.replace("ohm: 5", "ohms: 5")),
            "horn.yaml:5:32: error [unknown-field] a resistance has no field `ohms`"
        );
        assert!(told(&horn.replace("ohm: 5", "ohm: \"5 +\"")).contains("[expression]"));
        assert!(told(&horn.replace("part: horn", "part: bell")).contains("[name]"));
        assert!(told(&horn.replace("[live, case]", "[live, case, live]")).contains("needs 2"));
    }
}
