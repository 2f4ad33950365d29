//! The break of a coil's current against a full transient of the whole circuit in the reference program, and what counts as a dead spark.

use probeside::bike::{Bike, BikeState, Engine, Instrument, InstrumentKind};
use probeside::circuit::faults::{Fault, Library, least_reserve};
use probeside::circuit::transient::{Break, at_break, resistance};
use probeside::circuit::{Alteration, BranchKind, Iron, Model, Observation, Wiring};
use std::collections::BTreeSet;
use std::path::Path;

#[path = "support/ngspice.rs"]
mod reference;
use reference::{ngspice, values};
#[path = "support/break_deck.rs"]
mod break_deck;

/// Most difference from the reference, as a share.
const BOUND: f64 = 0.05;
/// Below this voltage a break is not compared: no gap takes so little, volt.
const FLOOR_VOLT: f64 = 200.0;
/// How long the points stay closed, seconds: long enough for the steady state.
const CLOSED_SECONDS: f64 = 1.0;

fn bike(file: &str) -> Bike {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join(file);
    probeside::bike::load(&file).unwrap_or_else(|wrong| panic!("{}", wrong[0]))
}

fn twin() -> Bike {
    bike("procedures/bikes/borage-twin.yaml")
}

fn kicked() -> BikeState {
    let switches = ["key", "kill"].map(|name| (name.to_owned(), "connects".to_owned())).into();
    BikeState { engine: Some(Engine::Kicked), switches, ..BikeState::default() }
}

/// The wirings with the first set closed and open.
fn around(model: &Model) -> [Wiring; 2] {
    let set = model.bike.points[0].id.clone();
    [BTreeSet::from([set]), BTreeSet::new()].map(|closed| model.wiring(&kicked(), &closed).unwrap())
}

/// The break and the reference's peak, before losses.
fn both(model: &Model, saturates: bool) -> Option<(Break, f64, f64)> {
    let [closed, open] = around(model);
    let coil = model.bike.points[0].coil.as_str();
    let ours = at_break(&closed, &open, coil, CLOSED_SECONDS).unwrap();
    let text = ngspice(&break_deck::deck(&closed, &open, coil, saturates))?;
    let found = values(&text);
    let (Some(peak), Some(dip)) = (found.get("peak"), found.get("dip")) else {
        panic!("ngspice gave no peak: {}", &text[text.len().saturating_sub(2000)..])
    };
    let theirs = peak.max(-dip);
    let before_losses = if ours.passed_on > 0.0 { ours.available_volt / ours.passed_on.sqrt() } else { 0.0 };
    Some((ours, before_losses, theirs))
}

fn agree(what: &str, model: &Model, saturates: bool) -> Option<f64> {
    let (_, ours, theirs) = both(model, saturates)?;
    println!("{what}: {ours:.0} V against {theirs:.0} V, {:+.2} %", 100.0 * (ours / theirs - 1.0));
    assert!((ours - theirs).abs() <= BOUND * theirs + FLOOR_VOLT, "{what}: {ours:.0} V against {theirs:.0} V");
    Some(ours)
}

fn join(a: &str, b: &str, ohm: f64) -> Alteration {
    Alteration::Join { a: a.to_owned(), b: b.to_owned(), ohm }
}

#[test]
fn whatever_leaks_at_the_points_takes_part_in_the_break() {
    let bike = twin();
    let Some(healthy) = agree("healthy", &Model::new(&bike), false) else { return };
    for ohm in [1000.0, 100.0, 30.0, 10.0, 5.0, 2.0, 1.0] {
        let leak = join("points-left.wire", "engine", ohm);
        let leaks = agree(&format!("{ohm} ohm from the points wire to ground"), &Model::with(&bike, [leak]), false);
        assert!(ohm > 100.0 || leaks.unwrap() < 0.8 * healthy, "{ohm} ohm: {leaks:?} of {healthy} V");
    }
    for ohm in [1000.0, 100.0, 10.0, 2.0] {
        let leak = Alteration::set("condenser-left", "leak-ohm", ohm);
        agree(&format!("the condenser leaks with {ohm} ohm"), &Model::with(&bike, [leak]), false);
        let past = join("coil-left.points", "coil-left.feed", ohm);
        agree(&format!("{ohm} ohm past the primary"), &Model::with(&bike, [past]), false);
        let behind = Alteration::Series { branch: "coil-left.points to left-points.coil-side".to_owned(), ohm: 2.0 };
        let kill = join("left-points.coil-side", "frame", ohm);
        agree(&format!("{ohm} ohm at the connector, 2 in the wire"), &Model::with(&bike, [behind, kill]), false);
    }
}

