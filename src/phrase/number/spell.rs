//! Lists every way to say the number asked for, as the recogniser's grammar needs it. The list is bounded, common forms come before rare
//! ones, and each form carries the readings it can mean.

use super::super::answer::Reading;
use super::super::grammar::NumberSlot;
use super::number_words::NumberWords;
use super::read::readings;
use super::say::figures;
use super::settle::decimals_of;
use std::collections::HashSet;

/// Most spellings for one number. Rare forms beyond it are left out.
pub(super) const MOST_SPELLINGS: usize = 20_000;
/// Most values. Beyond it the grammar holds only values with three, then two significant digits.
const MOST_VALUES: usize = 3_000;
/// Bounds of the grammar's values, and the finest step, whatever the procedure asks for.
const WIDEST: f64 = 1e7;
const FINEST: f64 = 1e-6;

/// Every way to say a number for `slot`, with its reading. A string with several readings is listed once with each.
///
/// Values are at the slot's resolution; in wide ranges they have three (or two) significant digits. Forms: "twelve point four five",
/// "twelve forty five", "twelve four five", "one two point four five", "twelve and a half"; bare and with the unit; round values in the
/// quantity's other units; round values after "about"; over range and no reading.
pub fn spellings_in(slot: &NumberSlot, words: &NumberWords) -> Vec<(String, Reading)> {
    let values = grid(slot);
    let mut strings: Vec<String> = Vec::new();
    let mut known: HashSet<String> = HashSet::new();
    for class in CLASSES {
        let mut fresh = Vec::new();
        class(slot, &values, words, &mut fresh);
        fresh.retain(|s: &String| known.insert(s.clone()));
        if strings.len() + fresh.len() > MOST_SPELLINGS {
            continue;
        }
        strings.append(&mut fresh);
    }
    let mut out = Vec::with_capacity(strings.len());
    for string in strings {
        let all = readings(&string, slot, words);
        if out.len() + all.len() > MOST_SPELLINGS {
            break;
        }
        out.extend(all.into_iter().map(|reading| (string.clone(), reading)));
    }
    out
}

/// The values in the grammar, in the slot's unit, as figures.
fn grid(slot: &NumberSlot) -> Vec<String> {
    let step =
        if slot.resolution.is_finite() && slot.resolution > 0.0 { slot.resolution.clamp(FINEST, WIDEST) } else { 1.0 };
    let low = if slot.low.is_finite() { slot.low.clamp(-WIDEST, WIDEST) } else { 0.0 };
    let high = if slot.high.is_finite() { slot.high.clamp(low, WIDEST.max(low)) } else { low };
    let (first, last) = ((low / step - 1e-6).ceil() as i64, (high / step + 1e-6).floor() as i64);
    let coarse = |significant: i32| -> Vec<i64> {
        let stride = |n: i64| {
            let decade = ((n.unsigned_abs() as f64 * step).log10() + 1e-9).floor() as i32;
            ((10f64.powi(decade - significant + 1) / step).round() as i64).max(1)
        };
        let up = |from: i64, to: i64| {
            std::iter::successors(Some(from), move |n| {
                let s = if *n == 0 { 1 } else { stride(*n) };
                Some((n / s + 1).saturating_mul(s))
            })
            .take_while(move |n| *n <= to)
            .take(MOST_VALUES * 4)
        };
        let positive = up(first.max(0), last);
        let negative = up(1, -first).map(|n| -n).filter(|n| *n <= last);
        negative.chain(positive).collect()
    };
    let all = if last - first < MOST_VALUES as i64 { (first..=last).collect() } else { coarse(3) };
    let all = if all.len() > MOST_VALUES { coarse(2) } else { all };
    let decimals = decimals_of(step);
    all.iter().take(MOST_VALUES).map(|n| trim(format!("{:.decimals$}", *n as f64 * step))).collect()
}

