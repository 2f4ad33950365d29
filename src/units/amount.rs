//! A number with a unit as the user types it: "4.5 ohm", "12V", "2/0 AWG", "60 deg crank".

use super::Unit;
use std::fmt;

/// A typed number, with its unit if one was typed.
#[derive(Debug, Clone, PartialEq)]
pub struct Amount {
    /// The number, in `unit`.
    pub value: f64,
    /// The unit. `None` if only a number was typed.
    pub unit: Option<Unit>,
    /// The part named after an angle or a speed: "crank", "points cam", "rotor". Empty if none was typed.
    pub of: &'static str,
}

/// Why a text is not an amount.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotAnAmount {
    /// It does not start with a number.
    #[error("\"{0}\" does not begin with a number; type a number and a unit, such as \"4.5 ohm\"")]
    NoNumber(String),
    /// The number contains a comma.
    #[error("\"{0}\" has a comma; write a decimal point, as in 1.5, and no separator of thousands")]
    Comma(String),
    /// The number exceeds the range of a double.
    #[error("\"{0}\" is too large a number")]
    TooLarge(String),
    /// The text after the number is not a unit.
    #[error("\"{unit}\" in \"{text}\" is no unit; the units are {}", all_units())]
    NoUnit {
        /// The full text.
        text: String,
        /// The text in place of the unit.
        unit: String,
    },
}

fn all_units() -> String {
    Unit::ALL.iter().filter(|u| **u != Unit::One).map(|u| u.name()).collect::<Vec<_>>().join(", ")
}

/// Parts that angles and speeds can refer to, by the words after the number.
const PARTS: [(&str, &str); 6] = [
    ("crank", "crank"),
    ("crankshaft", "crank"),
    ("cam", "points cam"),
    ("points cam", "points cam"),
    ("camshaft", "points cam"),
    ("rotor", "rotor"),
];

impl Amount {
    /// Parses `text`.
    ///
    /// # Errors
    /// The text does not start with a number, or is not followed by a unit.
    ///
    /// ```
    /// use probeside::units::{Amount, Unit};
    /// let typed = Amount::parse("60 deg crank").unwrap();
    /// assert_eq!((typed.value, typed.unit, typed.of), (60.0, Some(Unit::Degree), "crank"));
    /// assert_eq!(Amount::parse("2/0 AWG").unwrap().value, -1.0);
    /// assert!(Amount::parse("12 furlongs").is_err());
    /// ```
    pub fn parse(text: &str) -> Result<Self, NotAnAmount> {
        let text = text.trim();
        let number = |c: char| c.is_ascii_digit() || "+-.,/".contains(c);
        let mut end = text.find(|c| !number(c)).unwrap_or(text.len());
        // An exponent: `1e-3`, but not the `e` of a word.
        let exponent = text[end..].strip_prefix(['e', 'E']).map(|rest| rest.trim_start_matches(['+', '-']));
        if let Some(rest) = exponent.filter(|rest| rest.starts_with(|c: char| c.is_ascii_digit())) {
            let digits = rest.find(|c: char| !c.is_ascii_digit()).unwrap_or(rest.len());
            end = text.len() - rest.len() + digits;
        }
        let (figures, rest) = text.split_at(end);
        if figures.contains(',') {
            return Err(NotAnAmount::Comma(text.to_owned()));
        }
        if !figures.contains(|c: char| c.is_ascii_digit()) {
            return Err(NotAnAmount::NoNumber(text.to_owned()));
        }
        let rest = rest.trim();
        let (unit, of) = Self::unit(text, rest)?;
        let value = match figures.split_once('/') {
            // Large wire gauges are written with the number of their zeros.
            Some((noughts, "0")) if unit == Some(Unit::Gauge) => noughts.parse::<u8>().ok().map(|n| 1.0 - f64::from(n)),
            Some(_) => None,
            None => figures.parse::<f64>().ok(),
        };
        let value = value.ok_or_else(|| NotAnAmount::NoNumber(text.to_owned()))?;
        if !value.is_finite() {
            return Err(NotAnAmount::TooLarge(text.to_owned()));
        }
        Ok(Self { value, unit, of })
    }

