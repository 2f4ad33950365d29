//! Every shipped procedure by sound: a healthy and a faulty walk of `tests/scenarios`, told as stories to `probeside demo`. Answers are
//! synthesised, heard by the real recogniser, walked and journalled faster than real time; the record must hold the scenario's
//! ending. `PROBESIDE_WALKS=all` walks every scenario that is only a table.

use serde_json::json;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Instant;

/// When set to `all`, every scenario that can be told as a story is walked.
const WALKS: &str = "PROBESIDE_WALKS";
/// When set, a machine without the model or the voice fails the test instead of leaving it out.
const MUST: &str = "PROBESIDE_MUST";
/// Exit code of a machine that lacks something.
const LACKS: i32 = 3;
/// The walks that are always made: short ones, one healthy and one faulty for each procedure.
const CHOSEN: [&str; 26] = [
    "battery-feed-good",
    "battery-feed-key-lossy",
    "blown-fuse-headstock",
    "blown-fuse-once",
    "charging-good",
    "charging-over",
    "closing-checks-good",
    "closing-checks-runs-on",
    "coil-bench-primary-high",
    "coil-bench-single-good",
    "condenser-leaks",
    "condenser-good",
    "dynamic-timing-advancer",
    "dynamic-timing-good",
    "ground-path-engine",
    "ground-path-good",
    "no-power-back",
    "no-power-key-switch",
    "plug-leaks",
    "plug-single-good",
    "points-burnt",
    "points-single-good",
    "static-timing-good",
    "static-timing-points-first",
    "weak-spark-not-caught",
    "weak-spark-shaken",
];

/// A scenario that is only a table: what the demo's invented mechanic is told, and how it must end.
struct Told {
    name: String,
    story: String,
    ends: Vec<String>,
}

fn scenarios() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/scenarios")
}

/// None where the scenario has lines that run in order.
fn told(file: &Path) -> Option<Told> {
    let text = std::fs::read_to_string(file).expect("a scenario");
    let mut answers: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    let mut head: BTreeMap<&str, &str> = BTreeMap::new();
    for line in text.lines().map(str::trim).filter(|line| !line.is_empty() && !line.starts_with('#')) {
        if let Some((place, answer)) = line.strip_prefix("at ").and_then(|rest| rest.split_once(": ")) {
            answers.entry(place).or_default().push(answer);
        } else if let Some((key, value)) = line.split_once(": ") {
            if ["they say", "> it says", "silence", "time passes", "restart after"].contains(&key) {
                return None;
            }
            head.insert(key, value);
        } else {
            return None;
        }
    }
    let title = text.lines().next().unwrap_or_default().trim_start_matches(['#', ' ']);
    let story = json!({
        "story": title, "procedure": head["procedure"], "bike": head["bike"], "complaint": title, "mileage": "23450 km",
        "temperature": 18.0, "instruments": ["test lamp", "digital meter"], "person": "Marta Quill", "voice": "en-us",
        "answers": answers,
    });
    let ends = head["ends"].split(' ').map(str::to_owned).collect();
    let name = file.file_stem().expect("a name").to_string_lossy().into_owned();
    Some(Told { name, story: story.to_string(), ends })
}

/// Walks one by sound; false where the machine lacks the model or the voice.
fn walk(told: &Told) -> Result<bool, String> {
    let folder = tempfile::tempdir().expect("a folder");
    let (story, session) = (folder.path().join("story.yaml"), folder.path().join("session"));
    std::fs::write(&story, &told.story).expect("the story is written");
    let run = |args: &[&std::ffi::OsStr]| {
        Command::new(env!("CARGO_BIN_EXE_probeside")).args(args).output().expect("the program starts")
    };
    let out = run(&["demo".as_ref(), "--story".as_ref(), story.as_ref(), "--into".as_ref(), session.as_ref()]);
    let said = format!("{}{}", String::from_utf8_lossy(&out.stdout), String::from_utf8_lossy(&out.stderr));
    if out.status.code() == Some(LACKS) && std::env::var_os(MUST).is_none() {
        eprintln!("left out: {said}");
        return Ok(false);
    }
    let review = run(&["review".as_ref(), session.as_ref(), "--json".as_ref()]);
    let review: serde_json::Value = serde_json::from_slice(&review.stdout).map_err(|e| format!("{e}\n{said}"))?;
    let conclusion = &review["conclusion"];
    let got: Vec<&str> = ["id", "round"].iter().filter_map(|key| conclusion[key].as_str()).collect();
    let right = out.status.success() && got[..told.ends.len().min(got.len())] == told.ends[..];
    if right { Ok(true) } else { Err(format!("{}: ended {got:?}, not {:?}\n{said}", told.name, told.ends)) }
}

#[test]
fn every_procedure_is_walked_by_sound() {
    let all = std::env::var(WALKS).is_ok_and(|value| value == "all");
    let mut files: Vec<PathBuf> =
        std::fs::read_dir(scenarios()).expect("scenarios").map(|entry| entry.expect("an entry").path()).collect();
    files.sort();
    let stories: Vec<Told> = files.iter().filter_map(|file| told(file)).collect();
    for name in CHOSEN {
        assert!(stories.iter().any(|told| told.name == name), "no scenario {name} that is only a table");
    }
    let began = Instant::now();
    let mut failed = Vec::new();
    let mut walked = 0;
    for told in stories.iter().filter(|told| all || CHOSEN.contains(&told.name.as_str())) {
        match walk(told) {
            Ok(true) => walked += 1,
            Ok(false) => return,
            Err(why) => failed.push(why),
        }
    }
    println!("{walked} walks by sound in {:.0} s", began.elapsed().as_secs_f64());
    assert!(failed.is_empty(), "{} of {} failed:\n{}", failed.len(), walked + failed.len(), failed.join("\n\n"));
}
