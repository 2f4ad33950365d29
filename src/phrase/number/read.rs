//! Turns words into readings.
//!
//! Unambiguous forms come first: figures, "point", "hundred", "thousand", a fraction. Short forms follow rules:
//!
//! - A ten followed by a digit is always one number: "twenty four" is 24, never 20.4.
//! - A number followed by further numbers, without "point", is a whole number with its decimals ("twelve four" 12.4, "twelve forty five"
//!   12.45, "twelve oh five" 12.05), as long as the decimals fit the resolution asked for. With two or more figures it can also be a whole
//!   number in short form ("twelve fifty" 1250, "one oh five" 105, "one two" 12).
//! - If any value lies in the range asked for, only the values in range remain. If none does, all remain.
//! - If several values remain, all of them are returned. Only the user may choose between them.
//!
//! A reading is stored as it will be read back: to one digit beyond the resolution, and to at least three significant digits.

use super::super::answer::{Reading, ReadingKind};
use super::super::grammar::NumberSlot;
use super::super::words::normalise;
use super::decimal::Decimal;
use super::lexicon::{Sense, Token};
use super::number_words::NumberWords;
use super::settle::{decimals_of, settle};
use super::whole;
use crate::units::{Quantity, Unit};

/// Most words in a number. "minus one thousand two hundred and thirty four point five six seven millivolts" has 13.
const MOST_WORDS: usize = 32;

/// Every reading that `text` can mean for `slot`, best guess first. Empty if it is not a number.
///
/// `value` is in the unit asked for. If the user named a unit of another quantity, `value`, `unit` and `said_unit` keep what was said, and
/// the answer is doubtful.
///
/// ```
/// use probeside::phrase::{NumberSlot, Vocabulary, number::readings};
/// use probeside::units::{Quantity, Unit};
/// let slot = NumberSlot { quantity: Quantity::Voltage, unit: Unit::Volt, low: 0.0, high: 18.0, resolution: 0.01 };
/// let values = |text| -> Vec<f64> {
///     readings(text, &slot, Vocabulary::english().numbers()).iter().map(|r| r.value).collect()
/// };
/// assert_eq!(values("twelve forty five"), [12.45]);
/// assert_eq!(values("two hundred millivolts"), [0.2]);
/// assert_eq!(values("twelve four, no, twelve six"), [12.6]);
/// assert_eq!(values("one two"), [12.0, 1.2]);
/// ```
pub fn readings(text: &str, slot: &NumberSlot, words: &NumberWords) -> Vec<Reading> {
    let text = normalise(text);
    let Some(tokens) = words.cut(&text).filter(|t| t.len() <= MOST_WORDS) else { return Vec::new() };
    let mut segments = tokens.split(|t| is(t, &Sense::Correction));
    let Some(last) = segments.next_back() else { return Vec::new() };
    let corrected: Vec<Vec<Said>> = segments.filter(|s| !s.is_empty()).map(|s| said(s, slot)).collect();
    if corrected.iter().any(|s| s.iter().all(|said| said.magnitude.is_none() && said.kind == ReadingKind::Plain)) {
        return Vec::new();
    }
    let mut all = said(last, slot);
    if let Some(before) = corrected.last() {
        carry_over(&mut all, before, last);
    }
    settle_on(all, slot)
}

/// One way to understand a number.
#[derive(Debug, Clone, PartialEq)]
struct Said {
    kind: ReadingKind,
    /// Absent for "over range" and "no reading".
    magnitude: Option<Decimal>,
    negative: bool,
    unit: Option<Unit>,
}

fn is(token: &Token, sense: &Sense) -> bool {
    matches!(token, Token::Sense(s) if *s == sense)
}

/// A unit said before a correction also applies after it. A lone group of decimals may replace only the decimals.
fn carry_over(all: &mut Vec<Said>, before: &[Said], last: &[Token]) {
    let unit = before.iter().find_map(|s| s.unit);
    for said in all.iter_mut().filter(|s| s.unit.is_none() && s.magnitude.is_some()) {
        said.unit = unit;
    }
    let Some(decimals) = whole::decimals(last) else { return };
    for old in before.iter().filter(|s| s.magnitude.is_some_and(|m| m.scale as usize == decimals.len())) {
        let stem = old.magnitude.map_or(0, |m| m.digits / 10u64.pow(m.scale));
        all.push(Said { magnitude: Decimal::with_fraction(stem, &decimals), ..old.clone() });
    }
}

