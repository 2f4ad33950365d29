//! Numbers in both directions: what mechanics say, and every value of many kinds of slot.

use super::settle::settle;
use super::spell::MOST_SPELLINGS;
use super::*;
use crate::phrase::{NumberSlot, Reading, ReadingKind, Vocabulary};
use crate::units::Unit;
use proptest::prelude::*;
use std::collections::HashMap;

fn words() -> &'static NumberWords {
    Vocabulary::english().numbers()
}

fn slot(unit: Unit, low: f64, high: f64, resolution: f64) -> NumberSlot {
    NumberSlot { quantity: unit.quantity(), unit, low, high, resolution }
}

fn volts() -> NumberSlot {
    slot(Unit::Volt, 0.0, 18.0, 0.01)
}

fn ohms() -> NumberSlot {
    slot(Unit::Ohm, 0.0, 20_000.0, 0.1)
}

fn values(text: &str, slot: &NumberSlot) -> Vec<f64> {
    readings(text, slot, words()).iter().map(|r| r.value).collect()
}

/// Slots from the procedures, and some awkward ones.
fn slots() -> Vec<NumberSlot> {
    vec![
        volts(),
        slot(Unit::Volt, -2.0, 2.0, 0.01),
        slot(Unit::Millivolt, 0.0, 2000.0, 1.0),
        slot(Unit::Ampere, 0.0, 20.0, 0.01),
        slot(Unit::Ohm, 0.0, 10.0, 0.1),
        ohms(),
        slot(Unit::Kilohm, 0.0, 30.0, 0.01),
        slot(Unit::Microfarad, 0.0, 1.0, 0.01),
        slot(Unit::Millimetre, 0.0, 1.5, 0.01),
        slot(Unit::Thou, 0.0, 60.0, 1.0),
        slot(Unit::Degree, 0.0, 360.0, 1.0),
        slot(Unit::Celsius, -20.0, 150.0, 1.0),
        slot(Unit::PerMinute, 0.0, 9000.0, 10.0),
        slot(Unit::Second, 0.0, 60.0, 1.0),
        slot(Unit::Percent, 0.0, 100.0, 1.0),
        slot(Unit::Mile, 0.0, 99_999.0, 1.0),
        slot(Unit::One, 0.0, 12.0, 1.0),
    ]
}

#[test]
fn as_mechanics_say_them() {
    let v = volts();
    for (text, value) in [
        ("twelve point four", 12.4),
        ("twelve four", 12.4),
        ("twelve forty five", 12.45),
        ("twelve forty", 12.4),
        ("twelve oh five", 12.05),
        ("twelve four five", 12.45),
        ("one two point four", 12.4),
        ("point two", 0.2),
        ("oh point two", 0.2),
        ("nought point two five", 0.25),
        ("four and a half", 4.5),
        ("half a volt", 0.5),
        ("a volt and a half", 1.5),
        ("three quarters of a volt", f64::NAN),
        ("three quarters", 0.75),
        ("one half", 0.5),
        ("two hundred millivolts", 0.2),
        ("two hundred and fifty millivolts", 0.25),
        ("twelve point four volts", 12.4),
        ("it reads twelve point four", 12.4),
        ("12.4", 12.4),
        ("12,4", 12.4),
        ("12.45 V", 12.45),
        ("12.45v", 12.45),
        (".5", 0.5),
        ("200 mV", 0.2),
        ("200mv", 0.2),
        ("12 point 4", 12.4),
        ("12 4", 12.4),
        ("12 and a half", 12.5),
        ("twelve point forty five", 12.45),
        ("twelve", 12.0),
        ("zero", 0.0),
        ("twelve four, no, twelve six", 12.6),
        ("twelve four no sorry twelve six", 12.6),
        ("two hundred millivolts, no, three hundred", 0.3),
    ] {
        let all = values(text, &v);
        match value.is_nan() {
            true => assert!(all.is_empty(), "{text}: {all:?}"),
            false => assert_eq!(all, [value], "{text}"),
        }
    }
    let below = slot(Unit::Volt, -2.0, 2.0, 0.01);
    assert_eq!(values("minus point one", &below), [-0.1]);
    assert_eq!(values("-0.1", &below), [-0.1]);
    assert_eq!(values("minus minus one", &below), [] as [f64; 0]);
}

