//! An invented mechanic who knows the answer to each step, in the words of the current grammar.

use probeside::phrase::{Answer, Grammar};
use std::collections::BTreeMap;

/// Answers by step (`drop-feed`) or step and round (`drop-feed left`).
pub struct Mechanic(BTreeMap<String, String>);

impl Mechanic {
    pub fn new(answers: &[(&str, &str)]) -> Self {
        Self(answers.iter().map(|(at, words)| ((*at).to_owned(), (*words).to_owned())).collect())
    }

    /// The answers of a shipped story. The last of several at one step counts.
    pub fn of_story(name: &str) -> Self {
        #[derive(serde::Deserialize)]
        struct Story {
            answers: BTreeMap<String, Vec<String>>,
        }
        let file = super::stage::procedures().join("stories").join(format!("{name}.yaml"));
        let text = std::fs::read_to_string(file).expect("a shipped story");
        let story: Story = serde_yaml::from_str(&text).expect("a story");
        Self(story.answers.into_iter().filter_map(|(at, mut all)| Some((at, all.pop()?))).collect())
    }

    /// The answer to the step itself.
    pub fn at(&self, step: &str, round: Option<&str>) -> Option<&str> {
        let place = round.map(|round| format!("{step} {round}"));
        place.and_then(|place| self.0.get(&place)).or_else(|| self.0.get(step)).map(String::as_str)
    }

    /// The answer now: the step's own if its question is open, otherwise "yes", "ready" or "power is off".
    pub fn answer(&self, step: &str, round: Option<&str>, asking: bool, grammar: &Grammar) -> Option<String> {
        let phrase = |wanted: &Answer| grammar.phrases.iter().find(|p| p.answer == *wanted).map(|p| p.words.clone());
        let own = self.at(step, round).filter(|_| asking).map(str::to_owned);
        phrase(&Answer::Yes).or(own).or_else(|| phrase(&Answer::Done)).or_else(|| phrase(&Answer::PowerOff))
    }
}