#[test]
fn whatever_loads_the_lead_takes_part_in_the_break() {
    let bike = twin();
    for ohm in [1e6, 100e3, 20e3, 1e3] {
        let fouled = Alteration::Ohm { branch: "plug-left".to_owned(), ohm };
        agree(&format!("a plug fouled to {ohm} ohm"), &Model::with(&bike, [fouled]), false);
    }
    let lost = Alteration::scale("condenser-left", "microfarad", 0.3);
    agree("a third of the capacitance", &Model::with(&bike, [lost]), false);
}

/// A coil made for 6 V, on its own battery and on one of 12 V. The other coil is disconnected.
#[test]
fn a_coil_for_six_volts_on_twelve_saturates() {
    let bike = twin();
    let other = Alteration::Open { branch: "coil-right.primary".to_owned() };
    let six = [("primary-ohm", 0.35), ("primary-henry", 0.35), ("saturation-ampere", 0.5 / 0.35)];
    let six = six.map(|(value, by)| Alteration::scale("coil-left", value, by));
    let twelve_volt = Model::with(&bike, six.clone().into_iter().chain([other.clone()]));
    let own = Alteration::set("battery", "volt-100", 6.3);
    let own = Model::with(&bike, six.into_iter().chain([other, own]));
    let (Some(rated), Some(driven)) = (agree("on 6 V", &own, true), agree("on 12 V", &twelve_volt, true)) else {
        return;
    };
    let share = driven / rated;
    println!("{share:.2} times the voltage on its own battery");
    assert!((1.0..1.5).contains(&share), "{share}");
    // The coupled inductances of the other decks and the behavioural iron agree below saturation.
    agree("the right coil, behavioural", &Model::new(&bike), true);
}

#[test]
fn current_in_saturated_iron_rises_as_in_ngspice() {
    let (iron, volt, ohm) = (Iron { henry: 4e-3, saturation_ampere: 4.5 }, 12.4, 1.7);
    let (knee, beyond, is) = (iron.henry * iron.saturation_ampere, iron.henry_beyond(), iron.saturation_ampere);
    let times = [1e-3, 2e-3, 3e-3, 5e-3];
    let measures: String =
        times.iter().enumerate().map(|(n, at)| format!("meas tran i{n} FIND i(V1) AT={at:e}\n")).collect();
    let deck = format!(
        "rise\nV1 s 0 DC {volt}\nR1 s a {ohm}\nG1 0 flux a 0 1\nC1 flux 0 1 IC=0\n\
         B1 a 0 I=V(flux)>{knee:e} ? {is:e}+(V(flux)-{knee:e})/{beyond:e} : V(flux)/{:e}\n\
         .tran 1u 6m 0 1u UIC\n.control\nrun\n{measures}.endc\n.end\n",
        iron.henry
    );
    let Some(text) = ngspice(&deck) else { return };
    let found = values(&text);
    for (n, at) in times.iter().enumerate() {
        let (ours, theirs) = (iron.rise(0.0, volt / ohm, ohm, *at), -found[&format!("i{n}")]);
        println!("after {at} s: {ours:.4} A against {theirs:.4} A");
        assert!((ours / theirs - 1.0).abs() < 0.01);
    }
}

