//! The shipped no-spark against the fault library: every fault of the single, and those of the twin's left side and of the parts both sides
//! share, each at its worst. The single also in the best order of its checks. The tables in `tests/prove` are written for people;
//! `PROBESIDE_BLESS=1 cargo test --test prove` rewrites them.

mod support;

use probeside::circuit::faults::{Fault, Library};
use probeside::diagnose::{CircuitObserver, Proof, Verdict, Wanted, every_fault, prove};
use std::path::Path;
use support::stage::{procedures, world};

fn proved(bike: &str, best: bool, keep: impl Fn(&[Fault], usize) -> bool) -> Proof {
    let world = world("no-spark", bike);
    let library = Library::load(&procedures().join("faults/ignition.yaml")).expect("the library loads");
    let all = library.for_bike(&world.bike).expect("the library fits the bike");
    let faults: Vec<Fault> = (0..all.len()).filter(|n| keep(&all, *n)).map(|n| all[n].clone()).collect();
    let observer = CircuitObserver::new(&world.bike, &library, &faults);
    match prove(&world, &faults, &observer, Wanted { best, ..Wanted::default() }, &|_, _, _| ()) {
        Ok(proved) => proved.proof,
        Err(why) => panic!("{why}"),
    }
}

fn as_kept(name: &str, proof: &Proof) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/prove").join(name);
    let now = every_fault(proof);
    if std::env::var_os("PROBESIDE_BLESS").is_some() {
        std::fs::write(&path, &now).unwrap();
    }
    let kept = std::fs::read_to_string(&path).unwrap_or_default().replace("\r\n", "\n");
    assert!(kept == now, "{name} is not what it was: look at it, then PROBESIDE_BLESS=1; now:\n{now}");
}

/// Requirements that hold for every fault, whatever the tables say.
fn sound(proof: &Proof) {
    assert!(proof.healthy.right, "a healthy bike was called {}", proof.healthy.conclusion);
    let wrong: Vec<&str> = proof.judged(Verdict::Wrong).map(|f| f.fault.as_str()).collect();
    assert!(wrong.is_empty(), "a sound part was condemned under {wrong:?}");
}

#[test]
fn every_fault_of_the_single() {
    let proof = proved("fennel-single", false, |_, _| true);
    as_kept("fennel-single.txt", &proof);
    sound(&proof);
    assert_eq!(proof.figures.right_cause_rate, 1.0);
    assert!(proof.figures.mean_ambiguity_group <= 1.3, "{}", proof.figures.mean_ambiguity_group);
}

#[test]
fn every_fault_of_the_single_in_best_order() {
    let proof = proved("fennel-single", true, |_, _| true);
    as_kept("fennel-single-best.txt", &proof);
    sound(&proof);
}

#[test]
fn the_worst_faults_of_the_twins_left_side() {
    let proof = proved("borage-twin", false, |all, n| {
        let here = &all[n];
        let worst = all.get(n + 1).is_none_or(|next| next.kind != here.kind || next.place != here.place);
        worst && here.counts && !here.parts.iter().any(|part| part.contains("right"))
    });
    as_kept("borage-twin-left.txt", &proof);
    sound(&proof);
}