#[test]
fn resistances_and_the_letter_k() {
    let o = ohms();
    for (text, value) in [
        ("four kay", 4000.0),
        ("four k", 4000.0),
        ("four point seven kilohms", 4700.0),
        ("four point seven k", 4700.0),
        ("four k seven", 4700.0),
        ("4k7", 4700.0),
        ("4R7", 4.7),
        ("4.7k", 4700.0),
        ("4.7 kΩ", 4700.0),
        ("four thousand seven hundred ohms", 4700.0),
        ("twelve hundred", 1200.0),
        ("a hundred", 100.0),
        ("a thousand", 1000.0),
        ("four and a half thousand", 4500.0),
        ("five point one ohms", 5.1),
        ("12,000", 12000.0),
    ] {
        let all = values(text, &o);
        assert!(all.contains(&value), "{text}: {all:?}");
    }
    assert_eq!(values("four point seven kilohms", &o), [4700.0]);
    let meg = slot(Unit::Megohm, 0.0, 20.0, 0.1);
    assert_eq!(values("five hundred kilohms", &meg), [0.5]);
    assert_eq!(values("1M5", &meg), [1.5]);
    let revs = slot(Unit::PerMinute, 0.0, 9000.0, 10.0);
    assert_eq!(values("two k", &revs), [2000.0]);
    assert_eq!(values("twelve fifty", &revs), [1250.0]);
    assert_eq!(values("fifteen hundred revs", &revs), [1500.0]);
    assert_eq!(values("4k7", &volts()), [] as [f64; 0]);
}

#[test]
fn units_are_converted_and_wrong_ones_kept() {
    let gap = slot(Unit::Millimetre, 0.0, 1.5, 0.01);
    let fifteen = readings("fifteen thou", &gap, words());
    // 0.015 inch of 25.4 mm (the 1959 agreement) is 0.381 mm.
    assert_eq!(
        fifteen,
        [Reading { kind: ReadingKind::Plain, value: 0.381, unit: Unit::Millimetre, said_unit: Some(Unit::Thou) }]
    );
    let wrong = readings("twelve point four ohms", &volts(), words());
    assert_eq!(wrong, [Reading { kind: ReadingKind::Plain, value: 12.4, unit: Unit::Ohm, said_unit: Some(Unit::Ohm) }]);
    let warm = slot(Unit::Celsius, -20.0, 150.0, 1.0);
    assert_eq!(readings("twenty degrees", &warm, words())[0].said_unit, Some(Unit::Celsius));
    // 212 degrees Fahrenheit is 100 degrees Celsius by definition.
    assert_eq!(values("two hundred and twelve fahrenheit", &warm), [100.0]);
    let angle = slot(Unit::Degree, 0.0, 360.0, 1.0);
    assert_eq!(readings("twenty degrees", &angle, words())[0].said_unit, Some(Unit::Degree));
}

#[test]
fn kinds_of_readings() {
    let kind = |text: &str| readings(text, &ohms(), words()).first().map(|r| r.kind);
    for text in ["o l", "OL", "oh l", "open line", "over range", "it says o l"] {
        assert_eq!(kind(text), Some(ReadingKind::OverRange), "{text}");
    }
    assert_eq!(kind("no reading"), Some(ReadingKind::NoReading));
    assert_eq!(kind("about twelve"), Some(ReadingKind::About));
    assert_eq!(kind("twelve or so"), Some(ReadingKind::About));
    assert_eq!(kind("twelve"), Some(ReadingKind::Plain));
}

#[test]
fn several_readings_are_all_given() {
    assert_eq!(values("one two", &volts()), [12.0, 1.2]);
    assert_eq!(values("one two four", &volts()), [1.24, 12.4]);
    assert_eq!(values("one twenty", &slot(Unit::Ohm, 0.0, 200.0, 0.1)), [120.0]);
    assert_eq!(values("one twenty", &slot(Unit::Ohm, 0.0, 200.0, 0.01)), [120.0, 1.2]);
    assert_eq!(values("1,250", &slot(Unit::Ohm, 0.0, 2000.0, 0.001)), [1250.0, 1.25]);
    assert_eq!(values("twelve four, no, six", &volts()), [6.0, 12.6]);
    assert_eq!(values("twelve", &volts()), [12.0]);
}

