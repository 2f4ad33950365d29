//! Expands a grammar into spellings as the model would write them: case, full stops, digits for number words, and filler phrases.
//!
//! The model was trained on written transcripts, so one answer has several spellings ("Light on.", "light on"; "Twelve point
//! four volts.", "12.4 volts"). All of them count for their answer. Fillers are phrases outside the grammar that compete with it; if a
//! filler fits best, the utterance is outside the grammar.

use super::tokenizer::{Token, Tokenizer};
use super::trie::Trie;
use crate::phrase::number::{self, NumberWords};
use crate::phrase::{Answer, NumberSlot, Phrase, Reading, ReadingKind};
use crate::units::Unit;
use std::collections::{HashMap, HashSet};
use std::sync::Arc;

/// A grammar ready for decoding. Its phrases (with the fillers) and its number have a trie each, so that all grammars that ask for the same
/// number share one large trie.
pub(in crate::hear) struct Expanded {
    /// The phrases with the fillers, then the number if the grammar asks for one.
    pub parts: Vec<Arc<GrammarPart>>,
}

/// One trie of spellings.
#[derive(Default)]
pub(in crate::hear) struct GrammarPart {
    /// Every spelling's tokens.
    pub trie: Trie,
    /// For each spelling, the index of its answer in this part; none for a filler.
    owners: Vec<Option<u32>>,
    /// For each spelling, its index in `said`.
    sources: Vec<u32>,
    /// The words that were expanded, with their answers.
    said: Vec<(String, Option<Answer>)>,
    /// Number of distinct answers.
    answers: usize,
}

/// A spelling: the part, and its index there.
pub(in crate::hear) type Spelling = (u8, u32);
/// An answer: the part, and its index there.
pub(in crate::hear) type Owner = (u8, u32);

/// Everyday phrases that are not answers, and words that the model tends to invent over noise.
pub(in crate::hear) const FILLERS: &[&str] = &[
    "thank you",
    "thanks",
    "you",
    "okay",
    "all right",
    "oh",
    "o",
    "hello",
    "hey",
    "ouch",
    "ow",
    "bye",
    "so",
    "well",
    "hmm",
    "what",
    "what was that",
    "i see",
    "yeah",
    "right",
    "good",
    "good morning",
    "come here",
    "come on",
    "one moment",
    "wait",
    "let me see",
    "what is it",
    "damn it",
    "where is it",
    "the",
    "and",
    "it is raining",
    "what time is it",
    "give me that",
    "where is the spanner",
    "yes",
    "no",
    "mum",
    "who is there",
    "close the door",
    "i will be there",
    "how are you",
    "coffee",
    "it is",
    "this is",
    "that is it",
    "hold this",
    "got it",
    "there we go",
    "let us see",
    "i do not know",
    "we will see",
    "never mind",
    "shut up",
    "music",
];

/// Number words up to this one are also spelt as digits in phrases ("cylinder 2").
const HIGHEST_DIGITS: u64 = 12;

/// Collects spellings without duplicates.
struct Builder<'t> {
    tokenizer: &'t Tokenizer,
    /// Number words of 0 to [`HIGHEST_DIGITS`].
    numerals: Vec<String>,
    words: HashMap<String, Vec<Token>>,
    out: GrammarPart,
    seen: HashSet<(String, Option<u32>)>,
    tokens: Vec<Token>,
}

impl Expanded {
    /// The words and the answer of a spelling.
    pub(in crate::hear) fn meaning(&self, (part, spelling): Spelling) -> (&str, Option<&Answer>) {
        let part = &self.parts[part as usize];
        let (words, answer) = &part.said[part.sources[spelling as usize] as usize];
        (words, answer.as_ref())
    }

    /// The first spelling of an allowed phrase.
    pub(in crate::hear) fn spelling_of(&self, words: &str) -> Option<Spelling> {
        let part = self.parts.first()?;
        let of = |source: &u32| {
            let (said, answer) = &part.said[*source as usize];
            said == words && answer.is_some()
        };
        Some((0, part.sources.iter().position(of)? as u32))
    }

