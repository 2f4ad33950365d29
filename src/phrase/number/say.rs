//! Turns values into words: in full with the unit, and digit by digit.

use super::super::answer::{Reading, ReadingKind};
use super::number_words::NumberWords;
use super::settle::settle;
use crate::units::Unit;

/// Most digits after the point, so that float noise is never spoken.
const MOST_DECIMALS: usize = 6;
/// Whole numbers from here on are spoken digit by digit.
const LARGEST_NAMED: u64 = 1_000_000_000;

impl NumberWords {
    /// A value in words with its unit: "twelve point one five volts", "minus zero point one volts", "one hundred and five ohms".
    ///
    /// `value` is in `unit`. It is spoken to one digit beyond `resolution` (in the same unit) and to at least three significant digits,
    /// without trailing zeros.
    ///
    /// ```
    /// use probeside::{phrase::Vocabulary, units::Unit};
    /// let words = Vocabulary::english().numbers();
    /// assert_eq!(words.say_number(12.15, Unit::Volt, 0.01), "twelve point one five volts");
    /// assert_eq!(words.say_number(4700.0, Unit::Ohm, 1.0), "four thousand seven hundred ohms");
    /// assert_eq!(words.say_number(1.0, Unit::Volt, 0.01), "one volt");
    /// ```
    pub fn say_number(&self, value: f64, unit: Unit, resolution: f64) -> String {
        if !value.is_finite() {
            return self.no_reading.first().cloned().unwrap_or_default();
        }
        let figures = figures(value, resolution);
        let (sign, plain) = split_sign(&figures);
        let (whole, fraction) = plain.split_once('.').unwrap_or((plain, ""));
        let mut words = Vec::new();
        words.extend(sign.then(|| self.minus.clone()));
        words.push(match whole.parse() {
            Ok(n) if n < LARGEST_NAMED => self.cardinal(n),
            _ => self.spell_out(whole),
        });
        if !fraction.is_empty() {
            words.push(self.point.clone());
            words.push(self.spell_out(fraction));
        }
        let unit = self.unit(unit, plain == "1");
        if !unit.is_empty() {
            words.push(unit.to_owned());
        }
        words.join(" ")
    }

    /// A value digit by digit, without unit: 12.15 is "one two point one five". Rounded as in [`NumberWords::say_number`].
    ///
    /// ```
    /// use probeside::phrase::Vocabulary;
    /// assert_eq!(Vocabulary::english().numbers().say_digits(-0.5, 0.01), "minus zero point five");
    /// ```
    pub fn say_digits(&self, value: f64, resolution: f64) -> String {
        self.spell_out(&figures(value, resolution))
    }

    /// A reading in words: the number with its unit, with "about ..." before it, "over range", or "no reading".
    pub(in crate::phrase) fn say_reading(&self, reading: &Reading, resolution: f64) -> String {
        let number = || self.say_number(reading.value, reading.unit, resolution);
        match reading.kind {
            ReadingKind::Plain => number(),
            ReadingKind::About => format!("{} {}", self.about, number()),
            ReadingKind::OverRange => self.over_range.first().cloned().unwrap_or_default(),
            ReadingKind::NoReading => self.no_reading.first().cloned().unwrap_or_default(),
        }
    }

    /// The spoken unit after 1, or after any other number. Empty for a bare number.
    pub fn unit(&self, unit: Unit, one: bool) -> &str {
        self.units.get(&unit).map_or("", |[single, many]| if one { single } else { many })
    }

    /// "four thousand seven hundred and five".
    pub fn cardinal(&self, n: u64) -> String {
        let group = |n: u64, times: u64, name: &str| {
            let (many, rest) = (n / times, n % times);
            let head = format!("{} {name}", self.cardinal(many));
            match rest {
                0 => head,
                1..100 if !self.and_after_hundred.is_empty() => {
                    format!("{head} {} {}", self.and_after_hundred, self.cardinal(rest))
                }
                _ => format!("{head} {}", self.cardinal(rest)),
            }
        };
        match n {
            0..100 => self.below_hundred(n as u32),
            100..1000 => group(n, 100, &self.hundred),
            1000..1_000_000 => group(n, 1000, &self.thousand),
            _ => group(n, 1_000_000, &self.million),
        }
    }

    /// "forty five".
    pub(super) fn below_hundred(&self, n: u32) -> String {
        match self.names.get(&n) {
            Some(name) => name.clone(),
            None => format!("{} {}", self.below_ten_or_ten(n / 10 * 10), self.below_ten_or_ten(n % 10)),
        }
    }

    fn below_ten_or_ten(&self, n: u32) -> &str {
        self.names.get(&n).map_or("", String::as_str)
    }

    pub(super) fn digit(&self, digit: char) -> &str {
        digit.to_digit(10).map_or("", |d| self.below_ten_or_ten(d))
    }

    /// Each figure by name.
    pub(in crate::phrase) fn spell_out(&self, figures: &str) -> String {
        let words: Vec<&str> = figures
            .chars()
            .map(|c| match c {
                '-' => self.minus.as_str(),
                '.' => self.point.as_str(),
                digit => self.digit(digit),
            })
            .collect();
        words.join(" ")
    }
}

/// The value in figures, rounded for speech, without trailing zeros.
pub(super) fn figures(value: f64, resolution: f64) -> String {
    let text = format!("{:.*}", MOST_DECIMALS, settle(value, resolution));
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" || text.is_empty() { "0".to_owned() } else { text.to_owned() }
}

fn split_sign(figures: &str) -> (bool, &str) {
    figures.strip_prefix('-').map_or((false, figures), |plain| (true, plain))
}

#[cfg(test)]
mod tests {
    use crate::phrase::Vocabulary;
    use crate::units::Unit;

    #[test]
    fn numbers_in_words() {
        let say = |v, r| Vocabulary::english().say_number(v, Unit::One, r);
        assert_eq!(say(0.2, 0.01), "zero point two");
        assert_eq!(say(1250.0, 1.0), "one thousand two hundred and fifty");
        assert_eq!(say(2005.0, 1.0), "two thousand and five");
        assert_eq!(say(1_200_000.0, 1.0), "one million two hundred thousand");
        assert_eq!(say(0.1 + 0.2, 0.01), "zero point three");
        assert_eq!(say(12.0, 0.01), "twelve");
        assert_eq!(say(100.0, 0.1), "one hundred");
        assert_eq!(say(-0.0001, 1.0), "minus zero point zero zero zero one");
        assert_eq!(Vocabulary::english().say_digits(20.05, 0.01), "two zero point zero five");
        assert_eq!(say(f64::NAN, 0.1), "no reading");
    }
}
