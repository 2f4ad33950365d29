//! Compares the frozen figures of every shipped procedure on every shipped bike, in the written and the best order, with today's. `cargo
//! run --release --example frozen` prints both from one run, `-- PROCEDURE` only those of one procedure. `-- freeze` rewrites
//! `tests/frozen/figures.csv`: only for a deliberate change of the figures (`tests/frozen/REASONS.md` says why).

#[path = "../support/shipped_files.rs"]
#[allow(dead_code)] // the README is not written here
mod shipped_files;

use probeside::circuit::faults::Library;
use probeside::diagnose::{CircuitObserver, Proof, Verdict, Wanted, prove};
use probeside::run::load;
use sha2::{Digest, Sha256};
use shipped_files::{name, root, yaml_in};
use std::collections::BTreeMap;
use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;

/// Columns of `figures.csv` after procedure, bike and order. Shares are of the faults that count; `_l` is weighted by likelihood; minutes
/// include set-up.
const COLUMNS: [&str; 20] = [
    "faults",
    "wrong",
    "missed",
    "detection",
    "isolation",
    "questions",
    "minutes",
    "minutes_set_up",
    "detection_l",
    "isolation_l",
    "questions_l",
    "minutes_l",
    "minutes_set_up_l",
    "minutes_90_l",
    "slowest",
    "healthy_right",
    "healthy_questions",
    "healthy_minutes",
    "healthy_minutes_set_up",
    "later_share_l",
];
/// A fault counts as found later if it takes this many minutes more than in the written order.
const LATER: f64 = 10.0;

/// A fault's minutes with set-up, and its likelihood.
type Minutes = BTreeMap<String, (f64, f64)>;

fn proved(procedure: &Path, bike: &Path, library: &Library, best: bool) -> Option<Proof> {
    let words = root().join("procedures/vocabulary/en.yaml");
    let world = match load::world(procedure, bike, &words) {
        Ok(loaded) => Arc::new(loaded.world),
        Err(all) if all.iter().all(|finding| finding.check == "does-not-apply") => return None,
        Err(all) => panic!("{}", all.iter().map(ToString::to_string).collect::<String>()),
    };
    if best && world.procedures[&world.main].checks.is_none() {
        return None;
    }
    let faults = library.for_bike_in(&world.bike, &world.vocabulary).unwrap_or_else(|all| panic!("{}", all[0]));
    let observer = CircuitObserver::new(&world.bike, library, &faults);
    let wanted = Wanted { best, ..Wanted::default() };
    let proved = prove(&world, &faults, &observer, wanted, &|_, _, _| ());
    Some(proved.unwrap_or_else(|why| panic!("{} on {}: {why}", name(procedure), name(bike))).proof)
}

fn minutes_of(proof: &Proof) -> Minutes {
    let counting = proof.faults.iter().filter(|f| f.counts);
    counting.map(|f| (f.fault.clone(), (f.minutes + f.set_up_minutes, f.likelihood))).collect()
}

/// The fewest minutes within which this share of the faults, weighted by likelihood, is found.
fn within(share: f64, all: &Minutes) -> f64 {
    let mut sorted: Vec<(f64, f64)> = all.values().copied().collect();
    sorted.sort_by(|a, b| a.0.total_cmp(&b.0));
    let whole: f64 = sorted.iter().map(|(_, weight)| weight).sum();
    let mut so_far = 0.0;
    for (minutes, weight) in sorted {
        so_far += weight;
        if so_far >= share * whole - 1e-12 {
            return minutes;
        }
    }
    f64::NAN
}

fn later(all: &Minutes, written: &Minutes) -> f64 {
    let whole: f64 = all.values().map(|(_, weight)| weight).sum();
    let late = all.iter().filter(|(id, (minutes, _))| written.get(*id).is_some_and(|(then, _)| minutes - then > LATER));
    late.fold(0.0, |sum, (_, (_, weight))| sum + weight) / whole
}

fn figures(proof: &Proof, written: &Minutes) -> Vec<f64> {
    let minutes = minutes_of(proof);
    let (each, likely, healthy) = (&proof.figures, &proof.by_likelihood, &proof.healthy);
    let wrong = proof.faults.iter().filter(|f| f.verdict == Verdict::Wrong).count();
    vec![
        minutes.len() as f64,
        wrong as f64,
        proof.judged(Verdict::Missed).count() as f64,
        each.fault_detection_rate,
        each.fault_isolation_rate,
        each.mean_steps,
        each.mean_minutes,
        each.mean_minutes_with_set_up,
        likely.fault_detection_rate,
        likely.fault_isolation_rate,
        likely.mean_steps,
        likely.mean_minutes,
        likely.mean_minutes_with_set_up,
        within(0.9, &minutes),
        minutes.values().map(|(m, _)| *m).fold(f64::NAN, f64::max),
        f64::from(u8::from(healthy.right)),
        healthy.steps as f64,
        healthy.minutes,
        healthy.minutes + healthy.set_up_minutes,
        later(&minutes, written),
    ]
}

/// Splits a line of `figures.csv` into procedure, bike and order, and the figures.
fn split(line: &str) -> Option<(&str, &str)> {
    let (at, _) = line.match_indices(',').nth(2)?;
    Some((&line[..at], &line[at + 1..]))
}

fn digest_of_inputs() -> String {
    let text = std::fs::read_to_string(root().join("tests/frozen/inputs.txt")).expect("tests/frozen/inputs.txt");
    Sha256::digest(text.replace("\r\n", "\n").as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect()
}

fn main() -> ExitCode {
    let library = Library::load(&root().join("procedures/faults/ignition.yaml")).expect("the library loads");
    let only = std::env::args().nth(1).filter(|one| one != "freeze");
    let freeze = std::env::args().any(|one| one == "freeze");
    let file = root().join("tests/frozen/figures.csv");
    let then = std::fs::read_to_string(&file).unwrap_or_default();
    let then: BTreeMap<&str, &str> = then.lines().filter_map(split).collect();
    let mut text = format!("# inputs {}\nprocedure,bike,order,{}\n", digest_of_inputs(), COLUMNS.join(","));
    let mut changed = 0;
    for procedure in yaml_in("procedures").iter().filter(|file| only.as_ref().is_none_or(|only| name(file) == *only)) {
        for bike in yaml_in("procedures/bikes") {
            let mut written = Minutes::new();
            for (order, best) in [("written", false), ("best", true)] {
                let Some(proof) = proved(procedure, &bike, &library, best) else { continue };
                if !best {
                    written = minutes_of(&proof);
                }
                let key = format!("{},{},{order}", name(procedure), name(&bike));
                let now = figures(&proof, &written);
                let line = now.iter().map(|value| format!("{value:.4}")).collect::<Vec<_>>().join(",");
                println!("{key}");
                if then.get(&*key) != Some(&&*line) {
                    changed += 1;
                    let old = then.get(&*key).map_or(vec!["-"; COLUMNS.len()], |old| old.split(',').collect());
                    for ((column, old), new) in
                        COLUMNS.iter().zip(old).zip(line.split(',')).filter(|((_, o), n)| o != n)
                    {
                        println!("  {column}: frozen {old}, today {new}");
                    }
                }
                text += &format!("{key},{line}\n");
            }
        }
    }
    println!("{changed} lines differ from what was frozen.");
    if freeze {
        std::fs::write(&file, text).expect("the figures are written");
    }
    ExitCode::SUCCESS
}
