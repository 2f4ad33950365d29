//! One language's number words, from the vocabulary file.

use super::super::words::normalise;
use super::decimal::Decimal;
use super::lexicon::{Lexicon, Sense, Token};
use crate::source::{Diagnostic, Place};
use crate::units::Unit;
use serde::Deserialize;
use std::collections::BTreeMap;

/// The file's `numbers` section.
#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case", default)]
pub(in crate::phrase) struct RawNumbers {
    names: BTreeMap<String, Vec<String>>,
    hundred: Vec<String>,
    thousand: Vec<String>,
    million: Vec<String>,
    point: Vec<String>,
    minus: Vec<String>,
    and: Vec<String>,
    article: Vec<String>,
    fractions: BTreeMap<String, Vec<String>>,
    kilo: Vec<String>,
    about: Vec<String>,
    over_range: Vec<String>,
    no_reading: Vec<String>,
    correction: Vec<String>,
    filler: Vec<String>,
    hundred_and: String,
}

/// The number words and units of one language.
#[derive(Debug, Clone)]
pub struct NumberWords {
    /// Spoken names of 0 to 99, except those made of a ten and a digit.
    pub(super) names: BTreeMap<u32, String>,
    /// All names of each digit; the first is the spoken one.
    pub(super) digits: Vec<Vec<String>>,
    pub(super) hundred: String,
    pub(super) thousand: String,
    pub(super) million: String,
    pub(super) point: String,
    pub(super) minus: String,
    pub(super) kilo: Vec<String>,
    pub(super) about: String,
    pub(super) over_range: Vec<String>,
    pub(super) no_reading: Vec<String>,
    pub(super) and_after_hundred: String,
    pub(super) and: String,
    pub(super) article: String,
    /// Fractions in figures and in words.
    pub(super) fractions: Vec<(String, String)>,
    /// The spoken form after 1, and after any other number.
    pub(super) units: BTreeMap<Unit, [String; 2]>,
    pub(super) lexicon: Lexicon,
}