#[test]
fn short_forms_keep_to_the_rules() {
    assert_eq!(
        values("twenty four", &slot(Unit::Volt, 0.0, 22.0, 0.01)),
        [24.0],
        "never 20.4, though 24 is out of range"
    );
    assert_eq!(
        values("twelve four", &slot(Unit::Degree, 0.0, 360.0, 1.0)),
        [] as [f64; 0],
        "no decimals are asked for"
    );
    assert_eq!(
        values("twelve forty five", &slot(Unit::Volt, 0.0, 18.0, 0.1)),
        [1245.0],
        "two decimals do not fit one: left implausible"
    );
}

#[test]
fn what_is_no_number_is_none() {
    for text in [
        "",
        "volts",
        "point",
        "twelve point",
        "minus",
        "twelve apples",
        "and",
        "hundred and",
        "no",
        "twelve four no",
        "about",
        "twelve point four point five",
        "k",
        "four k seven hundred",
        "12.4.5",
        "1,2,3",
        "o l twelve",
        "no reading twelve",
        "two minutes thirty seconds",
        "half half",
        "five and",
        "12.4x",
        "99999999999999999999999",
        "apples no twelve",
        "thousand million hundred",
        "twelve volts volts",
        "minus o l",
    ] {
        let all = values(text, &volts());
        assert!(all.is_empty(), "{text}: {all:?}");
    }
}

#[test]
fn every_value_of_every_slot_there_and_back() {
    for slot in slots() {
        let steps = ((slot.high - slot.low) / slot.resolution).round() as usize;
        for n in (0..=steps).step_by((steps / 1500).max(1)) {
            let value = settle(slot.low + n as f64 * slot.resolution, slot.resolution);
            let said = words().say_number(value, slot.unit, slot.resolution);
            assert_eq!(values(&said, &slot), [value], "{said} in {}", slot.unit);
            let digits = words().say_digits(value, slot.resolution);
            assert!(values(&digits, &slot).contains(&value), "{digits} in {}", slot.unit);
        }
    }
}

#[test]
fn every_spelling_means_what_it_says_and_no_more() {
    for slot in slots() {
        let all = spellings(&slot);
        assert!(all.len() <= MOST_SPELLINGS, "{}: {}", slot.unit, all.len());
        let mut by_string: HashMap<&str, Vec<&Reading>> = HashMap::new();
        for (string, reading) in &all {
            assert_eq!(&crate::phrase::normalise(string), string);
            by_string.entry(string).or_default().push(reading);
        }
        for (string, given) in by_string.iter().step_by(7) {
            let read = readings(string, &slot, words());
            assert_eq!(read.iter().collect::<Vec<_>>(), *given, "{string}");
        }
        for kind in [ReadingKind::Plain, ReadingKind::About, ReadingKind::OverRange, ReadingKind::NoReading] {
            assert!(all.iter().any(|(_, r)| r.kind == kind), "{}: {kind:?}", slot.unit);
        }
    }
}

#[test]
fn spellings_reach_every_value_of_a_voltmeter() {
    let all = spellings(&volts());
    let meant: std::collections::HashSet<u64> = all.iter().map(|(_, r)| r.value.to_bits()).collect();
    for n in 0..=1800 {
        assert!(meant.contains(&(f64::from(n) / 100.0).to_bits()), "{n}");
    }
    let said: HashMap<&str, f64> = all.iter().map(|(s, r)| (s.as_str(), r.value)).collect();
    for (text, value) in [
        ("twelve point four", 12.4),
        ("twelve four", 12.4),
        ("twelve forty five", 12.45),
        ("one two point four", 12.4),
        ("point two", 0.2),
        ("four and a half", 4.5),
        ("two hundred millivolts", 0.2),
        ("twelve point four volts", 12.4),
        ("about twelve", 12.0),
        ("twelve point four zero", 12.4),
        ("twelve oh five", 12.05),
        ("half a volt", 0.5),
    ] {
        assert_eq!(said.get(text), Some(&value), "{text}");
    }
}

#[test]
fn bad_slots_give_something_bounded() {
    for (low, high, resolution) in [
        (f64::NEG_INFINITY, f64::INFINITY, 0.01),
        (5.0, 1.0, 0.1),
        (0.0, 1e300, 1e-300),
        (f64::NAN, f64::NAN, f64::NAN),
        (0.0, 10.0, 0.0),
        (0.0, 10.0, -1.0),
    ] {
        let all = spellings(&slot(Unit::Volt, low, high, resolution));
        assert!(all.len() <= MOST_SPELLINGS);
    }
}