/// Converts to the unit asked for, keeps the values in range if there are any, and removes duplicates.
fn settle_on(all: Vec<Said>, slot: &NumberSlot) -> Vec<Reading> {
    let mut out: Vec<Reading> = Vec::new();
    for said in all {
        let signed = said.magnitude.map_or(0.0, |m| if said.negative { -m.value() } else { m.value() });
        let reading = match said.unit {
            None => {
                Reading { kind: said.kind, value: settle(signed, slot.resolution), unit: slot.unit, said_unit: None }
            }
            Some(unit) => match unit.convert(signed, slot.unit) {
                Some(value) => Reading {
                    kind: said.kind,
                    value: settle(value, slot.resolution),
                    unit: slot.unit,
                    said_unit: Some(unit),
                },
                None => Reading { kind: said.kind, value: signed, unit, said_unit: Some(unit) },
            },
        };
        if !out.contains(&reading) {
            out.push(reading);
        }
    }
    let in_range = |r: &Reading| {
        r.unit != slot.unit
            || matches!(r.kind, ReadingKind::OverRange | ReadingKind::NoReading)
            || (slot.low..=slot.high).contains(&r.value)
    };
    if out.iter().any(in_range) {
        out.retain(in_range);
    }
    out
}

/// Every way to understand a stretch of words without a correction.
fn said(tokens: &[Token], slot: &NumberSlot) -> Vec<Said> {
    let mut rest = tokens;
    let mut kind = ReadingKind::Plain;
    while let [first, others @ ..] = rest {
        match first {
            Token::Sense(Sense::Filler) => {}
            Token::Sense(Sense::About) => kind = ReadingKind::About,
            _ => break,
        }
        rest = others;
    }
    while let [others @ .., Token::Sense(Sense::About)] = rest {
        (kind, rest) = (ReadingKind::About, others);
    }
    match rest {
        [Token::Sense(Sense::OverRange)] => return vec![without_number(ReadingKind::OverRange)],
        [Token::Sense(Sense::NoReading)] => return vec![without_number(ReadingKind::NoReading)],
        _ => {}
    }
    let mut negative = false;
    if let [Token::Sense(Sense::Minus), others @ ..] = rest {
        (negative, rest) = (true, others);
    }
    let unsigned: Vec<Token>;
    if let [Token::Figures(figures), others @ ..] = rest
        && let Some(plain) = figures.strip_prefix('-').filter(|_| !negative)
    {
        negative = true;
        unsigned = std::iter::once(Token::Figures(plain)).chain(others.iter().copied()).collect();
        rest = &unsigned;
    }
    let with_unit = |(magnitude, unit)| Said { kind, magnitude: Some(magnitude), negative, unit };
    magnitudes_with_unit(rest, slot).into_iter().map(with_unit).collect()
}

fn without_number(kind: ReadingKind) -> Said {
    Said { kind, magnitude: None, negative: false, unit: None }
}

/// The number and the unit after it.
fn magnitudes_with_unit(tokens: &[Token], slot: &NumberSlot) -> Vec<(Decimal, Option<Unit>)> {
    use Sense::{Article, Fraction, Kilo, Units};
    let resistance = slot.quantity == Quantity::Resistance;
    let with = |number: &[Token], unit: Option<Unit>| -> Vec<(Decimal, Option<Unit>)> {
        magnitudes(number, decimals_in(unit, slot)).into_iter().map(|m| (m, unit)).collect()
    };
    if let Some(found) = unit_and_fraction(tokens, slot) {
        return found;
    }
    match tokens {
        // 4k7 as in IEC 60062: the letter stands for the decimal point. Only for a resistance; "4 m 7" elsewhere would be a guess.
        [Token::Code(whole, letter, fraction)] if resistance => {
            let unit = match letter {
                'k' => Unit::Kilohm,
                'm' => Unit::Megohm,
                _ => Unit::Ohm,
            };
            let number = whole.parse().ok().and_then(|w| Decimal::with_fraction(w, fraction));
            number.map(|n| (n, Some(unit))).into_iter().collect()
        }
        [number @ .., Token::Sense(Units(units))] => {
            let unit = Some(unit_of(units, slot));
            // "Half a volt".
            let number = match number {
                [Token::Sense(Fraction(_)), Token::Sense(Article)] => &number[..1],
                _ => number,
            };
            match one_or(number) {
                Some(one) => one.into_iter().map(|m| (m, unit)).collect(),
                None => with(number, unit),
            }
        }
        [number @ .., Token::Sense(Kilo)] if resistance => with(number, Some(Unit::Kilohm)),
        [number @ .., Token::Sense(Kilo)] => {
            let thousands = magnitudes(number, 3).into_iter().filter_map(|m| Some((m.times(1000)?, None)));
            match slot.quantity {
                Quantity::Mileage => thousands.chain(with(number, Some(Unit::Kilometre))).collect(),
                _ => thousands.collect(),
            }
        }
        // "Four k seven".
        [number @ .., Token::Sense(Kilo), a] if resistance && whole::decimals(&[*a]).is_some_and(|d| d.len() == 1) => {
            let fraction = whole::decimals(&[*a]).unwrap_or_default();
            let numbers = whole::wholes(number).into_iter().filter_map(|w| Decimal::with_fraction(w, &fraction));
            numbers.map(|n| (n, Some(Unit::Kilohm))).collect()
        }
        _ => with(tokens, None),
    }
}

