//! The parts of the README that are generated from the procedures: the table (each procedure with each bike, as `probeside check` sees it)
//! and the page of cautions. `PROBESIDE_BLESS=1 cargo test --test content` writes both. Otherwise the test requires them to be up to date.

#[path = "support/shipped_files.rs"]
mod shipped_files;

use probeside::procedure::{self, Procedure, SignalWord, Target};
use shipped_files::{name, readme_with, root, write_readme, yaml_in};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::process::Command;

/// If set, the README is written instead of compared.
const BLESS: &str = "PROBESIDE_BLESS";

fn load(file: &Path) -> Procedure {
    procedure::load(file).unwrap_or_else(|found| panic!("{}: {} findings", file.display(), found.len()))
}

/// The findings of `probeside check` for every procedure with one bike: errors and warnings by procedure, and whether it applies.
fn checked(files: &[PathBuf], bike: &Path) -> BTreeMap<String, (usize, usize, bool)> {
    let out = Command::new(env!("CARGO_BIN_EXE_probeside"))
        .args(["check", "--json", "--bike"])
        .arg(bike)
        .args(files)
        .output()
        .expect("the program starts");
    let json: serde_json::Value = serde_json::from_slice(&out.stdout).expect("check prints JSON");
    let mut found: BTreeMap<String, (usize, usize, bool)> =
        files.iter().map(|file| (name(file), (0, 0, true))).collect();
    for finding in json["findings"].as_array().expect("findings") {
        let file = name(Path::new(finding["file"].as_str().expect("a file")));
        let (errors, warnings, applies) = found.get_mut(&file).expect("a procedure that was checked");
        match (finding["severity"].as_str(), finding["check"].as_str()) {
            (_, Some("not-tried")) => *applies = false,
            // Another bike may unplug what this one does not. That is checked over all bikes together.
            (Some("warning"), Some("nothing-to-undo")) => {}
            // A conclusion may mean a fault that only other bikes can have.
            (Some("error"), Some("unknown-fault")) => {}
            (Some("error"), _) => *errors += 1,
            _ => *warnings += 1,
        }
    }
    found
}

/// The first sentence of the comment at the top of a file.
fn about(file: &Path) -> String {
    let text = std::fs::read_to_string(file).expect("a procedure");
    let head = text.lines().map_while(|line| line.strip_prefix('#')).map(str::trim).collect::<Vec<_>>().join(" ");
    let head = head.split_inclusive(". ").next().unwrap_or_default().trim().trim_end_matches('.').to_owned();
    head.replace('|', "/")
}

fn calls(procedure: &Procedure) -> BTreeSet<String> {
    let of = |target: &&Target| match target {
        Target::Call { procedure, .. } => Some(procedure.value.clone()),
        _ => None,
    };
    procedure.targets().iter().filter_map(of).collect()
}

fn table() -> (String, Vec<String>) {
    let (files, bikes) = (yaml_in("procedures"), yaml_in("procedures/bikes"));
    let by_bike: Vec<_> = std::thread::scope(|scope| {
        let running: Vec<_> = bikes.iter().map(|bike| scope.spawn(|| checked(&files, bike))).collect();
        running.into_iter().map(|thread| thread.join().expect("the check ends")).collect()
    });
    let mut text = String::from("| procedure | what it is | steps | conclusions | calls |");
    let mut under = String::from("\n| --- | --- | --- | --- | --- |");
    for bike in &bikes {
        let _ = write!(text, " {} |", name(bike));
        under += " --- |";
    }
    text += &under;
    let mut unsound = Vec::new();
    for file in &files {
        let (procedure, id) = (load(file), name(file));
        let calls = calls(&procedure).into_iter().collect::<Vec<_>>().join(", ");
        let (steps, conclusions) = (procedure.steps.len(), procedure.conclusions.len());
        let _ = write!(text, "\n| `{id}` | {} | {steps} | {conclusions} | {calls} |", about(file));
        for (bike, found) in bikes.iter().zip(&by_bike) {
            let (errors, warnings, applies) = found[&id];
            let cell = match (applies, errors, warnings) {
                (false, ..) => "–".to_owned(),
                (true, 0, 0) => "sound".to_owned(),
                (true, errors, warnings) => {
                    unsound.push(format!("{id} with {}: {errors} errors, {warnings} warnings", name(bike)));
                    format!("{errors} errors, {warnings} warnings")
                }
            };
            let _ = write!(text, " {cell} |");
        }
    }
    (text, unsound)
}

