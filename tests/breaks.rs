//! The break of a coil's current against a full transient of the whole circuit in the reference program, and what counts as a dead spark.

use probeside::bike::{Bike, BikeState, Engine};
use probeside::circuit::transient::{Break, at_break};
use probeside::circuit::{Alteration, Iron, Model, Wiring};
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
    let set = model.bike.points[0].id.value.clone();
    [BTreeSet::from([set]), BTreeSet::new()].map(|closed| model.wiring(&kicked(), &closed).unwrap())
}

/// The break and the reference's peak, before losses.
fn both(model: &Model, saturates: bool) -> Option<(Break, f64, f64)> {
    let [closed, open] = around(model);
    let coil = model.bike.points[0].coil.value.as_str();
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
        let leak = Alteration::Leak { condenser: "left".to_owned(), ohm };
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
    let lost = Alteration::Capacitance { condenser: "left".to_owned(), factor: 0.3 };
    agree("a third of the capacitance", &Model::with(&bike, [lost]), false);
}
