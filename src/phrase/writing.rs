//! How a text reads aloud: how long it takes to say, what actions it asks for, and what a voice mispronounces. The words and the fitted
//! figures come from the vocabulary.

use super::number::NumberWords;
use super::words::normalise;
use crate::source::{Diagnostic, Place};
use crate::units::Unit;
use serde::Deserialize;
use std::collections::BTreeMap;

/// Units whose name in files is also a word of the language.
const WORDS: [&str; 5] = ["in", "bar", "thou", "ohm", "1"];

/// The file's `writing` section.
#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case", default)]
pub(super) struct RawWriting {
    start: Option<f64>,
    letter: Option<f64>,
    sentence: Option<f64>,
    pause: Option<f64>,
    actions: Vec<String>,
    before_actions: Vec<String>,
    joins: Vec<String>,
    stumbles: BTreeMap<String, String>,
    things: Vec<String>,
    bans: Vec<String>,
    forbids: Vec<String>,
}

/// A listed thing that a text names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Named {
    /// Its name in the vocabulary.
    pub thing: String,
    /// A forbidding word precedes it in its clause.
    pub forbidden: bool,
    /// On the list of bans: once forbidden, it is forbidden throughout.
    pub banned: bool,
}

/// A language's rules for texts that are read aloud.
#[derive(Debug, Clone, Default)]
pub(super) struct Writing {
    start: f64,
    letter: f64,
    sentence: f64,
    pause: f64,
    actions: Vec<String>,
    before_actions: Vec<String>,
    joins: Vec<String>,
    stumbles: BTreeMap<String, String>,
    things: Vec<String>,
    bans: Vec<String>,
    forbids: Vec<String>,
}

impl Writing {
    pub fn new(raw: RawWriting, place: &Place, found: &mut Vec<Diagnostic>) -> Self {
        let mut missing = |key: &str| {
            let message = format!("The vocabulary has no `writing: {key}`.");
            found.push(Diagnostic::error(place, "missing-key", message).help(format!("Add `{key}`.")));
        };
        let mut figure = |key: &str, value: Option<f64>| {
            value.filter(|v| v.is_finite() && *v >= 0.0).unwrap_or_else(|| {
                missing(key);
                0.0
            })
        };
        let (start, letter) = (figure("start", raw.start), figure("letter", raw.letter));
        let (sentence, pause) = (figure("sentence", raw.sentence), figure("pause", raw.pause));
        let lists = [
            ("actions", &raw.actions),
            ("before-actions", &raw.before_actions),
            ("joins", &raw.joins),
            ("things", &raw.things),
            ("bans", &raw.bans),
            ("forbids", &raw.forbids),
        ];
        lists.iter().filter(|(_, list)| list.is_empty()).for_each(|(key, _)| missing(key));
        if raw.stumbles.is_empty() {
            missing("stumbles");
        }
        let RawWriting { actions, before_actions, joins, stumbles, things, bans, forbids, .. } = raw;
        Self { start, letter, sentence, pause, actions, before_actions, joins, stumbles, things, bans, forbids }
    }

    /// Estimated seconds that the voice takes to say `text`.
    pub fn seconds(&self, text: &str, numbers: &NumberWords) -> f64 {
        let said = figures_in_words(text, numbers);
        let letters = said.chars().filter(|c| c.is_alphabetic()).count() as f64;
        let stops = |marks: &str| {
            let ends = said.char_indices().filter(|(_, c)| marks.contains(*c));
            ends.filter(|(at, c)| said[at + c.len_utf8()..].chars().next().is_none_or(char::is_whitespace)).count()
                as f64
        };
        let between = (stops(".?!") - 1.0).max(0.0);
        self.start + self.letter * letters + self.sentence * between + self.pause * stops(",;:")
    }