    /// All expanded words, fillers included, each with its first spelling.
    pub(in crate::hear) fn all(&self) -> impl Iterator<Item = (&str, Spelling)> {
        self.parts.iter().enumerate().flat_map(|(at, part)| {
            let first = part.sources.iter().enumerate();
            let first = first.filter(|(i, source)| *i == 0 || part.sources[i - 1] != **source);
            first.map(move |(i, source)| (part.said[*source as usize].0.as_str(), (at as u8, i as u32)))
        })
    }

    /// The answer that a spelling belongs to; none for a filler.
    pub(in crate::hear) fn owner(&self, (part, spelling): Spelling) -> Option<Owner> {
        self.parts[part as usize].owners[spelling as usize].map(|owner| (part, owner))
    }

    /// Whether the grammar allows a longer phrase that begins with these words.
    pub(in crate::hear) fn goes_on(&self, words: &str) -> bool {
        let longer = |(said, answer): &(String, Option<Answer>)| {
            answer.is_some() && said.strip_prefix(words).is_some_and(|rest| rest.starts_with(' '))
        };
        self.parts.iter().any(|p| p.said.iter().any(longer))
    }
}

impl GrammarPart {
    /// Expands the phrases of a grammar, and the fillers that are not among them.
    pub(in crate::hear) fn of_phrases(
        phrases: &[Phrase],
        fillers: &[String],
        words: &NumberWords,
        tokenizer: &Tokenizer,
    ) -> Self {
        let mut b = Builder::new(words, tokenizer);
        let mut fixed: Vec<&Answer> = Vec::new();
        for phrase in phrases {
            let owner = fixed.iter().position(|a| **a == phrase.answer).unwrap_or_else(|| {
                fixed.push(&phrase.answer);
                fixed.len() - 1
            });
            b.phrase(&phrase.words, Some(owner as u32), Some(phrase.answer.clone()));
        }
        b.out.answers = fixed.len();
        for words in fillers {
            if !phrases.iter().any(|p| p.words == *words) {
                b.phrase(words, None, None);
            }
        }
        b.out
    }

    /// Expands everything that may be said for a number, except what is a filler on its own ("oh").
    pub(in crate::hear) fn of_number(slot: &NumberSlot, words: &NumberWords, tokenizer: &Tokenizer) -> Self {
        let mut b = Builder::new(words, tokenizer);
        let mut numbers: HashMap<(u8, i64, Option<Unit>), u32> = HashMap::new();
        let said = number::spellings_in(slot, words).into_iter().filter(|(w, _)| !FILLERS.contains(&w.as_str()));
        for (words, reading) in said {
            let doubtful = reading.said_unit.filter(|u| u.quantity() != slot.quantity);
            let fresh = b.out.answers as u32;
            let owner =
                *numbers.entry((reading.kind as u8, (reading.value * 1e6).round() as i64, doubtful)).or_insert(fresh);
            b.out.answers += usize::from(owner == fresh);
            b.number(&words, reading, owner);
        }
        b.out
    }
}

impl<'t> Builder<'t> {
    fn new(words: &NumberWords, tokenizer: &'t Tokenizer) -> Self {
        let numerals = (0..=HIGHEST_DIGITS).map(|n| words.cardinal(n)).collect();
        let (out, words, seen) = (GrammarPart::default(), HashMap::new(), HashSet::new());
        Builder { tokenizer, numerals, words, out, seen, tokens: Vec::new() }
    }

    /// Adds all spellings of fixed words.
    fn phrase(&mut self, words: &str, owner: Option<u32>, answer: Option<Answer>) {
        self.out.said.push((words.to_owned(), answer));
        for written in written_forms(words, &self.numerals) {
            self.cased(&written, owner);
        }
    }

    /// Adds all spellings of a number: in words, and in digits with the unit that was said.
    fn number(&mut self, words: &str, reading: Reading, owner: u32) {
        let written = digit_forms(&reading);
        self.out.said.push((words.to_owned(), Some(Answer::Reading(reading))));
        for form in written_forms(words, &self.numerals) {
            self.cased(&form, Some(owner));
        }
        for form in written {
            self.one(&form, Some(owner));
            self.one(&format!("{form}."), Some(owner));
        }
    }