/// Draws faults of the shipped bikes until so many breaks are compared.
#[test]
fn breaks_under_the_librarys_faults_agree_with_ngspice() {
    let wanted = std::env::var("PROBESIDE_BREAKS").ok().and_then(|n| n.parse().ok()).unwrap_or(12);
    let bikes = shipped();
    let library = library();
    let faults: Vec<Vec<Fault>> = bikes.iter().map(|bike| library.for_bike(bike).unwrap()).collect();
    let mut random = fastrand::Rng::with_seed(20_261_130);
    let (mut worst, mut compared, mut kinds) = (0f64, 0, BTreeSet::new());
    for _ in 0..100 * wanted {
        let n = random.usize(..bikes.len());
        let fault = &faults[n][random.usize(..faults[n].len())];
        let model = Model::with(&bikes[n], fault.alterations.clone());
        let [closed, open] = around(&model);
        let coil = bikes[n].points[0].coil.as_str();
        let plain = |wiring: &Wiring| wiring.branches().iter().all(|b| !matches!(b.kind, BranchKind::Lamp(_)));
        let ours = at_break(&closed, &open, coil, CLOSED_SECONDS).unwrap();
        if !plain(&closed) || ours.available_volt < FLOOR_VOLT {
            continue;
        }
        let saturates = ours.ampere > closed.figures.coils[coil].saturation_ampere;
        let Some((_, before_losses, theirs)) = both(&model, saturates) else { return };
        let off = (before_losses - theirs).abs() / theirs;
        println!("{}, {}: {before_losses:.0} V against {theirs:.0} V", bikes[n].name, fault.id);
        assert!(off <= BOUND, "{}, {}: {before_losses:.0} V against {theirs:.0} V", bikes[n].name, fault.id);
        worst = worst.max(off);
        kinds.insert(fault.kind.clone());
        compared += 1;
        if compared == wanted {
            break;
        }
    }
    println!("{compared} breaks under {} kinds of fault, worst difference {:.2} %", kinds.len(), 100.0 * worst);
    assert_eq!(compared, wanted);
}

fn library() -> Library {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures/faults/ignition.yaml");
    Library::load(&file).unwrap_or_else(|wrong| panic!("{}", wrong[0]))
}

fn shipped() -> Vec<Bike> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures/bikes");
    let mut files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    files.iter().map(|file| probeside::bike::load(file).unwrap_or_else(|wrong| panic!("{}", wrong[0]))).collect()
}

/// Common practice, no source: what a mechanic knows to leave an engine dead, and what he knows to run.
#[test]
fn a_fault_counts_if_a_plug_fails_to_fire() {
    let library = library();
    for bike in shipped().into_iter().filter(|bike| bike.battery.is_some()) {
        let least = least_reserve(&Model::new(&bike), &[], 0.0).unwrap();
        println!("{}: a healthy bike has {least:.2} times the voltage its plugs need", bike.name);
        assert!(least > 1.4, "{}: {least}", bike.name);
        let begun = std::time::Instant::now();
        let faults = library.for_bike(&bike).unwrap();
        println!("{}: {} faults expanded in {:?}", bike.name, faults.len(), begun.elapsed());
        for fault in &faults {
            let reserve = least_reserve(&Model::new(&bike), &fault.alterations, 0.0).unwrap();
            println!("{} {} {reserve:.2} {}", bike.name, fault.id, if fault.counts { "counts" } else { "-" });
            let named = |kinds: &[&str]| kinds.contains(&fault.kind.as_str());
            let dead = [
                "key-open",
                "plug-fouled",
                "points-welded",
                "cam-sheared-open",
                "points-wires-swapped",
                "leads-swapped",
            ];
            let mild = fault.severity.is_some_and(|severity| severity > 20e3);
            if named(&dead) && !mild {
                assert!(fault.counts, "{}: {} is dead", bike.name, fault.id);
            }
            if named(&["advancer-stuck", "key-never-off", "kill-never-off"]) {
                assert!(!fault.counts, "{}: {} runs", bike.name, fault.id);
            }
        }
    }
}