    /// The actions that `text` asks for: the verbs of its commands, in order. A question asks for none.
    pub fn actions(&self, text: &str) -> Vec<String> {
        let mut found = Vec::new();
        for sentence in text.split_inclusive(['.', '?', '!', ':', ';']).filter(|s| !s.ends_with('?')) {
            let mut clauses = vec![sentence];
            for join in &self.joins {
                clauses = clauses.iter().flat_map(|clause| clause.split(join.as_str())).collect();
            }
            let verb = |clause: &str| {
                let words = normalise(clause);
                let mut words = words.split(' ').skip_while(|word| self.before_actions.iter().any(|w| w == word));
                words.next().filter(|word| self.actions.iter().any(|a| a == word)).map(str::to_owned)
            };
            // After a comma, a word is a command only if the sentence began as one. Otherwise it is a list of nouns.
            if clauses.first().and_then(|first| verb(first)).is_some() {
                found.extend(clauses.iter().filter_map(|clause| verb(clause)));
            }
        }
        found
    }

    /// The listed things that `text` names, each with whether its clause forbids it.
    pub fn things(&self, text: &str) -> Vec<Named> {
        let mut found = Vec::new();
        for clause in text.split(['.', '?', '!', ':', ';']) {
            let words = normalise(clause);
            let words: Vec<&str> = words.split(' ').collect();
            let forbids = words.iter().position(|word| self.forbids.iter().any(|f| f == word));
            let all = self.things.iter().map(|thing| (thing, false)).chain(self.bans.iter().map(|ban| (ban, true)));
            for (thing, banned) in all {
                let parts: Vec<&str> = thing.split(' ').collect();
                let is_it = |some: &[&str]| {
                    let (last, before) = parts.split_last().expect("a split gives one part at least");
                    let end = some[before.len()];
                    some[..before.len()] == *before && (end == *last || end.strip_suffix('s') == Some(last))
                };
                if let Some(at) = words.windows(parts.len()).position(is_it) {
                    let forbidden = forbids.is_some_and(|before| before < at);
                    found.push(Named { thing: thing.clone(), forbidden, banned });
                }
            }
        }
        found
    }

    /// What a voice mispronounces in `text`, each with what to write instead.
    pub fn stumbles(&self, text: &str) -> Vec<(String, String)> {
        let mut found = Vec::new();
        for (mark, instead) in &self.stumbles {
            if mark.chars().all(|c| !c.is_alphanumeric()) && text.contains(mark.as_str()) {
                found.push((mark.clone(), instead.clone()));
            }
        }
        let mut behind_figure = false;
        for token in text.split(|c: char| c.is_whitespace() || "()\"".contains(c)) {
            let token = token.trim_end_matches([',', ';', ':', '?', '!']);
            let bare = token.trim_end_matches('.');
            let listed = self.stumbles.get(token).or_else(|| self.stumbles.get(bare));
            let capitals = bare.chars().filter(|c| c.is_uppercase()).count();
            let glued = bare.starts_with(|c: char| c.is_ascii_digit()) && bare.ends_with(char::is_alphabetic);
            let unit = behind_figure && !WORDS.contains(&bare) && Unit::named(bare).is_some();
            behind_figure = bare.parse::<f64>().is_ok();
            let instead = match listed {
                Some(instead) => instead.clone(),
                None if unit => "the unit in words".to_owned(),
                None if capitals > 1 => "the words in full, in small letters".to_owned(),
                None if glued => "the number, a space, and the unit in words".to_owned(),
                None => continue,
            };
            found.push((bare.to_owned(), instead));
        }
        found
    }
}

