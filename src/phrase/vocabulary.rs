//! One language's words: spoken controls, yes and no, escapes, number words, units, colours, parts of a bike, and the walker's sentences.
//! All of it comes from a vocabulary file. A new language is a new file.

use super::answer::{Answer, Command, Escape};
use super::grammar::Phrase;
use super::number::NumberWords;
use super::sentence::{SentenceError, Templates};
use super::words::normalise;
use super::writing::{Named, Writing};
use crate::bike::{InstrumentKind, Side};
use crate::source::{Place, Written};
use crate::units::{Quantity, Unit};
use std::collections::BTreeMap;

/// Texts by name.
pub(super) type Names = BTreeMap<String, String>;
/// Phrases with their places in the file. The first is the one that is taught.
pub(super) type Phrases = Vec<Written<String>>;

/// The words of one language.
///
/// ```
/// use probeside::phrase::{Command, Vocabulary};
/// use serde_json::json;
/// let words = Vocabulary::english();
/// assert_eq!(words.taught(Command::Repeat), "say again");
/// assert_eq!(words.sentence("did-you-say", &json!({"a": "stays dark"})).unwrap(), "Did you say stays dark?");
/// assert_eq!(words.colour("GN-WH").as_deref(), Some("green with white"));
/// ```
#[derive(Debug, Clone)]
pub struct Vocabulary {
    pub(super) language: String,
    pub(super) place: Place,
    pub(super) commands: BTreeMap<Command, Phrases>,
    pub(super) escapes: BTreeMap<Escape, Phrases>,
    pub(super) agree: Phrases,
    pub(super) disagree: Phrases,
    pub(super) done: Phrases,
    pub(super) power_off: Phrases,
    pub(super) numbers: NumberWords,
    pub(super) writing: Writing,
    pub(super) sums: BTreeMap<String, Phrases>,
    pub(super) quantities: Names,
    pub(super) colours: Names,
    pub(super) sides: Names,
    pub(super) switches: Names,
    pub(super) instruments: Names,
    pub(super) halves: Names,
    pub(super) parts: Names,
    pub(super) terminals: Names,
    pub(super) sentences: Templates,
}

impl Vocabulary {
    /// The language tag: `en`.
    pub fn language(&self) -> &str {
        &self.language
    }

    /// The file's name and place.
    pub fn place(&self) -> &Place {
        &self.place
    }

    /// Fills in the sentence `key` with the fields of the JSON object `given`. `SENTENCES` lists the keys.
    ///
    /// # Errors
    /// An unknown key, or a template that uses a field it was not given.
    pub fn sentence(&self, key: &str, given: &serde_json::Value) -> Result<String, SentenceError> {
        self.sentences.fill(key, given)
    }

    /// The words taught for a command.
    pub fn taught(&self, command: Command) -> &str {
        first(self.commands.get(&command).map_or(&[], Vec::as_slice))
    }

    /// The words taught for an escape.
    pub(super) fn taught_escape(&self, escape: Escape) -> &str {
        first(self.escapes.get(&escape).map_or(&[], Vec::as_slice))
    }

    /// "Yes".
    pub(super) fn taught_yes(&self) -> &str {
        first(&self.agree)
    }

    /// "No".
    pub(super) fn taught_no(&self) -> &str {
        first(&self.disagree)
    }

    /// "Ready".
    pub(super) fn taught_done(&self) -> &str {
        first(&self.done)
    }

    /// An answer in the words of a confirmation question ("did you say ..."): the taught words, a number in words with its unit, a note as
    /// it was heard. A choice's words belong to the procedure; here it is its id with spaces. `resolution` is that of the number asked for.
    pub fn answer_words(&self, answer: &Answer, resolution: f64) -> String {
        match answer {
            Answer::Choice(id) => id.replace('-', " "),
            Answer::Reading(reading) => self.numbers.say_reading(reading, resolution),
            Answer::Done => self.taught_done().to_owned(),
            Answer::PowerOff => first(&self.power_off).to_owned(),
            Answer::Yes => self.taught_yes().to_owned(),
            Answer::No => self.taught_no().to_owned(),
            Answer::Command(command) => self.taught(*command).to_owned(),
            Answer::Escape(escape) => self.taught_escape(*escape).to_owned(),
            Answer::Note(text) => text.clone(),
            Answer::Sum(name) => first(self.sums.get(name).map_or(&[], Vec::as_slice)).to_owned(),
        }
    }