fn trim(figures: String) -> String {
    let text = if figures.contains('.') { figures.trim_end_matches('0').trim_end_matches('.') } else { &figures };
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

/// Whether the figures have at most this many significant digits.
fn round_to(figures: &str, significant: usize) -> bool {
    let digits: String = figures.chars().filter(char::is_ascii_digit).collect();
    let core = if figures.contains('.') { digits.trim_start_matches('0') } else { digits.trim_matches('0') };
    core.len() <= significant
}

/// One kind of spelling, applied to all values.
type Class = fn(&NumberSlot, &[String], &NumberWords, &mut Vec<String>);

/// Common forms first.
const CLASSES: &[Class] = &[
    |_, values, w, out| out.extend(values.iter().map(|f| plain(f, w))),
    |_, _, w, out| out.extend(w.over_range.iter().chain(&w.no_reading).cloned()),
    |slot, values, w, out| out.extend(values.iter().map(|f| w.with_unit(&plain(f, w), f, slot))),
    |slot, values, w, out| values.iter().for_each(|f| short(f, slot, w, out)),
    |slot, values, w, out| other_units(slot, values, w, out),
    |slot, values, w, out| values.iter().for_each(|f| fractions(f, slot, w, out)),
    |slot, values, w, out| {
        for f in values.iter().filter(|f| round_to(f, 2)) {
            out.push(format!("{} {}", w.about, plain(f, w)));
            out.push(format!("{} {}", w.about, w.with_unit(&plain(f, w), f, slot)));
        }
    },
    |_, values, w, out| out.extend(values.iter().map(|f| w.spell_out(f))),
    |slot, values, w, out| values.iter().for_each(|f| variants(f, slot, w, out)),
    |slot, values, w, out| {
        let mut bare = Vec::new();
        for f in values {
            short(f, slot, w, &mut bare);
            out.extend(bare.drain(..).map(|s| w.with_unit(&s, f, slot)));
        }
    },
    |slot, values, w, out| out.extend(values.iter().map(|f| w.with_unit(&w.spell_out(f), f, slot))),
];

impl NumberWords {
    fn with_unit(&self, number: &str, figures: &str, slot: &NumberSlot) -> String {
        let unit = self.unit(slot.unit, figures.trim_start_matches('-') == "1");
        if unit.is_empty() { number.to_owned() } else { format!("{number} {unit}") }
    }

    fn zeros(&self) -> &[String] {
        self.digits.first().map_or(&[], Vec::as_slice)
    }

    /// The most common other name of zero: "oh".
    fn short_zero(&self) -> &str {
        self.zeros().get(1).or(self.zeros().first()).map_or("", String::as_str)
    }

    fn decimals_with_short_zero(&self, figures: &str) -> String {
        let name = |c| if c == '0' { self.short_zero() } else { self.digit(c) };
        figures.chars().map(name).collect::<Vec<_>>().join(" ")
    }
}

/// Sign in words, whole figures, decimals.
fn parts<'a>(figures: &'a str, w: &NumberWords) -> (String, u64, &'a str) {
    let plain = figures.trim_start_matches('-');
    let sign = if plain.len() < figures.len() { format!("{} ", w.minus) } else { String::new() };
    let (whole, decimals) = plain.split_once('.').unwrap_or((plain, ""));
    (sign, whole.parse().unwrap_or(0), decimals)
}

/// "Twelve point four five".
fn plain(figures: &str, w: &NumberWords) -> String {
    let (sign, whole, decimals) = parts(figures, w);
    let whole = w.cardinal(whole);
    match decimals {
        "" => format!("{sign}{whole}"),
        _ => format!("{sign}{whole} {} {}", w.point, w.spell_out(decimals)),
    }
}

/// "point two", "twelve four", "twelve forty five", "twelve oh five", "twelve fifty", "fifteen hundred", "one oh five".
fn short(figures: &str, slot: &NumberSlot, w: &NumberWords, out: &mut Vec<String>) {
    let (sign, whole, decimals) = parts(figures, w);
    if !decimals.is_empty() {
        if whole == 0 {
            out.push(format!("{sign}{} {}", w.point, w.spell_out(decimals)));
        } else if whole < 100 {
            let name = w.cardinal(whole);
            out.push(format!("{sign}{name} {}", w.decimals_with_short_zero(decimals)));
            let padded = if decimals.len() == 1 && decimals_of(slot.resolution) >= 2 {
                format!("{decimals}0")
            } else {
                decimals.into()
            };
            if let Some(two) = two_figures(&padded) {
                out.push(format!("{sign}{name} {}", w.below_hundred(two)));
            }
        }
        return;
    }
    let (hundreds, rest) = (whole / 100, (whole % 100) as u32);
    if hundreds > 0 && hundreds < 100 && hundreds % 10 != 0 {
        let name = w.cardinal(hundreds);
        match rest {
            0 if hundreds > 10 => out.push(format!("{sign}{name} {}", w.hundred)),
            10.. => out.push(format!("{sign}{name} {}", w.below_hundred(rest))),
            1..10 => out.push(format!("{sign}{name} {} {}", w.short_zero(), w.below_hundred(rest))),
            0 => {}
        }
    }
}