/// `text` with its figures as they are spoken.
fn figures_in_words(text: &str, numbers: &NumberWords) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find(|c: char| c.is_ascii_digit()) {
        out.push_str(&rest[..at]);
        let figure = |c: char| c.is_ascii_digit() || c == '.';
        let end = rest[at..].find(|c| !figure(c)).map_or(rest.len(), |length| at + length);
        let figures = rest[at..end].trim_end_matches('.');
        let decimals = figures.split_once('.').map_or(0, |(_, decimals)| decimals.len());
        match figures.parse::<f64>() {
            Ok(value) => out.push_str(&numbers.say_number(value, Unit::One, 0.1f64.powi(decimals as i32))),
            Err(_) => out.push_str(figures),
        }
        rest = &rest[at + figures.len()..];
    }
    out + rest
}

#[cfg(test)]
mod tests {
    use crate::phrase::Vocabulary;

    fn actions(text: &str) -> Vec<String> {
        Vocabulary::english().actions_in(text)
    }

    #[test]
    fn commands_are_counted_and_questions_are_not() {
        assert_eq!(actions("Touch the left terminal. Lit or dark?"), ["touch"]);
        assert_eq!(actions("Close the fuel tap, wipe up any petrol, and let the air clear."), ["close", "wipe"]);
        assert_eq!(actions("Unscrew the cap, then push the bare lead into the tester."), ["unscrew", "push"]);
        assert_eq!(actions("Left side. Turn the engine slowly."), ["turn"]);
        assert_eq!(actions("Never hold a lead, plug or tester."), Vec::<String>::new());
        assert_eq!(actions("Is the fuse whole, blown, or green?"), Vec::<String>::new());
        assert_eq!(actions("Slowly turn it."), ["turn"]);
    }

    #[test]
    fn a_thing_is_forbidden_by_a_word_before_it_in_its_clause() {
        let named = |text: &str| {
            let all = Vocabulary::english().things_named_in(text);
            all.into_iter().map(|n| (n.thing, n.forbidden, n.banned)).collect::<Vec<_>>()
        };
        assert_eq!(named("Warm the coil with a hair dryer."), [("hair dryer".to_owned(), false, true)]);
        let never = named("Never warm parts with a heat gun, hair dryer or flame: there is fuel nearby.");
        assert_eq!(never.len(), 3, "{never:?}");
        assert!(never.iter().all(|(_, forbidden, banned)| *forbidden && *banned), "{never:?}");
        assert_eq!(named("Two strobes. No flame."), [("strobe".into(), false, false), ("flame".into(), true, true)]);
        assert_eq!(named("It inflames the inflamed."), []);
    }

    #[test]
    fn a_voice_stumbles_on_signs_and_short_forms() {
        let stumbles = |text: &str| Vocabulary::english().stumbles_in(text);
        let words = |text: &str| stumbles(text).into_iter().map(|(word, _)| word).collect::<Vec<_>>();
        assert_eq!(words("Set 0.4mm at 12 V, BTDC."), ["0.4mm", "V", "BTDC"]);
        assert_eq!(words("Points/coil"), ["/"]);
        assert_eq!(words("About 12 volts, e.g. at rest."), ["e.g"]);
        assert_eq!(words("The GN-WH wire"), ["GN-WH"]);
        assert_eq!(
            words("The green wire with white tracer. Is it on? 12 volts, 0.4 millimetres."),
            Vec::<String>::new()
        );
        assert!(stumbles("12 V").iter().any(|(_, instead)| instead == "the unit in words"));
        assert_eq!(words("A bike. Say yes or no. It reads 12 in the shade, 5 ohm in the sun."), Vec::<String>::new());
    }

    #[test]
    fn seconds_grow_with_letters_figures_and_stops() {
        let seconds = |text: &str| Vocabulary::english().seconds_to_say(text);
        assert!(seconds("Lit or dark?") < seconds("Is it lit or dark?"));
        assert_eq!(seconds("12 volts"), seconds("twelve volts"));
        assert_eq!(seconds("4.25 volts"), seconds("four point two five volts"));
        assert!(seconds("Turn it. Lit or dark?") > seconds("Turn it lit or dark?"));
        assert_eq!(seconds("4.5.6"), seconds("4.5.6"));
    }
}