    fn unit(text: &str, rest: &str) -> Result<(Option<Unit>, &'static str), NotAnAmount> {
        if rest.is_empty() {
            return Ok((None, ""));
        }
        if let Some(unit) = Unit::typed(rest) {
            return Ok((Some(unit), ""));
        }
        let of = |words: &str| PARTS.iter().find(|(typed, _)| *typed == words.trim()).map(|(_, part)| *part);
        if let Some((unit, of)) = rest.split_once(' ').and_then(|(unit, part)| Some((Unit::typed(unit)?, of(part)?)))
            && matches!(unit, Unit::Degree | Unit::PerMinute)
        {
            return Ok((Some(unit), of));
        }
        Err(NotAnAmount::NoUnit { text: text.to_owned(), unit: rest.to_owned() })
    }
}

impl fmt::Display for Amount {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.value)?;
        match self.unit {
            Some(unit) => write!(f, "{}", Behind { unit, of: self.of }),
            None => Ok(()),
        }
    }
}

/// The unit after a number: " ohm", " deg (crank)", nothing for a bare number.
pub(crate) struct Behind {
    pub unit: Unit,
    pub of: &'static str,
}

impl fmt::Display for Behind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.unit != Unit::One {
            write!(f, " {}", self.unit)?;
        }
        if self.of.is_empty() { Ok(()) } else { write!(f, " ({})", self.of) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn read(text: &str) -> (f64, Option<Unit>) {
        let amount = Amount::parse(text).unwrap_or_else(|why| panic!("{why}"));
        (amount.value, amount.unit)
    }

    #[test]
    fn numbers_with_units_in_several_spellings() {
        assert_eq!(read("4.5 ohm"), (4.5, Some(Unit::Ohm)));
        assert_eq!(read("4.5\u{3a9}"), (4.5, Some(Unit::Ohm)));
        assert_eq!(read(" 12V "), (12.0, Some(Unit::Volt)));
        assert_eq!(read("-10 \u{b0}C"), (-10.0, Some(Unit::Celsius)));
        assert_eq!(read("0.22uF"), (0.22, Some(Unit::Microfarad)));
        assert_eq!(read("1e-3 A"), (0.001, Some(Unit::Ampere)));
        assert_eq!(read("1e3"), (1000.0, None));
        assert_eq!(read("16 AWG"), (16.0, Some(Unit::Gauge)));
        assert_eq!(read("3/0 AWG"), (-2.0, Some(Unit::Gauge)));
        assert_eq!(read("5 Ah"), (5.0, Some(Unit::AmpereHour)));
        assert_eq!(Amount::parse("119 deg points cam").unwrap().of, "points cam");
    }

    #[test]
    fn what_is_no_amount_gets_a_sentence() {
        for (text, part) in [
            ("", "does not begin with a number"),
            ("ohm", "does not begin with a number"),
            ("--5 V", "does not begin with a number"),
            ("1/2 mm", "does not begin with a number"),
            ("1,5 mm2", "decimal point"),
            ("5 parsec", "is no unit"),
            ("5 V crank", "is no unit"),
            ("1e999 V", "too large"),
        ] {
            let why = Amount::parse(text).unwrap_err().to_string();
            assert!(why.contains(part), "{text}: {why}");
        }
    }

    proptest! {
        #[test]
        fn nothing_typed_makes_it_fall_over(text in "\\PC{0,24}") {
            if let Ok(amount) = Amount::parse(&text) {
                prop_assert!(amount.value.is_finite());
            }
        }

        #[test]
        fn what_is_shown_reads_the_same(value in -1e6f64..1e6, unit in proptest::sample::select(Unit::ALL)) {
            let unit = Some(unit).filter(|u| *u != Unit::One);
            let amount = Amount { value, unit, of: "" };
            prop_assert_eq!(Amount::parse(&amount.to_string()).unwrap(), amount);
        }
    }
}
