//! Numbers as mechanics say them, both ways: words -> [`Reading`]s ([`readings`]), values -> words ([`NumberWords::say_number`]), and
//! everything that may be said for a number that is asked for ([`spellings`]). The words come from the vocabulary.

mod decimal;
mod lexicon;
mod read;
mod say;
mod spell;
#[cfg(test)]
mod tests;
mod whole;

pub(super) use lexicon::RawNumbers;
pub use read::{parse_number, readings};
pub use spell::{MOST_SPELLINGS, spellings_in};

use super::answer::Reading;
use super::grammar::NumberSlot;
use super::vocabulary::Vocabulary;
use crate::trade::Unit;
use lexicon::Lexicon;
use std::collections::BTreeMap;

/// The number words and units of one language.
#[derive(Debug, Clone)]
pub struct NumberWords {
    /// Spoken names of 0 to 99, as far as they are not made of a ten and a digit.
    names: BTreeMap<u32, String>,
    /// Every name of every digit; the first is the spoken one.
    digits: Vec<Vec<String>>,
    hundred: String,
    thousand: String,
    million: String,
    point: String,
    minus: String,
    kilo: Vec<String>,
    about: String,
    over_range: Vec<String>,
    no_reading: Vec<String>,
    and_after_hundred: String,
    and: String,
    article: String,
    /// Shares in figures and in words.
    fractions: Vec<(String, String)>,
    /// Spoken with 1, and with any other number.
    units: BTreeMap<Unit, [String; 2]>,
    lexicon: Lexicon,
}

/// Everything that may be said in English for the number that is asked for; see [`spellings_in`].
///
/// ```
/// use probeside::phrase::{NumberSlot, number::spellings};
/// use probeside::trade::{Quantity, Unit};
/// let slot = NumberSlot { quantity: Quantity::Voltage, unit: Unit::Volt, low: 0.0, high: 15.0, resolution: 0.1 };
/// let said = spellings(&slot);
/// assert!(said.iter().any(|(words, reading)| words == "twelve point four" && reading.value == 12.4));
/// assert!(said.iter().any(|(words, reading)| words == "two hundred millivolts" && reading.value == 0.2));
/// ```
pub fn spellings(slot: &NumberSlot) -> Vec<(String, Reading)> {
    spellings_in(slot, Vocabulary::english().numbers())
}

/// Digits after the point that `resolution` needs, at most six.
pub(super) fn decimals_of(resolution: f64) -> usize {
    (0..6).find(|d| near_whole(resolution * 10f64.powi(*d))).unwrap_or(6) as usize
}

fn near_whole(x: f64) -> bool {
    x.round() >= 1.0 && (x - x.round()).abs() < 1e-6 * x
}

/// The value kept to one digit beyond the resolution, and to three significant digits at least. Stored and spoken values agree in it.
pub(super) fn settle(value: f64, resolution: f64) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return if value == 0.0 { 0.0 } else { value };
    }
    let significant = (2.0 - value.abs().log10().floor()).clamp(0.0, 12.0) as usize;
    let decimals = (decimals_of(resolution) + 1).max(significant);
    format!("{value:.decimals$}").parse().map_or(value, |v: f64| if v == 0.0 { 0.0 } else { v })
}
