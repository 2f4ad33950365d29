//! Malicious files and folders, each with the sentence that answers it. The cases are tables in `tests/hostile/*.txt`, written for people:
//! how a case is made, one step per line (`tests/hostile/make.rs` has the verbs), what runs on it, the exit code and the output.
//!
//! Each case runs in the real program, or in one of the library's entry points, in a process of its own with little memory and a deadline.
//! `PROBESIDE_BLESS=1 cargo test --test hostile` writes the present output into the tables: read it before committing it.
//! `PROBESIDE_STORY=WORDS` runs only the cases with these words in their names.
#![cfg(all(unix, feature = "shop"))]

#[path = "hostile/doors.rs"]
mod doors;
#[path = "fuzz/doors.rs"]
mod fuzz;
#[path = "hostile/make.rs"]
mod make;
#[path = "hostile/outcome.rs"]
mod outcome;
#[path = "hostile/record.rs"]
mod record;
#[path = "hostile/sound.rs"]
mod sound;
#[path = "hostile/table.rs"]
mod table;

use outcome::Outcome;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use table::{Case, Table};

/// Fewest cases. A lower number means that a table was lost.
const LEAST: usize = 200;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/hostile")
}

/// Runs a case in its own folder.
fn run(case: &Case) -> Result<Outcome, String> {
    let around = tempfile::tempdir().map_err(|error| error.to_string())?;
    let here = around.path().join("here");
    std::fs::create_dir(&here).map_err(|error| error.to_string())?;
    for step in &case.steps {
        make::make(&here, step).map_err(|why| format!("{}: {why}", step.words.join(" ")))?;
    }
    let mut last = None;
    for command in &case.run {
        last = Some(outcome::run(&here, around.path(), command)?);
    }
    last.ok_or_else(|| "the case runs nothing".to_owned())
}

/// Runs these cases, two at a time, and returns the outcomes in order.
fn run_all(cases: &[&Case]) -> Vec<Result<Outcome, String>> {
    let (next, done) = (AtomicUsize::new(0), Mutex::new(Vec::new()));
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(2, |n| n.get().min(8)) {
            scope.spawn(|| {
                while let Some(case) = cases.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let at = cases.iter().position(|other| std::ptr::eq(*other, *case)).unwrap();
                    let outcome = run(case);
                    done.lock().unwrap().push((at, outcome));
                }
            });
        }
    });
    let mut done = done.into_inner().unwrap();
    done.sort_by_key(|(at, _)| *at);
    done.into_iter().map(|(_, outcome)| outcome).collect()
}

#[test]
fn every_hostile_input_gets_its_sentence() {
    let tables = Table::all(&folder());
    let bless = std::env::var_os("PROBESIDE_BLESS").is_some();
    let only = std::env::var("PROBESIDE_STORY").unwrap_or_default();
    let all: Vec<&Case> = tables.iter().flat_map(|table| &table.cases).collect();
    assert!(all.len() >= LEAST, "only {} cases", all.len());
    let mut names: Vec<&str> = all.iter().map(|case| case.name.as_str()).collect();
    names.sort_unstable();
    assert!(names.windows(2).all(|two| two[0] != two[1]), "a name stands twice");
    let asked = |case: &&Case| case.name.contains(&only);
    let cases: Vec<&Case> = all.into_iter().filter(asked).collect();
    let outcomes = run_all(&cases);
    let (mut wrong, mut new) = (Vec::new(), Vec::new());
    for (case, outcome) in cases.iter().zip(outcomes) {
        let fault = match &outcome {
            Err(why) => Some(format!("cannot be run: {why}")),
            Ok(outcome) => outcome.fault(case),
        };
        match (fault, outcome) {
            (Some(_), Ok(outcome)) if bless && outcome.harm().is_none() => {
                new.push((case.name.clone(), outcome));
            }
            (Some(fault), _) => wrong.push(format!("{} ({}): {fault}", case.name, case.file)),
            (None, _) => {}
        }
    }
    eprintln!("{} cases", cases.len());
    for (name, outcome) in new {
        tables.iter().for_each(|table| table.bless(&name, &outcome));
    }
    assert!(wrong.is_empty(), "{} of {}:\n{}", wrong.len(), cases.len(), wrong.join("\n"));
}

/// Inputs found by the fuzz targets, and as many random ones (`PROBESIDE_SEED`), at the same entry points.
#[test]
fn what_was_found_by_fuzzing_does_no_harm_any_more() {
    let around = tempfile::tempdir().unwrap();
    std::fs::create_dir(around.path().join("here")).unwrap();
    // A clip is the encoder's output for a tone. It is binary, so it is created here if it is missing.
    let tone = make::root().join("tests/fuzz/found/flac/seed-tone");
    if !tone.exists() {
        sound::clip(&tone, 400).unwrap();
    }
    for (target, _) in fuzz::DOORS {
        let outcome = outcome::run(&around.path().join("here"), around.path(), &format!("found {target}")).unwrap();
        assert!(outcome.exit == Some(0) && outcome.harm().is_none(), "{target}: {outcome:#?}");
        eprintln!("{target}: {}", outcome.lines.last().map_or("", String::as_str));
    }
}

/// Runs one of the library's entry points in a process of its own: [`outcome::run`] starts this test binary again for it.
#[test]
fn a_door_that_was_asked_for() {
    if let Some(door) = std::env::var_os(outcome::DOOR) {
        doors::open(&door.to_string_lossy());
    }
}
