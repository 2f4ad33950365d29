//! The workshop sums against external references: worked examples from standards, handbooks, open textbooks and ngspice, each with its
//! source; round trips and limits; and rejected inputs.

use probeside::sums::{sum, sums};
use probeside::units::Unit;
use proptest::prelude::*;
use std::collections::{BTreeMap, BTreeSet};
use std::process::Command;

mod support {
    pub mod examples;
}
use support::examples::EXAMPLES;

fn reckon(name: &str, given: &[f64]) -> f64 {
    sum(name).unwrap().reckon(given).unwrap_or_else(|why| panic!("{why}"))
}

fn typed(name: &str, words: &[&str]) -> Result<f64, String> {
    sum(name).unwrap().reckon_typed(words).map(|done| done.value).map_err(|why| why.to_string())
}

#[test]
fn worked_examples_from_outside() {
    let mut wrong = Vec::new();
    let mut called = BTreeSet::new();
    for example in EXAMPLES {
        assert!(!example.source.is_empty() && example.within > 0.0);
        called.insert(example.sum);
        match typed(example.sum, example.given) {
            Ok(ours) if (ours / example.gives - 1.0).abs() <= example.within => {}
            Ok(ours) => wrong.push(format!(
                "{} {:?}: {ours} here, {} in {}",
                example.sum, example.given, example.gives, example.source
            )),
            Err(why) => wrong.push(format!("{} {:?}: {why}", example.sum, example.given)),
        }
    }
    println!("{} worked examples of {} sums", EXAMPLES.len(), called.len());
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(EXAMPLES.len() >= 60, "{}", EXAMPLES.len());
}

/// `name = value` lines of ngspice. `None` if it is not installed and may be missing.
fn ngspice(deck: &str) -> Option<BTreeMap<String, f64>> {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("deck.cir");
    std::fs::write(&file, deck).unwrap();
    match Command::new("ngspice").arg("-b").arg(&file).output() {
        Ok(out) => {
            let text = String::from_utf8_lossy(&out.stdout);
            let pair = |line: &str| {
                let (name, value) = line.split_once('=')?;
                Some((name.trim().to_owned(), value.split_whitespace().next()?.parse().ok()?))
            };
            Some(text.lines().filter_map(pair).collect())
        }
        Err(error) if std::env::var("PROBESIDE_MUST").as_deref() == Ok("1") => {
            panic!("ngspice does not start ({error}); apt install ngspice")
        }
        Err(_) => {
            println!("ngspice is not installed: nothing was compared; `apt install ngspice` mends it");
            None
        }
    }
}

fn near(what: &str, ours: f64, theirs: f64) {
    println!("{what}: {ours:.5} here, {theirs:.5} by ngspice");
    assert!((ours / theirs - 1.0).abs() < 0.01, "{what}: {ours} against {theirs}");
}

/// A coil whose points close and open in turn: 6 V and 12 V, three speeds. The switch opens into a resistor that absorbs all the energy
/// before the points close again.
#[test]
fn current_at_break_mean_current_and_lost_energy_agree_with_ngspice() {
    let (share, lobes) = (60.0, 1.0);
    for (volt, ohm, milli_henry, rpm) in
        [(12.0, 4.5, 11.25, 6000.0), (12.0, 4.5, 11.25, 1500.0), (6.0, 1.6, 4.0, 4000.0)]
    {
        let closed = reckon("dwell-time", &[share, rpm, lobes]);
        let period = closed / share * 100.0;
        let deck = format!(
            "points in turn\nV1 s 0 {volt}\nR1 s a {ohm}\nL1 a p {milli_henry}m IC=0\nS1 p 0 g 0 points\nRD p 0 1e5\n\
             .model points SW(VT=0.5 VH=0 RON=1e-6 ROFF=1e12)\nVG g 0 PULSE(1 0 {closed}m 10n 10n {open}m {period}m)\n\
             .options reltol=1e-6\n.tran 10u {end}m 0 10u UIC\n.control\nrun\n\
             meas tran atbreak FIND i(L1) AT={before}m\n\
             meas tran mean AVG i(L1) FROM={period}m TO={last}m\n.endc\n.end\n",
            open = period - closed - 1e-4,
            end = 2.0 * period,
            before = period + closed - 1e-3,
            last = 2.0 * period,
        );
        let Some(found) = ngspice(&deck) else { return };
        let current = reckon("coil-current", &[volt, ohm, milli_henry, closed]);
        near("current at break", current, found["atbreak"]);
        near("mean current", reckon("coil-draw", &[volt, ohm, milli_henry, share, rpm, lobes]), found["mean"]);
        let full = reckon("current", &[volt, ohm]);
        let lost = reckon("energy-lost", &[rpm, share, lobes, milli_henry, ohm]);
        near("energy left, per cent", 100.0 - lost, 100.0 * (found["atbreak"] / full).powi(2));
    }
}

