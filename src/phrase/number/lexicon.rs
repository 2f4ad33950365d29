//! Which words mean what inside a number, as the vocabulary file says, and cutting a text into such words, longest phrase first.

use super::super::words::normalise;
use super::NumberWords;
use crate::trade::Unit;
use crate::written::{Diagnostic, Place};
use serde::Deserialize;
use std::collections::{BTreeMap, HashMap};

/// The file's `numbers` section.
#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "kebab-case", default)]
pub struct RawNumbers {
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

/// What a word or phrase means in a number.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Sense {
    /// 0 to 99.
    Small(u32),
    /// A hundred, a thousand, a million.
    Times(u64),
    Point,
    Minus,
    And,
    Article,
    /// A share of one, in figures: `0.5`.
    Fraction(String),
    Kilo,
    About,
    OverRange,
    NoReading,
    Correction,
    Filler,
    Units(Vec<Unit>),
}

/// One word or phrase of a text.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Token<'a> {
    Sense(&'a Sense),
    /// Figures, perhaps with a sign, points and commas; never empty.
    Figures(&'a str),
    /// `4k7`: whole, letter, fraction.
    Code(&'a str, char, &'a str),
}

/// Phrases by their first word, longest first.
#[derive(Debug, Clone, Default)]
pub(super) struct Lexicon {
    by_first: HashMap<String, Vec<(Vec<String>, Sense)>>,
    /// Written symbols, looked for behind figures only: `a` is ampere there.
    symbols: HashMap<String, Sense>,
}

impl Lexicon {
    fn add(&mut self, phrase: &str, sense: Sense, place: &Place, found: &mut Vec<Diagnostic>) {
        let words: Vec<String> = normalise(phrase).split(' ').filter(|w| !w.is_empty()).map(str::to_owned).collect();
        let Some(first) = words.first() else { return };
        let entries = self.by_first.entry(first.clone()).or_default();
        match entries.iter_mut().find(|(other, _)| *other == words) {
            None => entries.push((words, sense)),
            Some((_, Sense::Units(units))) if matches!(sense, Sense::Units(_)) => {
                if let Sense::Units(more) = sense {
                    units.extend(more.into_iter().filter(|u| !units.contains(u)).collect::<Vec<_>>());
                }
            }
            Some((_, other)) if *other == sense => {}
            Some((_, other)) => {
                let message = format!("In numbers, \"{phrase}\" is written for both {other:?} and {sense:?}.");
                found.push(Diagnostic::error(place, "double-meaning", message).help("Leave it to one of them."));
            }
        }
    }

    /// Cuts a normalised text; `None` when a word is not part of any number.
    pub fn cut<'a>(&'a self, text: &'a str) -> Option<Vec<Token<'a>>> {
        let words: Vec<&str> = text.split(' ').filter(|w| !w.is_empty()).collect();
        let mut tokens = Vec::with_capacity(words.len());
        let mut at = 0;
        while at < words.len() {
            if let (Some(Token::Figures(_)), Some(sense)) = (tokens.last(), self.symbols.get(words[at])) {
                tokens.push(Token::Sense(sense));
                at += 1;
            } else if let Some((length, sense)) = self.longest(&words[at..]) {
                tokens.push(Token::Sense(sense));
                at += length;
            } else {
                self.figures(words[at], &mut tokens)?;
                at += 1;
            }
        }
        Some(tokens)
    }

    fn longest(&self, words: &[&str]) -> Option<(usize, &Sense)> {
        let entries = self.by_first.get(words[0])?;
        let fits = |phrase: &[String]| phrase.len() <= words.len() && phrase.iter().zip(words).all(|(a, b)| a == b);
        entries.iter().filter(|(p, _)| fits(p)).map(|(p, s)| (p.len(), s)).max_by_key(|(length, _)| *length)
    }

    /// `12.45`, `12.45v`, `4k7`.
    fn figures<'a>(&'a self, word: &'a str, tokens: &mut Vec<Token<'a>>) -> Option<()> {
        let figure = |c: char| c.is_ascii_digit() || c == '.' || c == ',';
        let sign = usize::from(word.starts_with('-'));
        let end = word[sign..].find(|c| !figure(c)).map_or(word.len(), |i| i + sign);
        let (number, rest) = word.split_at(end);
        if number.len() == sign {
            return None;
        }
        if let Some(letter @ ('k' | 'm' | 'r')) = rest.chars().next()
            && number.chars().all(|c| c.is_ascii_digit())
            && rest.len() > 1
            && rest[1..].chars().all(|c| c.is_ascii_digit())
        {
            tokens.push(Token::Code(number, letter, &rest[1..]));
            return Some(());
        }
        tokens.push(Token::Figures(number));
        if !rest.is_empty() {
            let sense = self.symbols.get(rest).or_else(|| self.longest(&[rest]).map(|(_, sense)| sense))?;
            tokens.push(Token::Sense(sense));
        }
        Some(())
    }
}

impl NumberWords {
    /// Takes the file's sections; what is missing or doubled goes to `found`.
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
        for key in raw.fractions.keys().filter(|k| super::decimal::Decimal::from_figures(k).is_none()) {
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

    /// Numbers with a unit behind them, in the words of the text.
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