/// "A volt and a half", "twelve volts and a half".
fn unit_and_fraction(tokens: &[Token], slot: &NumberSlot) -> Option<Vec<(Decimal, Option<Unit>)>> {
    use Sense::{And, Article, Fraction, Units};
    let (before, share) = match tokens {
        [before @ .., Token::Sense(And), Token::Sense(Fraction(share))] => (before, share),
        [before @ .., Token::Sense(And), Token::Sense(Article), Token::Sense(Fraction(share))] => (before, share),
        _ => return None,
    };
    let [number @ .., Token::Sense(Units(units))] = before else { return None };
    let share = Decimal::from_figures(share)?;
    let unit = Some(unit_of(units, slot));
    let wholes = one_or(number).unwrap_or_else(|| whole::wholes(number).into_iter().map(Decimal::whole).collect());
    Some(wholes.into_iter().filter_map(|m| Some((m.plus(share)?, unit))).collect())
}

/// "A volt" is one volt.
fn one_or(number: &[Token]) -> Option<Vec<Decimal>> {
    matches!(number, [Token::Sense(Sense::Article)]).then(|| vec![Decimal::whole(1)])
}

/// A word such as "degrees" can name several units. Prefers the unit asked for, then one of the same quantity, then the first.
fn unit_of(units: &[Unit], slot: &NumberSlot) -> Unit {
    let asked = units.iter().find(|u| **u == slot.unit);
    let same = || units.iter().find(|u| u.quantity() == slot.quantity);
    asked.or_else(same).or_else(|| units.first()).copied().unwrap_or(slot.unit)
}

/// How many decimals a short form may have in the spoken unit to fit the resolution asked for.
fn decimals_in(unit: Option<Unit>, slot: &NumberSlot) -> usize {
    let step = |unit: Unit| {
        let at = |x| slot.unit.convert(x, unit);
        Some((at(slot.resolution)? - at(0.0)?).abs())
    };
    const IN_ANOTHER_QUANTITY: usize = 2;
    match unit {
        None => decimals_of(slot.resolution),
        Some(unit) => step(unit).map_or(IN_ANOTHER_QUANTITY, |s| decimals_of(coarser(s))),
    }
}

/// Rounds a converted resolution up to a power of ten: 0.01 mm is 0.39 thou, so whole thous.
fn coarser(step: f64) -> f64 {
    10f64.powi((step.log10() - 1e-9).ceil() as i32)
}

/// Every magnitude that the words of a number can mean.
fn magnitudes(tokens: &[Token], decimals: usize) -> Vec<Decimal> {
    if tokens.is_empty() {
        return Vec::new();
    }
    if let [Token::Figures(figures)] = tokens {
        return whole::figures(figures);
    }
    // "Four point seven thousand", "two and a half thousand".
    if let [number @ .., Token::Sense(Sense::Times(times))] = tokens {
        let fine = explicit(number);
        if !fine.is_empty() {
            return fine.into_iter().filter_map(|m| m.times(*times)).collect();
        }
    }
    let fine = explicit(tokens);
    if !fine.is_empty() {
        return fine;
    }
    let mut all: Vec<Decimal> = whole::wholes(tokens).into_iter().map(Decimal::whole).collect();
    all.extend(whole::short_forms(tokens, decimals));
    all
}

/// Numbers with a spoken point or a fraction, or figures with a decimal point.
fn explicit(tokens: &[Token]) -> Vec<Decimal> {
    use Sense::{And, Article, Fraction, Point};
    if let [Token::Figures(figures)] = tokens
        && figures.contains(['.', ','])
    {
        return whole::figures(figures);
    }
    if let Some(at) = tokens.iter().position(|t| is(t, &Point)) {
        let Some(fraction) = whole::decimals(&tokens[at + 1..]) else { return Vec::new() };
        let wholes = if at == 0 { vec![0] } else { whole::wholes(&tokens[..at]) };
        return wholes.into_iter().filter_map(|w| Decimal::with_fraction(w, &fraction)).collect();
    }
    let [before @ .., Token::Sense(Fraction(share))] = tokens else { return Vec::new() };
    let Some(share) = Decimal::from_figures(share) else { return Vec::new() };
    match before {
        [] | [Token::Sense(Article)] | [Token::Sense(Sense::Small(1))] => vec![share],
        [number @ .., Token::Sense(And)] | [number @ .., Token::Sense(And), Token::Sense(Article)] => {
            whole::wholes(number).into_iter().filter_map(|w| Decimal::whole(w).plus(share)).collect()
        }
        _ => Vec::new(),
    }
}
