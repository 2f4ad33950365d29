//! Spoken numbers: every way a slot's values are said. (A first version for volts, ohms and the like.)

use super::answer::{Reading, ReadingKind};
use super::grammar::NumberSlot;
use crate::trade::Unit;

const SMALL: [&str; 20] = [
    "zero",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
];
const TENS: [&str; 10] = ["", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"];

fn whole(n: u64) -> String {
    match n {
        0..=19 => SMALL[n as usize].to_owned(),
        20..=99 if n.is_multiple_of(10) => TENS[n as usize / 10].to_owned(),
        20..=99 => format!("{} {}", TENS[n as usize / 10], SMALL[n as usize % 10]),
        100..=999 if n.is_multiple_of(100) => format!("{} hundred", SMALL[n as usize / 100]),
        100..=999 => format!("{} hundred and {}", SMALL[n as usize / 100], whole(n % 100)),
        _ if n.is_multiple_of(1000) => format!("{} thousand", whole(n / 1000)),
        _ => format!("{} thousand {}", whole(n / 1000), whole(n % 1000)),
    }
}

fn digits(text: &str) -> String {
    text.bytes().map(|b| SMALL[(b - b'0') as usize]).collect::<Vec<_>>().join(" ")
}

fn unit_words(unit: Unit) -> &'static [&'static str] {
    match unit {
        Unit::Volt => &["volts"],
        Unit::Millivolt => &["millivolts"],
        Unit::Ohm => &["ohms"],
        Unit::Kilohm => &["kilohms"],
        Unit::Ampere => &["amps"],
        Unit::Millimetre => &["millimetres"],
        Unit::Degree => &["degrees"],
        _ => &[],
    }
}

/// Lower-case words for each value of the slot, with what they mean.
pub fn spellings(slot: &NumberSlot) -> Vec<(String, Reading)> {
    let places = (-slot.resolution.log10()).ceil().max(0.0) as usize;
    let mut out = Vec::new();
    let steps = ((slot.high - slot.low) / slot.resolution).round().clamp(0.0, 20_000.0) as u64;
    for i in 0..=steps {
        let value = slot.low + i as f64 * slot.resolution;
        let text = format!("{:.places$}", value.abs());
        let (front, back) = text.split_once('.').unwrap_or((&text, ""));
        let back = back.trim_end_matches('0');
        let n: u64 = front.parse().unwrap_or(0);
        let mut ways = Vec::new();
        if back.is_empty() {
            ways.push(whole(n));
        } else {
            let tail = digits(back);
            ways.push(format!("{} point {tail}", whole(n)));
            if n == 0 {
                ways.push(format!("point {tail}"));
            }
            if n > 9 {
                ways.push(format!("{} point {tail}", digits(front)));
            }
            if n > 0 && n < 20 {
                ways.push(format!("{} {tail}", whole(n)));
            }
        }
        for way in ways {
            let way = if value < 0.0 { format!("minus {way}") } else { way };
            for unit in unit_words(slot.unit) {
                let reading = Reading { kind: ReadingKind::Plain, value, unit: slot.unit, said_unit: Some(slot.unit) };
                out.push((format!("{way} {unit}"), reading));
            }
            out.push((way, Reading { kind: ReadingKind::Plain, value, unit: slot.unit, said_unit: None }));
        }
    }
    let over = Reading { kind: ReadingKind::OverRange, value: 0.0, unit: slot.unit, said_unit: None };
    out.push(("o l".to_owned(), over.clone()));
    out.push(("open line".to_owned(), over.clone()));
    out.push(("no reading".to_owned(), Reading { kind: ReadingKind::NoReading, ..over }));
    out
}