    /// Every phrase for the spoken controls.
    ///
    /// ```
    /// use probeside::phrase::{Answer, Command, Vocabulary};
    /// let phrases = Vocabulary::english().command_phrases();
    /// assert!(phrases.iter().any(|p| p.words == "hold on" && p.answer == Answer::Command(Command::Pause)));
    /// ```
    pub fn command_phrases(&self) -> Vec<Phrase> {
        self.commands.iter().flat_map(|(c, said)| phrases(said, Answer::Command(*c))).collect()
    }

    /// Whether a phrase for this escape is among the words of a free text.
    pub fn is_said_in(&self, escape: Escape, text: &str) -> bool {
        let plain = |text: &str| format!(" {} ", normalise(text));
        let text = plain(text);
        self.escapes.get(&escape).is_some_and(|said| said.iter().any(|phrase| text.contains(&plain(phrase))))
    }

    /// Every phrase for the escapes.
    pub fn escape_phrases(&self) -> Vec<Phrase> {
        self.escapes.iter().flat_map(|(e, said)| phrases(said, Answer::Escape(*e))).collect()
    }

    /// Every phrase that asks for one of the workshop sums.
    pub fn sum_phrases(&self) -> Vec<Phrase> {
        self.sums.iter().flat_map(|(name, said)| phrases(said, Answer::Sum(name.clone()))).collect()
    }

    /// Yes and no. Used only while a confirmation is pending.
    pub fn yes_no_phrases(&self) -> Vec<Phrase> {
        phrases(&self.agree, Answer::Yes).chain(phrases(&self.disagree, Answer::No)).collect()
    }

    /// Every phrase that acknowledges a step or a caution.
    pub fn done_phrases(&self) -> Vec<Phrase> {
        phrases(&self.done, Answer::Done).collect()
    }

    /// Every phrase that confirms that the power is off.
    pub fn power_off_phrases(&self) -> Vec<Phrase> {
        phrases(&self.power_off, Answer::PowerOff).collect()
    }

    /// Number words and units.
    pub fn numbers(&self) -> &NumberWords {
        &self.numbers
    }

    /// A value in words with its unit: "twelve point one five volts". See [`NumberWords::say_number`].
    pub fn say_number(&self, value: f64, unit: Unit, resolution: f64) -> String {
        self.numbers.say_number(value, unit, resolution)
    }

    /// A value digit by digit, without unit: "one two point one five". See [`NumberWords::say_digits`].
    pub fn say_digits(&self, value: f64, resolution: f64) -> String {
        self.numbers.say_digits(value, resolution)
    }

    /// Seconds that the voice takes to say `text`, pauses included. The vocabulary file documents the fit.
    ///
    /// ```
    /// let seconds = probeside::phrase::Vocabulary::english().seconds_to_say("Turn the engine slowly. Lit or dark?");
    /// assert!((2.0..4.0).contains(&seconds));
    /// ```
    pub fn seconds_to_say(&self, text: &str) -> f64 {
        self.writing.seconds(text, &self.numbers)
    }

    /// The figures with a unit in `text`, as written there: "6 millimetres", "half a volt".
    pub fn figures_in(&self, text: &str) -> Vec<String> {
        self.numbers.figures_in(text)
    }

    /// The verbs of the actions that `text` asks for, in order. A question asks for none.
    pub fn actions_in(&self, text: &str) -> Vec<String> {
        self.writing.actions(text)
    }

    /// The things listed in `writing: things` and `writing: bans` that `text` names.
    pub fn things_named_in(&self, text: &str) -> Vec<Named> {
        self.writing.things(text)
    }

    /// What a voice mispronounces in `text` (signs, abbreviations, codes), each with what to write instead.
    pub fn stumbles_in(&self, text: &str) -> Vec<(String, String)> {
        self.writing.stumbles(text)
    }

    /// Groups of figures, digit by digit with a pause between groups: "4712 9038" is "four seven one two, nine zero three eight".
    pub fn say_figures(&self, groups: &str) -> String {
        let spelt: Vec<String> = groups.split_whitespace().map(|group| self.numbers.spell_out(group)).collect();
        spelt.join(", ")
    }

    /// A quantity with its article: "a voltage".
    pub fn quantity(&self, quantity: Quantity) -> &str {
        named(&self.quantities, quantity.name())
    }