#[test]
fn ringing_and_peak_agree_with_ngspice() {
    for (milli_henry, micro_farad, ohm, ampere) in
        [(11.25, 0.24, 0.0, 2.4), (4.0, 0.22, 1.6, 3.5), (8.0, 0.2, 40.0, 3.0)]
    {
        let hertz = 1000.0 * reckon("ringing-frequency", &[milli_henry, micro_farad, ohm]);
        let end = 8.0 / hertz;
        let deck = format!(
            "ringing\nL1 0 a {milli_henry}m IC={ampere}\nR1 a p {r}\nC1 p 0 {micro_farad}u IC=0\n\
             .options reltol=1e-6\n.tran {step:e} {end:e} 0 {step:e} UIC\n.control\nrun\nmeas tran peak MAX v(p)\n\
             meas tran n1 WHEN v(p)=0 FALL=1\nmeas tran n2 WHEN v(p)=0 FALL=5\n.endc\n.end\n",
            r = if ohm == 0.0 { 1e-6 } else { ohm },
            step = 1.0 / hertz / 2000.0,
        );
        let Some(found) = ngspice(&deck) else { return };
        near("frequency", hertz, 4.0 / (found["n2"] - found["n1"]));
        if ohm == 0.0 {
            near("peak across the points", reckon("points-peak", &[ampere, milli_henry, micro_farad]), found["peak"]);
            near(
                "capacitance from the ringing",
                reckon("ringing-capacitance", &[4.0 / (found["n2"] - found["n1"]) / 1000.0, milli_henry]),
                micro_farad,
            );
        }
    }
}

#[test]
fn available_voltage_agrees_with_coupled_coils_of_ngspice() {
    for (ampere, milli_henry, micro_farad, ratio, nano_farad) in
        [(2.4, 11.25, 0.24, 70.0, 0.06), (3.5, 4.0, 0.22, 80.0, 0.05)]
    {
        let deck = format!(
            "coupled\nL1 0 p {milli_henry}m IC={ampere}\nC1 p 0 {micro_farad}u IC=0\nL2 s 0 {second}m IC=0\n\
             C2 s 0 {nano_farad}n IC=0\nRS s 0 1e12\nK1 L1 L2 0.99999\n.tran 0.1u 1m 0 0.1u UIC\n.control\nrun\n\
             meas tran peak MAX v(s)\nmeas tran dip MIN v(s)\n.endc\n.end\n",
            second = milli_henry * ratio * ratio,
        );
        let Some(found) = ngspice(&deck) else { return };
        let ours = reckon("available-voltage", &[ampere, milli_henry, micro_farad, ratio, nano_farad, 100.0]);
        near("available kilovolts", ours, found["peak"].max(-found["dip"]) / 1000.0);
    }
}

/// Tests a sum with its inverse: `back` recovers the first of the values `given` to `there`; `rest` are its other values.
fn there_and_back(there: &str, given: &[f64], back: &str, rest: &[f64]) -> Result<(), TestCaseError> {
    let first = reckon(there, given);
    let again = reckon(back, &[&[first], rest].concat());
    prop_assert!(
        (again - given[0]).abs() <= 1e-6 * given[0].abs().max(1e-3),
        "{there} {given:?} -> {first} -> {back} {again}"
    );
    Ok(())
}

