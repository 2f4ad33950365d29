//! Proves every shipped procedure on every shipped bike, as the README's table. `cargo run --release --example proofs` prints it, `--
//! write` inserts it between the README's markers. The columns `check` and `rehearse` come from the program in the same folder (`cargo
//! build` it in the same profile first). A rehearsal takes minutes to hours: only `-- rehearse` runs those without a report in
//! `target/rehearsals`, where reports stay until somebody deletes them.

#[path = "../support/shipped_files.rs"]
mod shipped_files;

use probeside::circuit::faults::Library;
use probeside::diagnose::{CircuitObserver, Proof, Verdict, Wanted, prove};
use probeside::run::load;
use serde_json::Value;
use shipped_files::{name, readme_with, root, write_readme, yaml_in};
use std::ffi::OsStr;
use std::fmt::Write;
use std::path::Path;
use std::process::{Command, ExitCode, Output, Stdio};
use std::sync::Arc;

/// `None` if the procedure does not apply to the bike.
fn proved(procedure: &Path, bike: &Path, library: &Library) -> Option<Result<Proof, String>> {
    let words = root().join("procedures/vocabulary/en.yaml");
    let world = match load::world(procedure, bike, &words) {
        Ok(loaded) => Arc::new(loaded.world),
        Err(all) if all.iter().all(|finding| finding.check == "does-not-apply") => return None,
        Err(all) => return Some(Err(all.iter().map(ToString::to_string).collect())),
    };
    let faults = match library.for_bike_in(&world.bike, &world.vocabulary) {
        Ok(faults) => faults,
        Err(all) => return Some(Err(all.iter().map(ToString::to_string).collect())),
    };
    let observer = CircuitObserver::new(&world.bike, library, &faults);
    let proved = prove(&world, &faults, &observer, Wanted::default(), &|_, _, _| ());
    Some(proved.map(|proved| proved.proof).map_err(|why| why.to_string()))
}

/// The table's entry for one proof: for how many of the faults it covers the right cause is named, and that share by likelihood.
fn cell(proof: &Proof) -> String {
    let all = proof.faults.iter().filter(|f| f.counts).count();
    let found = proof.faults.iter().filter(|f| f.counts && f.verdict == Verdict::Right).count();
    let wrong = proof.faults.iter().filter(|f| f.verdict == Verdict::Wrong || f.removes_sound).count();
    let mut text = match all {
        0 => "·".to_owned(),
        _ => format!("{found} of {all}, {:.0} %", proof.by_likelihood.right_cause_rate * 100.0),
    };
    if wrong > 0 {
        let _ = write!(text, ", {wrong} wrong");
    }
    if !proof.healthy.right {
        text += ", healthy bike wrong";
    }
    text
}

/// Whether it is among the arguments.
fn asked_for(what: &str) -> bool {
    std::env::args().skip(1).any(|argument| argument == what)
}

/// The output of the program in the same folder.
fn printed(arguments: &[&OsStr]) -> Option<Output> {
    let program = std::env::current_exe().ok()?.parent()?.parent()?.join("probeside");
    Command::new(program).args(arguments).stderr(Stdio::inherit()).output().ok()
}

/// The result of `probeside rehearse --quick` for a procedure on the first bike that it applies to: ambiguous pairs, and lines accepted
/// correctly.
fn rehearsed(procedure: &Path) -> String {
    let kept = root().join("target/rehearsals").join(format!("{}.json", name(procedure)));
    if !kept.exists() && asked_for("rehearse") {
        let wanted = ["rehearse".as_ref(), procedure.as_os_str(), "--quick".as_ref(), "--json".as_ref()];
        // Exit code 1 is a report too: it found ambiguous pairs.
        let out = printed(&wanted).filter(|out| matches!(out.status.code(), Some(0 | 1)) && !out.stdout.is_empty());
        let Some(out) = out else { return "not run".to_owned() };
        std::fs::create_dir_all(kept.parent().expect("a folder")).expect("a folder for rehearsals");
        std::fs::write(&kept, out.stdout).expect("a rehearsal is kept");
    }
    let Ok(text) = std::fs::read_to_string(&kept) else { return "not run".to_owned() };
    let report: Value = serde_json::from_str(&text).unwrap_or_else(|why| panic!("{}: {why}", kept.display()));
    let pairs = report["pairs"].as_array().expect("pairs").iter().filter(|p| p["ambiguous"] == true);
    for pair in pairs.clone() {
        eprintln!("  {}: {} is heard as {}", name(procedure), pair["said"], pair["heard"]);
    }
    let levels = report["levels"].as_array().expect("levels");
    let of = |what: &str| levels.iter().filter_map(|l| l[what].as_u64()).sum::<u64>();
    let pairs = match pairs.count() {
        0 => "no pair".to_owned(),
        1 => "1 pair".to_owned(),
        many => format!("{many} pairs"),
    };
    format!("{pairs}, {} of {}", of("right"), of("trials"))
}

/// The result of `probeside check` for a procedure with all bikes.
fn checked(procedure: &Path) -> String {
    match printed(&["check".as_ref(), procedure.as_os_str()]) {
        None => "not run".to_owned(),
        Some(out) => {
            let last = String::from_utf8_lossy(&out.stdout).lines().last().unwrap_or_default().to_owned();
            last.rsplit(": ").next().unwrap_or_default().to_owned()
        }
    }
}

fn main() -> ExitCode {
    let library = Library::load(&root().join("procedures/faults/ignition.yaml")).expect("the library loads");
    let bikes = yaml_in("procedures/bikes");
    let mut text = String::from("| procedure | check | rehearse |");
    let mut under = String::from("\n| --- | --- | --- |");
    for bike in &bikes {
        let _ = write!(text, " {} |", name(bike));
        under += " --- |";
    }
    text += &under;
    let mut sound = true;
    for procedure in yaml_in("procedures") {
        eprintln!("{}", name(&procedure));
        let _ = write!(text, "\n| `{}` | {} | {} |", name(&procedure), checked(&procedure), rehearsed(&procedure));
        for bike in &bikes {
            let cell = match proved(&procedure, bike, &library) {
                None => "–".to_owned(),
                Some(Err(why)) => {
                    eprintln!("{} on {}: {why}", name(&procedure), name(bike));
                    sound = false;
                    "not proved".to_owned()
                }
                Some(Ok(proof)) => {
                    sound &= proof.holds();
                    for one in proof.faults.iter().filter(|f| f.verdict == Verdict::Wrong || (f.counts && !f.detected))
                    {
                        let by = &one.decided_by;
                        eprintln!("  {}: {} is {:?}: {} ({by})", name(bike), one.fault, one.verdict, one.conclusion);
                    }
                    cell(&proof)
                }
            };
            let _ = write!(text, " {cell} |");
        }
    }
    println!("{text}");
    if asked_for("write") {
        write_readme(&readme_with("proofs", &text).0);
    }
    if sound { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