    /// A unit in the plural: "volts".
    pub fn unit_words(&self, unit: Unit) -> &str {
        self.numbers.unit(unit, false)
    }

    /// The words of a wire colour by its IEC 60757 code: `BK` "black", `GN-WH` "green with white". `None` for an unknown code.
    pub fn colour(&self, code: &str) -> Option<String> {
        match code.split_once('-') {
            None => self.colours.get(code).cloned(),
            Some((main, tracer)) => {
                let given = serde_json::json!({"main": self.colours.get(main)?, "tracer": self.colours.get(tracer)?});
                self.sentence("colour-pair", &given).ok()
            }
        }
    }

    /// "green with white wire", or `None` for an unknown code.
    pub fn wire(&self, code: &str) -> Option<String> {
        self.sentence("wire", &serde_json::json!({"colour": self.colour(code)?})).ok()
    }

    /// "left", "right", or empty for the middle.
    pub fn side(&self, side: Side) -> &str {
        match side {
            Side::Left => named(&self.sides, "left"),
            Side::Right => named(&self.sides, "right"),
            Side::Centre => "",
        }
    }

    /// The spoken name of a switch or tap: `kill` -> "kill switch". An unknown one is unchanged.
    pub fn switch<'a>(&'a self, name: &'a str) -> &'a str {
        named(&self.switches, name)
    }

    /// An instrument: "test lamp".
    pub fn instrument(&self, kind: InstrumentKind) -> &str {
        named(&self.instruments, kind.name())
    }
}

fn first(phrases: &[Written<String>]) -> &str {
    phrases.first().map_or("", |p| p.value.as_str())
}

fn phrases(said: &[Written<String>], answer: Answer) -> impl Iterator<Item = Phrase> {
    said.iter().map(move |p| Phrase { words: normalise(&p.value), answer: answer.clone() })
}

pub(super) fn named<'a>(names: &'a Names, name: &'a str) -> &'a str {
    names.get(name).map_or(name, String::as_str)
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn every_sentence_can_be_said_and_ends_as_speech() {
        let words = Vocabulary::english();
        for (key, given) in super::super::sentence::SENTENCES {
            let said = words.sentence(key, &super::super::sentence::sample(given)).unwrap();
            assert!(!said.trim().is_empty() && !said.contains("{{"), "{key}: {said}");
        }
        let given = json!({"words": "twelve point one five volts", "digits": "one two point one five", "about": false});
        assert_eq!(
            words.sentence("reading-back", &given).unwrap(),
            "Twelve point one five volts: one two point one five."
        );
        assert_eq!(words.sentence("standby", &json!({})).unwrap(), "I will wait. Answer, or say carry on.");
        assert_eq!(
            words.sentence("nonsense", &json!({})).unwrap_err().to_string(),
            "the vocabulary has no sentence `nonsense`"
        );
    }

    #[test]
    fn commands_have_two_syllables_at_least() {
        let vowel = |c: char| "aeiouy".contains(c);
        for phrase in Vocabulary::english().command_phrases() {
            let spelled: Vec<char> = phrase.words.chars().collect();
            let groups = spelled.iter().enumerate().filter(|(i, c)| vowel(**c) && (*i == 0 || !vowel(spelled[i - 1])));
            assert!(groups.count() >= 2, "{}", phrase.words);
        }
    }

    #[test]
    fn yes_and_no_begin_no_command_and_sound_like_none() {
        let words = Vocabulary::english();
        for control in words.command_phrases() {
            for answer in words.yes_no_phrases() {
                let (long, short) = (format!("{} ", control.words), format!("{} ", answer.words));
                assert!(!long.starts_with(&short) && !short.starts_with(&long), "{short}/ {long}");
                assert_eq!(
                    super::super::sound::too_close(&control.words, &answer.words, "en"),
                    None,
                    "{short}/ {long}"
                );
            }
        }
    }

    #[test]
    fn colours_by_their_codes() {
        let words = Vocabulary::english();
        assert_eq!(words.colour("TQ").as_deref(), Some("turquoise"));
        assert_eq!(words.wire("GN-WH").as_deref(), Some("green with white wire"));
        for unknown in ["", "XX", "GN-", "GN-XX", "gn"] {
            assert_eq!(words.colour(unknown), None, "{unknown}");
        }
    }
}