fn two_figures(decimals: &str) -> Option<u32> {
    decimals.parse().ok().filter(|n| decimals.len() == 2 && *n >= 10)
}

/// "oh point two", "twelve point oh five", "twelve point forty five", "twelve point four zero", "a hundred", "one hundred five".
fn variants(figures: &str, slot: &NumberSlot, w: &NumberWords, out: &mut Vec<String>) {
    let (sign, whole, decimals) = parts(figures, w);
    let most = decimals_of(slot.resolution);
    let names = if whole == 0 { w.zeros().to_vec() } else { vec![w.cardinal(whole)] };
    for name in &names {
        if decimals.is_empty() {
            out.push(format!("{sign}{name}"));
        } else {
            out.push(format!("{sign}{name} {} {}", w.point, w.decimals_with_short_zero(decimals)));
        }
    }
    let name = w.cardinal(whole);
    if let Some(two) = two_figures(decimals) {
        out.push(format!("{sign}{name} {} {}", w.point, w.below_hundred(two)));
    }
    if decimals.len() < most {
        let zeros = "0".repeat(most - decimals.len());
        out.push(format!("{sign}{name} {} {}", w.point, w.spell_out(&format!("{decimals}{zeros}"))));
    }
    if decimals.is_empty() && whole >= 100 {
        let and = format!(" {} ", w.and_after_hundred);
        if !w.and_after_hundred.is_empty() && name.contains(&and) {
            out.push(format!("{sign}{}", name.replace(&and, " ")));
        }
        if !w.article.is_empty() && [100, 1000].contains(&whole) {
            let times = if whole == 100 { &w.hundred } else { &w.thousand };
            out.push(format!("{sign}{} {times}", w.article));
        }
    }
}

/// "half", "a quarter", "half a volt", "four and a half", "four and a half volts".
fn fractions(figures: &str, slot: &NumberSlot, w: &NumberWords, out: &mut Vec<String>) {
    let (sign, whole, decimals) = parts(figures, w);
    for (_, share) in w.fractions.iter().filter(|(f, _)| f.strip_prefix("0.") == Some(decimals)) {
        if whole == 0 {
            out.push(format!("{sign}{share}"));
            out.push(format!("{sign}{} {share}", w.article));
            let unit = w.unit(slot.unit, true);
            if !unit.is_empty() {
                out.push(format!("{sign}{share} {} {unit}", w.article));
            }
        } else {
            let number = format!("{sign}{} {} {} {share}", w.cardinal(whole), w.and, w.article);
            out.push(w.with_unit(&number, figures, slot));
            out.push(number);
            out.push(format!("{sign}{} {} {share}", w.cardinal(whole), w.and));
        }
    }
}

/// Values with two significant digits, which people use in units that were not asked for: 0.1 to 0.9, 1 to 9.9, 10 to 99, 100 to 990.
fn other_units(slot: &NumberSlot, _: &[String], w: &NumberWords, out: &mut Vec<String>) {
    let tens = (10..100).flat_map(|n| [f64::from(n) / 10.0, f64::from(n), f64::from(n) * 10.0]);
    let round: Vec<f64> = (1..10).map(|n| f64::from(n) / 10.0).chain(tens).collect();
    for unit in w.units.keys().filter(|u| u.quantity() == slot.quantity && **u != slot.unit) {
        let there =
            |x: &f64| unit.convert(*x, slot.unit).is_some_and(|v| (slot.low..=slot.high).contains(&v) && v != 0.0);
        for value in round.iter().filter(|v| there(v)) {
            let figures = figures(*value, 0.1);
            let number = plain(&figures, w);
            out.push(format!("{number} {}", w.unit(*unit, figures == "1")));
            if *unit == crate::units::Unit::Kilohm {
                out.extend(w.kilo.iter().map(|k| format!("{number} {k}")));
            }
        }
    }
}