/// Every caution of every procedure, most severe first. Identical words are listed once, with the procedures that use them.
fn cautions() -> String {
    let mut all: BTreeMap<(SignalWord, String, String), BTreeSet<String>> = BTreeMap::new();
    for file in yaml_in("procedures") {
        for caution in load(&file).cautions {
            let hazards = caution.hazards.iter().map(|h| h.name()).collect::<Vec<_>>().join(", ");
            all.entry((caution.signal, hazards, caution.say.value)).or_default().insert(name(&file));
        }
    }
    let mut text = String::from("| | about | what is said | in |\n| --- | --- | --- | --- |");
    for ((signal, hazards, say), files) in all {
        let files = files.into_iter().map(|file| format!("`{file}`")).collect::<Vec<_>>().join(", ");
        let _ = write!(text, "\n| **{}** | {hazards} | {say} | {files} |", signal.name());
    }
    text
}

/// Compares the part of the README between two markers with `text`, or writes it.
fn readme(part: &str, text: &str) {
    let (all, before) = readme_with(part, text);
    if before == *text {
        return;
    }
    assert!(
        std::env::var_os(BLESS).is_some(),
        "the README's {part} are out of date: {BLESS}=1 cargo test --test content\n{text}"
    );
    write_readme(&all);
}

/// A single test, because both parts are in the same file.
#[test]
fn the_readme_says_what_the_procedures_are() {
    let (text, unsound) = table();
    println!("{text}");
    assert!(unsound.is_empty(), "{}", unsound.join("\n"));
    readme("procedures", &text);
    readme("cautions", &cautions());
}

#[test]
fn a_caution_of_one_name_says_the_same_everywhere() {
    let mut known: BTreeMap<String, (String, String)> = BTreeMap::new();
    for file in yaml_in("procedures") {
        for caution in load(&file).cautions {
            let words = format!("{} {} ({})", caution.signal.name(), caution.say.value, caution.brief.value);
            let (first, where_) = known.entry(caution.id.value.clone()).or_insert((words.clone(), name(&file)));
            assert_eq!(*first, words, "the caution {} in {where_} and in {}", caution.id.value, name(&file));
        }
    }
}

#[test]
fn every_procedure_has_a_healthy_and_a_faulty_scenario() {
    let mut endings: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for entry in std::fs::read_dir(root().join("tests/scenarios")).expect("scenarios") {
        let text = std::fs::read_to_string(entry.expect("an entry").path()).expect("a scenario");
        let field = |key: &str| text.lines().find_map(|line| line.strip_prefix(key)).map(str::trim).unwrap_or_default();
        let ending = field("ends:").split(' ').next().unwrap_or_default().to_owned();
        endings.entry(field("procedure:").to_owned()).or_default().insert(ending);
    }
    let called: BTreeSet<String> = yaml_in("procedures").iter().flat_map(|file| calls(&load(file))).collect();
    for file in yaml_in("procedures") {
        let id = name(&file);
        let walked = endings.get(&id).map_or(0, BTreeSet::len);
        // A procedure that is only a part of others is walked as part of them.
        let only_a_part = called.contains(&id) && load(&file).conclusions.iter().all(|c| c.is_final);
        assert!(walked >= 2 || only_a_part, "{id}: {walked} different endings are walked in tests/scenarios");
    }
}
