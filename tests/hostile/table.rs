//! The tables of cases: parsing, and rewriting with the present output.
//!
//! ```text
//! == a name of words          a case begins
//! # a remark                  why it is hostile
//! copy bike.yaml tests/sound/twin.yaml
//! file x.yaml                 a step that makes something; the lines under it, with `| `, `- ` or `+ `, belong to it
//! | procedure: x
//! run check x.yaml            what is run; the last one counts
//! exit 1
//! > x.yaml: error ...         what is said; the end of a long line is left out
//! ~ no such file              in place of that: words that must be in what is said; none: whatever it says
//! ```

use super::outcome::Outcome;
use std::path::{Path, PathBuf};

/// One step in making a case.
#[derive(Debug, Clone, Default)]
pub struct Step {
    /// The verb and its words.
    pub words: Vec<String>,
    /// All after the verb's first word, as it stands.
    pub rest: String,
    /// The lines under it: their mark and text.
    pub under: Vec<(char, String)>,
}

/// A case.
#[derive(Debug, Clone, Default)]
pub struct Case {
    pub name: String,
    pub file: String,
    pub steps: Vec<Step>,
    pub run: Vec<String>,
    pub exit: Option<i32>,
    pub says: Vec<String>,
    pub has: Vec<String>,
}

/// A file of cases.
pub struct Table {
    path: PathBuf,
    pub cases: Vec<Case>,
}

impl Table {
    /// Every table in the folder.
    pub fn all(folder: &Path) -> Vec<Table> {
        let mut paths: Vec<PathBuf> = std::fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .filter(|p| p.extension().is_some_and(|e| e == "txt"))
            .collect();
        paths.sort();
        paths.into_iter().map(Table::read).collect()
    }

    fn read(path: PathBuf) -> Table {
        let (text, file) =
            (std::fs::read_to_string(&path).unwrap(), path.file_name().unwrap().to_string_lossy().into_owned());
        let mut cases: Vec<Case> = Vec::new();
        for (at, line) in text.lines().enumerate() {
            let place = || format!("{file}:{}: {line}", at + 1);
            if let Some(name) = line.strip_prefix("== ") {
                cases.push(Case { name: name.to_owned(), file: format!("{file}:{}", at + 1), ..Case::default() });
                continue;
            }
            if line.is_empty() || line.starts_with('#') {
                continue;
            }
            let case = cases.last_mut().unwrap_or_else(|| panic!("before any case: {}", place()));
            let (verb, rest) = line.split_once(' ').unwrap_or((line, ""));
            match verb {
                "run" => case.run.push(rest.to_owned()),
                "exit" => case.exit = Some(rest.parse().unwrap_or_else(|_| panic!("{}", place()))),
                ">" => case.says.push(rest.to_owned()),
                "~" => case.has.push(rest.to_owned()),
                "|" | "-" | "+" => {
                    let step = case.steps.last_mut().unwrap_or_else(|| panic!("under nothing: {}", place()));
                    step.under.push((line.chars().next().unwrap(), rest.to_owned()));
                }
                _ => {
                    let words = line.split_whitespace().map(str::to_owned).collect();
                    case.steps.push(Step { words, rest: rest.to_owned(), under: Vec::new() });
                }
            }
        }
        Table { path, cases }
    }

    /// Writes what is said now of a case, if it is in this table.
    pub fn bless(&self, name: &str, outcome: &Outcome) {
        let text = std::fs::read_to_string(&self.path).unwrap();
        let Some(begin) = text.find(&format!("== {name}\n")) else { return };
        let end = text[begin + 1..].find("\n== ").map_or(text.len(), |at| begin + 1 + at + 1);
        let kept: Vec<&str> = text[begin..end]
            .lines()
            .filter(|line| !line.starts_with("exit ") && !line.starts_with(['>', '~']))
            .collect();
        let says: String = outcome.lines.iter().map(|line| format!("> {line}\n")).collect();
        let case = format!("{}\nexit {}\n{says}\n", kept.join("\n").trim_end(), outcome.exit.unwrap_or(-1));
        let rest = text[end..].trim_start_matches('\n');
        std::fs::write(&self.path, format!("{}{case}{rest}", &text[..begin])).unwrap();
    }
}
