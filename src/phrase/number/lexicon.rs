//! What each word means inside a number, from the vocabulary file. Splits a text into such words, longest phrase first.

use super::super::words::normalise;
use crate::source::{Diagnostic, Place};
use crate::units::Unit;
use std::collections::HashMap;

/// What a word or phrase means in a number.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Sense {
    /// 0 to 99.
    Small(u32),
    /// A multiplier: a hundred, a thousand, a million.
    Times(u64),
    Point,
    Minus,
    And,
    Article,
    /// A fraction of one, in figures: `0.5`.
    Fraction(String),
    Kilo,
    About,
    OverRange,
    NoReading,
    Correction,
    Filler,
    Units(Vec<Unit>),
}

impl std::fmt::Display for Sense {
    /// As the vocabulary file calls it.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let name = match self {
            Self::Small(number) => return write!(f, "{number}"),
            Self::Times(number) => return write!(f, "{number}"),
            Self::Fraction(share) => share,
            Self::Units(units) => {
                let names: Vec<&str> = units.iter().map(|unit| unit.name()).collect();
                return f.write_str(&names.join(" or "));
            }
            Self::Point => "point",
            Self::Minus => "minus",
            Self::And => "and",
            Self::Article => "article",
            Self::Kilo => "kilo",
            Self::About => "about",
            Self::OverRange => "over-range",
            Self::NoReading => "no-reading",
            Self::Correction => "correction",
            Self::Filler => "filler",
        };
        f.write_str(name)
    }
}

/// One word or phrase of a text.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Token<'a> {
    Sense(&'a Sense),
    /// Figures, with an optional sign, points and commas. Never empty.
    Figures(&'a str),
    /// `4k7`: whole, letter, fraction.
    Code(&'a str, char, &'a str),
}

/// Phrases by first word, longest first.
#[derive(Debug, Clone, Default)]
pub(super) struct Lexicon {
    by_first: HashMap<String, Vec<(Vec<String>, Sense)>>,
    /// Written symbols, valid only after figures: there `a` is ampere.
    pub symbols: HashMap<String, Sense>,
}

impl Lexicon {
    pub fn add(&mut self, phrase: &str, sense: Sense, place: &Place, found: &mut Vec<Diagnostic>) {
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
                let message = format!("In numbers, \"{phrase}\" is written for both {other} and {sense}.");
                found.push(Diagnostic::error(place, "double-meaning", message).help("Leave it to one of them."));
            }
        }
    }

    /// Splits a normalised text. `None` if a word is not part of any number.
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