impl NumberWords {
    /// Decodes the file's sections. Missing and duplicate entries go to `found`.
    pub(in super::super) fn new(
        raw: RawNumbers,
        units: BTreeMap<Unit, Vec<String>>,
        place: &Place,
        found: &mut Vec<Diagnostic>,
    ) -> Self {
        let mut missing = |key: &str| {
            let message = format!("The vocabulary has no `{key}`.");
            let help = format!("Add `{key}` with its words.");
            found.push(Diagnostic::error(place, "missing-key", message).help(help));
        };
        let mut names = BTreeMap::new();
        for (key, said) in &raw.names {
            match (key.parse::<u32>().ok().filter(|n| *n < 100), said.first()) {
                (Some(n), Some(first)) => drop(names.insert(n, first.clone())),
                _ => missing(&format!("numbers: names: (0 to 99, with a word each, not \"{key}\")")),
            }
        }
        let tens = (2..10).map(|ten| ten * 10);
        for n in (0..20).chain(tens).filter(|n| !names.contains_key(n)) {
            missing(&format!("numbers: names: \"{n}\""));
        }
        let needed = [
            ("hundred", &raw.hundred),
            ("thousand", &raw.thousand),
            ("million", &raw.million),
            ("point", &raw.point),
            ("minus", &raw.minus),
            ("about", &raw.about),
            ("over-range", &raw.over_range),
            ("no-reading", &raw.no_reading),
            ("correction", &raw.correction),
        ];
        for (key, _) in needed.iter().filter(|(_, said)| said.is_empty()) {
            missing(&format!("numbers: {key}"));
        }
        let mut spoken = BTreeMap::new();
        for (unit, said) in &units {
            match said.as_slice() {
                [one, many, ..] => drop(spoken.insert(*unit, [one.clone(), many.clone()])),
                _ => missing(&format!("units: {unit}: (spoken with 1, and with other numbers)")),
            }
        }
        for key in raw.fractions.keys().filter(|k| Decimal::from_figures(k).is_none()) {
            missing(&format!("numbers: fractions: (a share such as \"0.5\", not \"{key}\")"));
        }

        let mut lexicon = Lexicon::default();
        let mut add = |said: &[String], sense: Sense| {
            for phrase in said {
                lexicon.add(phrase, sense.clone(), place, found);
            }
        };
        let digits = (0..10).map(|d| raw.names.get(&d.to_string()).cloned().unwrap_or_default()).collect();
        for (key, said) in &raw.names {
            if let Ok(n) = key.parse() {
                add(said, Sense::Small(n));
            }
        }
        for (key, said) in &raw.fractions {
            add(said, Sense::Fraction(key.clone()));
        }
        for (unit, said) in &units {
            add(said, Sense::Units(vec![*unit]));
        }
        let first = |said: &[String]| said.first().cloned().unwrap_or_default();
        add(&raw.hundred, Sense::Times(100));
        add(&raw.thousand, Sense::Times(1000));
        add(&raw.million, Sense::Times(1_000_000));
        add(&raw.point, Sense::Point);
        add(&raw.minus, Sense::Minus);
        add(&raw.and, Sense::And);
        add(&raw.article, Sense::Article);
        add(&raw.kilo, Sense::Kilo);
        add(&raw.about, Sense::About);
        add(&raw.over_range, Sense::OverRange);
        add(&raw.no_reading, Sense::NoReading);
        add(&raw.correction, Sense::Correction);
        add(&raw.filler, Sense::Filler);
        let mut symbols: BTreeMap<String, Vec<Unit>> = BTreeMap::new();
        for unit in Unit::ALL.iter().filter(|u| **u != Unit::One) {
            symbols.entry(normalise(unit.name())).or_default().push(*unit);
        }
        lexicon.symbols = symbols.into_iter().map(|(symbol, units)| (symbol, Sense::Units(units))).collect();
        NumberWords {
            names,
            digits,
            hundred: first(&raw.hundred),
            thousand: first(&raw.thousand),
            million: first(&raw.million),
            point: first(&raw.point),
            minus: first(&raw.minus),
            kilo: raw.kilo,
            about: first(&raw.about),
            over_range: raw.over_range,
            no_reading: raw.no_reading,
            and_after_hundred: raw.hundred_and,
            and: first(&raw.and),
            article: first(&raw.article),
            fractions: raw.fractions.iter().map(|(share, said)| (share.clone(), first(said))).collect(),
            units: spoken,
            lexicon,
        }
    }

    pub(super) fn cut<'a>(&'a self, text: &'a str) -> Option<Vec<Token<'a>>> {
        self.lexicon.cut(text)
    }

    /// The numbers in `text` that carry a unit, as they are written there.
    pub(in super::super) fn figures_in(&self, text: &str) -> Vec<String> {
        let said = normalise(text);
        let words: Vec<&str> = said.split(' ').collect();
        let last = |word: &str, fits: &dyn Fn(&Token<'_>) -> bool| {
            self.cut(word).is_some_and(|tokens| tokens.last().is_some_and(fits))
        };
        let is_unit = |word: &str| last(word, &|token| matches!(token, Token::Sense(Sense::Units(_))));
        let is_number = |word: &str| {
            last(word, &|token| match token {
                Token::Figures(_) => true,
                Token::Sense(sense) => matches!(sense, Sense::Small(_) | Sense::Times(_) | Sense::Fraction(_)),
                Token::Code(..) => false,
            })
        };
        let glued = |word: &str| self.cut(word).is_some_and(|tokens| tokens.len() == 2 && is_unit(word));
        let mut found = Vec::new();
        for at in 0..words.len() {
            match words[at..] {
                [word, ..] if glued(word) => found.push(word.to_owned()),
                [number, unit, ..] if is_number(number) && is_unit(unit) => found.push(format!("{number} {unit}")),
                [share, article, unit, ..] if is_number(share) && article == self.article && is_unit(unit) => {
                    found.push(format!("{share} {article} {unit}"));
                }
                _ => {}
            }
        }
        found
    }
}