proptest! {
    #[test]
    fn any_text_is_read_without_a_fault(text in any::<String>()) {
        for reading in readings(&text, &volts(), words()) {
            prop_assert!(reading.value.is_finite());
        }
    }

    #[test]
    fn any_row_of_number_words_is_read_without_a_fault(row in proptest::collection::vec(
        prop::sample::select(vec!["one", "twelve", "forty", "oh", "hundred", "thousand", "million", "point", "minus", "and", "a", "half", "k",
            "volts", "ohms", "about", "no", "o l", "12", "4.5", "1,000", "4k7", "seven", "degrees"]), 0..12)) {
        let text = row.join(" ");
        for slot in [volts(), ohms()] {
            let all = readings(&text, &slot, words());
            let doubles = all.iter().enumerate().any(|(i, r)| all[..i].contains(r));
            prop_assert!(!doubles, "{text}: {all:?}");
        }
    }

    #[test]
    fn settled_values_are_said_as_they_are(value in -20_000.0f64..20_000.0, exponent in 0i32..4) {
        let resolution = 10f64.powi(-exponent);
        let value = settle(value, resolution);
        let wide = slot(Unit::One, -20_000.0, 20_000.0, resolution);
        let said = words().say_number(value, Unit::One, resolution);
        prop_assert!(values(&said, &wide).contains(&value), "{} {said}", value);
        prop_assert_eq!(settle(value, resolution), value);
    }

    #[test]
    fn typed_figures_are_the_float_that_rust_reads(n in 0u32..1800) {
        let figures = format!("{}.{:02}", n / 100, n % 100);
        prop_assert_eq!(values(&figures, &volts()), vec![figures.parse::<f64>().unwrap()]);
        prop_assert_eq!(values(&figures.replace('.', ","), &volts()), vec![figures.parse::<f64>().unwrap()]);
    }
}

#[test]
fn a_language_with_its_own_way_of_joining_numbers_needs_a_file_only() {
    let ones = ["null", "eins", "zwei", "drei", "vier", "fünf", "sechs", "sieben", "acht", "neun"];
    let tens = ["zehn", "zwanzig", "dreißig", "vierzig", "fünfzig", "sechzig", "siebzig", "achtzig", "neunzig"];
    let teens = ["elf", "zwölf", "dreizehn", "vierzehn", "fünfzehn", "sechzehn", "siebzehn", "achtzehn", "neunzehn"];
    let name = |n: usize| match n {
        0..=9 => ones[n].to_owned(),
        11..=19 => teens[n - 11].to_owned(),
        _ if n.is_multiple_of(10) => tens[n / 10 - 1].to_owned(),
        _ => format!("{}und{}", ones[n % 10].trim_end_matches('s'), tens[n / 10 - 1]),
    };
    let names: String = (0..100).map(|n| format!("    \"{n}\": [\"{}\"]\n", name(n))).collect();
    let english = crate::phrase::built_in::ENGLISH;
    let (head, rest) = english.split_once("  names:\n").unwrap();
    let tail = &rest[rest.find("  hundred:").unwrap()..];
    let file = format!("{head}  names:\n{names}{tail}")
        .replace("point: [\"point\"", "point: [\"komma\"")
        .replace("hundred: [\"hundred\"]", "hundred: [\"hundert\"]")
        .replace("hundred-and: \"and\"", "hundred-and: \"\"");
    let german = Vocabulary::from_yaml(&file, "de.yaml").unwrap();
    let read = |text: &str| readings(text, &volts(), german.numbers()).iter().map(|r| r.value).collect::<Vec<_>>();
    assert_eq!(read("zwölf komma vier volt"), [12.4]);
    assert_eq!(read("zwölf fünfundvierzig"), [12.45]);
    assert_eq!(german.say_number(145.0, Unit::Ohm, 1.0), "eins hundert fünfundvierzig ohms");
    let degrees = slot(Unit::Degree, 0.0, 360.0, 1.0);
    let said = german.say_number(345.0, Unit::Degree, 1.0);
    assert_eq!(readings(&said, &degrees, german.numbers())[0].value, 345.0);
    assert!(
        spellings_in(&volts(), german.numbers()).iter().any(|(s, r)| s == "zwölf fünfundvierzig" && r.value == 12.45)
    );
}