    /// Adds a text with and without a capital and a full stop.
    fn cased(&mut self, text: &str, owner: Option<u32>) {
        let mut letters = text.chars();
        let capital: String = letters.next().into_iter().flat_map(char::to_uppercase).chain(letters).collect();
        let stop = if text.ends_with('.') { "" } else { "." };
        self.one(&format!("{capital}{stop}"), owner);
        self.one(&format!("{text}{stop}"), owner);
        self.one(text, owner);
        self.one(&capital, owner);
    }

    fn one(&mut self, text: &str, owner: Option<u32>) {
        if !self.seen.insert((text.to_owned(), owner)) {
            return;
        }
        self.tokens.clear();
        for word in text.split(' ') {
            let tokenizer = self.tokenizer;
            let tokens = self.words.entry(word.to_owned()).or_insert_with(|| {
                let mut ids = Vec::new();
                tokenizer.encode_word(word, &mut ids);
                ids
            });
            self.tokens.extend_from_slice(tokens);
        }
        self.out.trie.add(&self.tokens, self.out.owners.len() as u32);
        self.out.owners.push(owner);
        self.out.sources.push(self.out.said.len() as u32 - 1);
    }
}

/// Written forms of fixed words: "i" is a capital, single letters may be capitals, number words may be digits.
fn written_forms(words: &str, numerals: &[String]) -> Vec<String> {
    let each = |f: &dyn Fn(&str) -> String| words.split(' ').map(f).collect::<Vec<_>>().join(" ");
    let plain = each(&|w| if w == "i" { "I".to_owned() } else { w.to_owned() });
    let mut forms = vec![plain.clone()];
    let letters: Vec<&str> = words.split(' ').filter(|w| w.len() == 1 && *w != "a" && *w != "i").collect();
    if !letters.is_empty() {
        forms.push(each(&|w| if w.len() == 1 { w.to_uppercase() } else { w.to_owned() }));
        if letters.len() == words.split(' ').count() {
            forms.push(letters.concat().to_uppercase());
            forms.push(letters.iter().map(|l| format!("{}.", l.to_uppercase())).collect());
            forms.push(letters.iter().map(|l| l.to_uppercase()).collect::<Vec<_>>().join("-"));
        }
    }
    let digit = |w: &str| numerals.iter().position(|n| n == w).map_or_else(|| w.to_owned(), |n| n.to_string());
    let many = words.split(' ').filter(|w| numerals.iter().any(|n| n == w)).count();
    if many == 1 {
        forms.push(plain.split(' ').map(digit).collect::<Vec<_>>().join(" "));
    } else if many > 1 && many + 1 >= words.split(' ').count() {
        forms.push(words.replace(' ', ", "));
    }
    forms
}

/// A reading in digits, in the unit that was said.
fn digit_forms(reading: &Reading) -> Vec<String> {
    let before = match reading.kind {
        ReadingKind::Plain => "",
        ReadingKind::About => "about ",
        ReadingKind::OverRange | ReadingKind::NoReading => return Vec::new(),
    };
    let unit = reading.said_unit.unwrap_or(reading.unit);
    let Some(value) = reading.unit.convert(reading.value, unit) else { return Vec::new() };
    let value = (value * 1e6).round() / 1e6;
    let mut numbers = vec![format!("{}", value.abs())];
    if value.abs() < 1.0 && value != 0.0 {
        numbers.push(numbers[0].trim_start_matches('0').to_owned());
    }
    if value.abs() >= 1_000.0 && value.fract() == 0.0 {
        let text = &numbers[0];
        numbers.push(format!("{},{}", &text[..text.len() - 3], &text[text.len() - 3..]));
    }
    let mut out = Vec::new();
    for number in numbers {
        let signs: &[&str] = if value < 0.0 { &["-", "minus ", "Minus "] } else { &[""] };
        for sign in signs {
            let number = format!("{before}{sign}{number}");
            match reading.said_unit {
                None => out.push(number),
                Some(unit) => out.extend(written_units(unit).iter().map(|u| format!("{number}{u}"))),
            }
        }
    }
    out
}