proptest! {
    #[test]
    fn round_trips(
        share in 0.1f64..100.0, lobes in 1u8..=12, turns in 1u8..=2, rpm in 100.0f64..15_000.0,
        degrees in 0.5f64..179.0, stroke in 20.0f64..150.0, ratio in 1.2f64..4.0, mm in 20.0f64..300.0,
        ohm in 0.1f64..20.0, ampere in 0.01f64..50.0, celsius in -40.0f64..150.0, milli_henry in 0.5f64..100.0, nano in 10.0f64..1000.0,
    ) {
        let (lobes, turns, rod) = (f64::from(lobes), f64::from(turns), stroke * ratio / 2.0);
        there_and_back("dwell-angle", &[share, lobes], "dwell", &[lobes])?;
        there_and_back("dwell-crank", &[degrees, turns], "dwell-cam", &[turns])?;
        there_and_back("piston-travel", &[degrees, stroke, rod], "piston-angle", &[stroke, rod])?;
        there_and_back("rotor-distance", &[degrees, mm], "rotor-angle", &[mm])?;
        there_and_back("advance-time", &[degrees, rpm], "strobe-advance", &[rpm])?;
        there_and_back("resistance-at", &[ohm, celsius], "resistance-at-20", &[celsius])?;
        there_and_back("voltage-drop", &[ampere, ohm], "current", &[ohm])?;
        let frequency = reckon("ringing-frequency", &[milli_henry, nano / 1000.0]);
        let again = reckon("ringing-capacitance", &[frequency, milli_henry]) * 1000.0;
        prop_assert!((again / nano - 1.0).abs() < 1e-9);
        let hot = reckon("resistance-at", &[ohm.max(1.0), celsius]);
        let found = reckon("winding-temperature", &[ohm.max(1.0), 20.0, hot]);
        // 0.00393 and 234.5 are both rounded.
        prop_assert!((found - celsius).abs() < 0.05, "{found} {celsius}");
        let section = Unit::Gauge.convert(share / 5.0, Unit::SquareMillimetre).unwrap();
        let gauge = Unit::SquareMillimetre.convert(section, Unit::Gauge).unwrap();
        prop_assert!((gauge - share / 5.0).abs() < 1e-9);
    }

    #[test]
    fn limits_and_directions(
        a in 0.0f64..1.0, b in 0.0f64..1.0, share in 0.0f64..=100.0, stroke in 20.0f64..150.0, ratio in 1.05f64..4.0,
        ohm in 0.5f64..10.0, milli_henry in 1.0f64..50.0, rpm in 100.0f64..12_000.0,
    ) {
        let (low, high) = (a.min(b), a.max(b));
        let rod = stroke * ratio / 2.0;
        let travel = |angle: f64| reckon("piston-travel", &[angle, stroke, rod]);
        prop_assert!(travel(0.0).abs() < 1e-9 && (travel(180.0) - stroke).abs() < 1e-9);
        prop_assert!(travel(180.0 * low) <= travel(180.0 * high) + 1e-9);
        // The rod's angle puts the piston below half of its travel at a quarter turn.
        prop_assert!(travel(90.0) > stroke / 2.0);
        let charge = |volt: f64| reckon("state-of-charge", &[volt]);
        prop_assert!((0.0..=100.0).contains(&charge(13.2 * high)) && charge(13.2 * low) <= charge(13.2 * high));
        let current = |ms: f64| reckon("coil-current", &[12.0, ohm, milli_henry, ms]);
        prop_assert!(current(0.0) == 0.0 && current(10.0 * low) <= current(10.0 * high) && current(1e4) <= 12.0 / ohm + 1e-12);
        let lost = |rpm: f64| reckon("energy-lost", &[rpm, share, 1.0, milli_henry, ohm]);
        prop_assert!((0.0..=100.0).contains(&lost(rpm)) && lost(rpm) <= lost(rpm * 2.0) + 1e-9);
        let draw = reckon("coil-draw", &[12.0, ohm, milli_henry, share, rpm, 1.0]);
        prop_assert!(draw >= 0.0 && draw <= 12.0 / ohm * share / 100.0 + 1e-12);
        let gap = |mm: f64, bar: f64| reckon("gap-voltage", &[mm, bar]);
        prop_assert!(gap(2.0 * low, 1.0) <= gap(2.0 * high, 1.0) + 1e-12);
        // Paschen's law: only the product of pressure and distance matters.
        prop_assert!((gap(low, 8.0) / gap(8.0 * low, 1.0) - 1.0).abs() < 1e-9);
        let parallel = reckon("parallel", &[ohm, milli_henry]);
        prop_assert!(parallel <= ohm.min(milli_henry) + 1e-12 && parallel >= ohm.min(milli_henry) / 2.0 - 1e-12);
    }
}

