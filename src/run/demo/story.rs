//! A story: a fictional mechanic, bike and fault, with the answer at every step. `probeside demo` tells it.

use super::super::load;
use crate::phrase::words::normalise;
use crate::procedure::{Ask, Procedure, Step};
use crate::source::tree::{self, Node};
use crate::source::{Diagnostic, Place, read_text, whole_file};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// A story: who brings what, and what every step shows on that bike.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case")]
pub struct Story {
    #[serde(rename = "story")]
    /// Its title.
    pub title: String,
    /// Name of a procedure in the parent folder of the story's folder.
    pub procedure: String,
    /// Name of a bike in `bikes/` there.
    pub bike: String,
    /// The customer's complaint.
    pub complaint: String,
    /// Odometer reading.
    pub mileage: String,
    /// Temperature of the workplace, degrees Celsius.
    pub temperature: f64,
    /// The instruments used.
    pub instruments: Vec<String>,
    /// The mechanic's name.
    pub person: String,
    /// The mechanic's espeak-ng voice.
    pub voice: String,
    /// Whether the checks come in the best order instead of the written one.
    #[serde(default)]
    pub best_order: bool,
    /// The faults of the bike, `KIND:PLACE` each, or an empty list. Where the story has no answer, the mechanic answers what the bike shows.
    pub under: Option<Vec<String>>,
    /// The answers at a step (`STEP` or `STEP ROUND`). Several are said in turn.
    pub answers: BTreeMap<String, Vec<String>>,
}

impl Story {
    /// Reads a story.
    ///
    /// # Errors
    /// What is wrong with the file, with its place.
    pub fn load(file: &Path) -> Result<Self, Vec<Diagnostic>> {
        Self::parse(&read_text(file).map_err(|d| vec![d])?, &file.display().to_string())
    }

    /// Reads a story from its text. `name` is the file's.
    ///
    /// # Errors
    /// What is wrong with it, with its place.
    pub fn parse(text: &str, name: &str) -> Result<Self, Vec<Diagnostic>> {
        serde_yaml::from_str(text).map_err(|error: serde_yaml::Error| {
            let at = error.location();
            let number = |n: Option<u64>| n.and_then(|n| u32::try_from(n).ok()).unwrap_or(0);
            let (line, column) = (number(at.map(|a| a.line())), number(at.map(|a| a.column())));
            let said = error.without_snippet().to_string();
            let place = Place { file: name.into(), line, column };
            vec![Diagnostic::error(&place, "unreadable", said.lines().next().unwrap_or("this cannot be read"))]
        })
    }

    /// The procedure's file, relative to the folder of procedures.
    pub fn procedure_in(&self, folder: &Path) -> PathBuf {
        folder.join(&self.procedure).with_extension("yaml")
    }

    /// The bike's file, relative to the folder of procedures.
    pub fn bike_in(&self, folder: &Path) -> PathBuf {
        folder.join("bikes").join(&self.bike).with_extension("yaml")
    }
}

/// Findings in a story file: its own fields, a procedure or bike that does not exist, an answer at a step that does not exist or does not
/// accept it. `file` lies in a folder beside the procedures.
pub fn check(file: &Path, text: &str) -> Vec<Diagnostic> {
    let name = file.display().to_string();
    let (story, tree) = match (Story::parse(text, &name), tree::parse(text, &name)) {
        (Ok(story), Ok(tree)) => (story, tree),
        (Err(found), _) | (_, Err(found)) => return found,
    };
    let folder = file.parent().and_then(Path::parent).unwrap_or(Path::new(""));
    let words = folder.join("vocabulary").join("en.yaml");
    let loaded = match load::world(&story.procedure_in(folder), &story.bike_in(folder), &words) {
        Ok(loaded) => loaded,
        Err(mut found) => {
            found.push(Diagnostic::error(&whole_file(&name), "story", "its procedure or its bike is not sound"));
            return found;
        }
    };
    let mut found = Vec::new();
    let vocabulary = &loaded.world.vocabulary;
    let anywhere: Vec<String> = vocabulary.escape_phrases().into_iter().map(|phrase| phrase.words).collect();
    for (key, said) in tree.get("answers").map_or(&[][..], Node::entries) {
        let step = key.name.split(' ').next().unwrap_or_default();
        let steps: Vec<&Step> = loaded.world.procedures.values().filter_map(|p: &Procedure| p.step(step)).collect();
        if steps.is_empty() {
            let what = format!("there is no step `{step}` in `{}` or in what it calls", story.procedure);
            found.push(Diagnostic::error(&key.name.place, "story", what));
            continue;
        }
        for words in said.items() {
            let known = anywhere.contains(&normalise(&words.spelling));
            if !known && !steps.iter().any(|step| takes(step, &words.spelling)) {
                let what = format!("`{step}` takes no answer \"{}\"", words.spelling);
                found.push(Diagnostic::error(&words.place, "story", what));
            }
        }
    }
    found
}

/// Whether a step's question accepts these words. Templates and numbers are not evaluated here.
fn takes(step: &Step, words: &str) -> bool {
    let (Ask::Choice(choices) | Ask::Watch { choices, .. }) = &step.ask else { return true };
    let words = normalise(words);
    let mut phrases = choices.iter().flat_map(|choice| &choice.phrases);
    phrases.any(|phrase| phrase.value.contains("{{") || normalise(&phrase.value) == words)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wrong_step_and_an_answer_that_it_does_not_take_are_found_at_their_places() {
        let file = load::shipped().join("stories/two-dead-sides.yaml");
        let text = read_text(&file).expect("the shipped story can be read");
        assert_eq!(check(&file, &text), []);
        let broken = text.replace("\"vapour\":", "\"vapor\":").replace("[\"whole\"]", "[\"wholly\"]");
        let found: Vec<String> = check(&file, &broken).iter().map(|d| d.message.clone()).collect();
        assert_eq!(found.len(), 2, "{found:?}");
        assert!(found[0].contains("no step `vapor`") && found[1].contains("takes no answer \"wholly\""), "{found:?}");
        let unknown = check(&file, &text.replace("voice:", "voices:"));
        assert!(unknown[0].message.contains("voices") && unknown[0].place.line > 1, "{unknown:?}");
    }
}