#[test]
fn a_battery_keeps_its_own_resistance_beside_any_in_series() {
    let bike = twin();
    let series = |ohm| Alteration::Series { branch: "battery".to_owned(), ohm };
    let fixed = Alteration::Ohm { branch: "battery".to_owned(), ohm: 0.05 };
    let load = 10.0;
    let full = Model::new(&bike).figures.clone();
    let own = &full.values["battery"];
    let (full_volt, full_ohm) = (own["volt-100"], own["ohm-full"]);
    // The catalogue states twice a full battery's resistance for a half-charged one.
    let (half_volt, half_ohm) = (own["volt-50"], 2.0 * full_ohm);
    let cases = [
        (vec![], full_volt, full_ohm),
        (vec![series(0.2)], full_volt, full_ohm + 0.2),
        (vec![series(0.2), series(0.3)], full_volt, full_ohm + 0.5),
        (vec![Alteration::set("battery", "charge", 0.5), series(0.2)], half_volt, half_ohm + 0.2),
        (vec![series(0.2), Alteration::set("battery", "charge", 0.5)], half_volt, half_ohm + 0.2),
        (vec![series(0.2), fixed.clone()], full_volt, 0.25),
        (vec![fixed, series(0.2)], full_volt, 0.25),
        (vec![series(0.2), Alteration::Open { branch: "battery".to_owned() }], 0.0, 1.0),
    ];
    for (changes, volt, ohm) in cases {
        let deck = format!(
            "battery\nV1 a 0 {volt:e}\nR1 a b {ohm:e}\nR2 b 0 {load:e}\nR3 b 0 10e6\n.control\nop\nprint v(b)\n.endc\n.end\n"
        );
        let Some(text) = ngspice(&deck) else { return };
        let theirs = values(&text)["v(b)"];
        let loaded = changes.iter().cloned().chain([join("battery.live", "battery.ground", load)]);
        let tool = Instrument {
            kind: InstrumentKind::Voltmeter,
            first: "battery.live".to_owned(),
            second: "battery.ground".to_owned(),
        };
        let mut off = BikeState { instrument: Some(tool), ..BikeState::default() };
        off.switches.insert("key".to_owned(), "off".to_owned());
        for case in Model::with(&bike, loaded).observe(&off).unwrap() {
            let Observation::Volt(ours) = case.seen else { panic!("{case:?}") };
            assert!((ours - theirs).abs() < 1e-3, "{changes:?}: {ours} V against {theirs} V");
        }
    }
}

#[test]
fn exchanged_wires_keep_the_resistance_in_them() {
    let bike = twin();
    let (left, right) =
        ("left-points.points-side to points-left.wire", "right-points.points-side to points-right.wire");
    let series = Alteration::Series { branch: left.to_owned(), ohm: 3.0 };
    let swap = Alteration::Swap { first: left.to_owned(), second: right.to_owned() };
    let state = BikeState::default();
    for changes in [[series.clone(), swap.clone()], [swap, series]] {
        let model = Model::with(&bike, changes);
        let wiring = model.wiring(&state, &BTreeSet::new()).unwrap();
        let between = |a, b| resistance(&wiring, a, b, |_| false).unwrap().unwrap();
        assert!((3.0..3.1).contains(&between("left-points.points-side", "points-right.wire")));
        assert!(between("right-points.points-side", "points-left.wire") < 0.1);
    }
}

#[test]
fn a_gap_changes_the_dwell_by_the_shaft_that_turns_the_cam() {
    let twin = twin();
    let triple = bike("tests/bikes/triple.yaml");
    for bike in [&twin, &triple] {
        let set = bike.points[0].id.clone();
        let figures = Model::new(bike).figures.clone();
        let (own, gap) = (figures.timing[&set], figures.points_gap[&set]);
        let closed = |wider: f64| {
            let change = Alteration::set(&bike.points[0].part, "gap", gap + wider);
            let model = Model::with(bike, [change]);
            model.wiring(&BikeState::default(), &BTreeSet::new()).unwrap().figures.timing[&set].closed
        };
        // 15 degrees of the cam for each tenth of a millimetre: as many of the crank if the crank turns it, else twice as many.
        let by_tenth = 15.0 * own.every / 360.0;
        assert!((own.closed - closed(0.1) - by_tenth).abs() < 1e-9, "{}", bike.name);
        assert!((closed(-0.1) - own.closed - by_tenth).abs() < 1e-9, "{}", bike.name);
        assert_eq!(closed(2.0), 0.0, "{}: points that never meet", bike.name);
    }
    assert_eq!(Model::new(&twin).figures.timing["left"].every, 720.0);
    assert_eq!(Model::new(&triple).figures.timing["left"].every, 360.0);
}