#[test]
fn bad_input_is_refused_with_a_sentence() {
    for (name, words, part) in [
        ("dwell-time", &["60 %", "0 rpm", "4"][..], "speed is 0 rpm (crank); it has to be from 1 to 30000 rpm"),
        ("wire-resistance", &["-3 m", "1.5 mm2"], "length is -3 m; it has to be from 0 to"),
        ("wire-resistance", &["3 m", "1.5 V"], "section is a section, and V measures a voltage; give it in mm2 or AWG"),
        (
            "piston-travel",
            &["20 deg", "60 mm", "25 mm"],
            "a rod of 25 mm is not longer than the crank's throw of 30 mm",
        ),
        ("piston-travel", &["200 deg", "60 mm", "120 mm"], "angle is 200 deg (crank)"),
        ("piston-angle", &["70 mm", "60 mm", "120 mm"], "cannot be 70 mm down in a stroke of 60 mm"),
        ("dwell", &["130 deg", "3"], "opens every 120.0 degrees and cannot be closed for 130"),
        ("dwell", &["30 deg", "2.5"], "whole number of lobes, not 2.5"),
        ("dwell", &["30 deg", "0"], "lobes is 0; it has to be from 1 to 12"),
        ("dwell", &["30 deg crank", "4"], "closed-angle is of the points cam, and the value given is of the crank"),
        ("dwell-crank", &["30 deg", "1.5"], "crank-turns is 2"),
        ("rotor-angle", &["500 mm", "100 mm"], "more than once round"),
        ("ringing-frequency", &["1 mH", "0.2 uF", "1000 ohm"], "does not ring at all"),
        ("winding-temperature", &["4 ohm", "20", "40 ohm"], "which no winding survives"),
        ("ballast", &["12 V", "5 A", "4.5 ohm"], "no ballast is needed"),
        ("state-of-charge", &["14.2 V"], "more than a resting 12 V battery shows"),
        ("advance-at", &["2000", "10", "3000", "30", "2500"], "the first has to be higher"),
        ("least-section", &["5 A", "3 m", "0 V"], "drop is 0 V"),
        ("current", &["12 V", "0 ohm"], "resistance is 0 ohm"),
        ("gap-voltage", &["-0.5 mm"], "gap is -0.5 mm"),
        ("charge-balance", &["10 A", "2 A"], "needs lamps too"),
        ("voltage-drop", &["nan", "1"], "does not begin with a number"),
        ("voltage-drop", &["inf A", "1"], "does not begin with a number"),
    ] {
        let why = typed(name, words).expect_err(&format!("{name} {words:?} was taken"));
        assert!(why.contains(part), "{name} {words:?}: {why}");
    }
}

fn command(words: &[&str]) -> (i32, String, String) {
    let out = Command::new(env!("CARGO_BIN_EXE_probeside")).arg("reckon").args(words).output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (out.status.code().unwrap(), text(&out.stdout), text(&out.stderr))
}

#[test]
fn the_command_lists_explains_and_does() {
    let (code, out, _) = command(&[]);
    assert!(code == 0 && sums().all(|sum| out.contains(sum.name) && out.contains(sum.title)), "{out}");
    let (code, out, _) = command(&["piston-travel"]);
    assert!(code == 0 && out.contains("slider-crank") && out.contains("deg of the crank"), "{out}");
    assert_eq!(command(&["dwell", "60 deg", "4"]), (0, "66.7 %\n".to_owned(), String::new()));
    assert_eq!(command(&["resistance-at-20", "4.6 ohm", "temperature=-10 degC"]).0, 0);
    let (code, out, _) = command(&["dwell-crank", "95", "--json"]);
    let json: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(
        (code, &json["name"], &json["value"], &json["unit"]),
        (0, &"dwell-crank".into(), &190.0.into(), &"deg".into())
    );
    assert_eq!(json["inputs"]["crank-turns"]["value"], 2.0);
    assert!(json["source"].as_str().is_some_and(|s| !s.is_empty()) && json["of"] == "crank");
    let (code, out, _) = command(&["--json"]);
    assert!(code == 0 && out.lines().all(|line| serde_json::from_str::<serde_json::Value>(line).is_ok()));
    assert_eq!(out.lines().count(), sums().count());
}

#[test]
fn the_command_says_what_is_wrong() {
    for (words, code, part) in [
        (&["dwel", "60", "4"][..], 2, "did you mean `dwell`?"),
        (&["dwell", "60"], 2, "needs lobes too"),
        (&["dwell", "60", "4", "5"], 2, "takes 2 values"),
        (&["dwell", "60 V", "4"], 1, "V measures a voltage"),
        (&["dwell-time", "60", "0", "4"], 1, "speed is 0 rpm"),
    ] {
        let (got, out, err) = command(words);
        assert!(got == code && out.is_empty() && err.contains(part), "{words:?}: {got} {out} {err}");
    }
}