/// How a unit is written after digits.
fn written_units(unit: Unit) -> &'static [&'static str] {
    match unit {
        Unit::Volt => &[" volts", " volt", "V", " V"],
        Unit::Millivolt => &[" millivolts", "mV", " mV"],
        Unit::Ampere => &[" amps", "A", " A"],
        Unit::Milliampere => &[" milliamps", "mA", " mA"],
        Unit::Ohm => &[" ohms", " ohm"],
        Unit::Kilohm => &[" kilohms", "k", " K", "K"],
        Unit::Megohm => &[" megohms", "M"],
        Unit::Microfarad => &[" microfarads"],
        Unit::Nanofarad => &[" nanofarads"],
        Unit::Millimetre => &[" millimetres", " millimeters", "mm", " mm"],
        Unit::Thou => &[" thou"],
        Unit::Degree => &[" degrees", "\u{b0}"],
        Unit::Celsius => &[" degrees", " degrees Celsius", "\u{b0}C"],
        Unit::Fahrenheit => &[" degrees", " degrees Fahrenheit", "\u{b0}F"],
        Unit::PerMinute => &[" rpm", " RPM"],
        Unit::Second => &[" seconds", " second"],
        Unit::Minute => &[" minutes", " minute"],
        Unit::Millisecond => &[" milliseconds"],
        Unit::Percent => &["%", " percent"],
        Unit::Kilometre => &[" kilometres", " kilometers", " km"],
        Unit::Mile => &[" miles"],
        Unit::One => &[""],
        Unit::Kilovolt => &[" kilovolts", "kV", " kV"],
        Unit::Metre => &[" metres", " meters"],
        Unit::Inch => &[" inches", " inch"],
        Unit::SquareMillimetre => &[" square millimetres", " square millimeters"],
        Unit::Gauge => &[" gauge"],
        Unit::Millihenry => &[" millihenries", " millihenrys"],
        Unit::Henry => &[" henries", " henrys"],
        Unit::Millijoule => &[" millijoules"],
        Unit::Joule => &[" joules"],
        Unit::Watt => &[" watts", "W", " W"],
        Unit::AmpereHour => &[" ampere hours", " amp hours"],
        Unit::Hertz => &[" hertz", "Hz", " Hz"],
        Unit::Kilohertz => &[" kilohertz", "kHz", " kHz"],
        Unit::EachMinute => &[" per minute", " a minute"],
        Unit::Hour => &[" hours", " hour"],
        Unit::Bar => &[" bar", " bars"],
        Unit::Psi => &[" psi", " PSI"],
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phrase::Vocabulary;

    #[test]
    fn fixed_words_get_capitals_letters_and_digits() {
        let numerals: Vec<String> = (0..=12).map(|n| Vocabulary::english().numbers().cardinal(n)).collect();
        let written_forms = |words| super::written_forms(words, &numerals);
        assert_eq!(written_forms("i changed something"), ["I changed something"]);
        assert_eq!(written_forms("o l"), ["o l", "O L", "OL", "O.L.", "O-L"]);
        assert_eq!(written_forms("cylinder two"), ["cylinder two", "cylinder 2"]);
        assert_eq!(written_forms("one two point four"), ["one two point four", "one, two, point, four"]);
    }

    #[test]
    fn readings_are_written_in_the_unit_that_was_said() {
        let reading = |value, said_unit| Reading { kind: ReadingKind::Plain, value, unit: Unit::Volt, said_unit };
        assert_eq!(digit_forms(&reading(12.45, None)), ["12.45"]);
        assert_eq!(digit_forms(&reading(0.2, Some(Unit::Millivolt)))[0], "200 millivolts");
        assert_eq!(digit_forms(&reading(0.2, None)), ["0.2", ".2"]);
        assert_eq!(digit_forms(&reading(-0.1, None))[..2], ["-0.1", "minus 0.1"]);
        assert_eq!(digit_forms(&reading(4500.0, None)), ["4500", "4,500"]);
    }
}
