//! The shipped stories and every shipped procedure by sound: a healthy and a faulty walk from `tests/scenarios`, told as stories to
//! `probeside demo`. Answers are synthesised, recognised by the real recogniser, walked and journalled faster than real time. The record
//! must contain the scenario's ending. `PROBESIDE_WALKS=all` walks every scenario that consists only of a table,
//! `PROBESIDE_WALKS=NAME,NAME` the named ones.

use serde_json::json;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Mutex;
use std::time::Instant;

/// `all` for every scenario that can be told as a story, or the names of some.
const WALKS: &str = "PROBESIDE_WALKS";
/// If set, a machine without the model or the voice fails the test instead of skipping it.
const MUST: &str = "PROBESIDE_MUST";
/// Walks at a time. Each keeps about one core busy.
const AT_ONCE: usize = 2;
/// Exit code of a machine that lacks something.
const LACKS: i32 = 3;
/// The walks that always run: for every procedure the short ones with a healthy and with a faulty bike.
const CHOSEN: [&str; 27] = [
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
    "condenser-good",
    "condenser-leaks",
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
    "single-good-spark",
    "static-timing-good",
    "static-timing-points-first",
    "weak-spark-not-caught",
    "weak-spark-shaken",
];

/// The shipped stories, as `probeside demo` tells them, with their endings.
const SHIPPED: [(&str, &[&str]); 2] =
    [("two-dead-sides", &["feed-part-resistive", "key"]), ("dead-left-side", &["points-dirty", "left"])];

/// A scenario that consists only of a table: the instructions for the demo's invented mechanic, and the required ending.
struct TableStory {
    name: String,
    story: String,
    ends: Vec<String>,
}

fn scenarios() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/scenarios")
}

/// `None` if the scenario has lines that run in order.
fn told(file: &Path) -> Option<TableStory> {
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
    Some(TableStory { name, story: story.to_string(), ends })
}

/// Walks one by sound. Returns the number of answers; `None` if the machine lacks the model or the voice.
fn walk(told: &TableStory) -> Result<Option<u64>, String> {
    let began = Instant::now();
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
        return Ok(None);
    }
    let review = run(&["review".as_ref(), session.as_ref(), "--json".as_ref()]);
    let review: serde_json::Value = serde_json::from_slice(&review.stdout).map_err(|e| format!("{e}\n{said}"))?;
    let conclusion = &review["conclusion"];
    let got: Vec<&str> = ["id", "round"].iter().filter_map(|key| conclusion[key].as_str()).collect();
    let right = out.status.success() && got[..told.ends.len().min(got.len())] == told.ends[..];
    let answers = said.lines().find_map(|line| line.split_once(" answers spoken")?.0.parse().ok()).unwrap_or(0);
    println!("{}: {answers} answers, {:.0} s", told.name, began.elapsed().as_secs_f64());
    if right { Ok(Some(answers)) } else { Err(format!("{}: ended {got:?}, not {:?}\n{said}", told.name, told.ends)) }
}

#[test]
fn every_procedure_is_walked_by_sound() {
    let mut files: Vec<PathBuf> =
        std::fs::read_dir(scenarios()).expect("scenarios").map(|entry| entry.expect("an entry").path()).collect();
    files.sort();
    let mut stories: Vec<TableStory> = files.iter().filter_map(|file| told(file)).collect();
    for name in CHOSEN {
        assert!(stories.iter().any(|told| told.name == name), "no scenario {name} that is only a table");
    }
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures/stories");
    stories.extend(SHIPPED.map(|(name, ends)| TableStory {
        name: name.to_owned(),
        story: std::fs::read_to_string(folder.join(name).with_extension("yaml")).expect("a shipped story"),
        ends: ends.iter().map(|end| (*end).to_owned()).collect(),
    }));
    let shipped = |told: &&TableStory| SHIPPED.iter().any(|(name, _)| *name == told.name);
    let began = Instant::now();
    let named = std::env::var(WALKS).unwrap_or_default();
    let wanted = |told: &&TableStory| match named.as_str() {
        "" => CHOSEN.contains(&told.name.as_str()) || shipped(told),
        "all" => true,
        names => names.split(',').any(|name| name == told.name),
    };
    let queue = Mutex::new(stories.iter().filter(wanted));
    let results = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..AT_ONCE {
            scope.spawn(|| {
                while let Some(told) = { queue.lock().expect("the queue").next() } {
                    let result = walk(told);
                    let lacks = result == Ok(None);
                    results.lock().expect("the results").push(result);
                    if lacks {
                        return;
                    }
                }
            });
        }
    });
    let results = results.into_inner().expect("the results");
    let answers: u64 = results.iter().filter_map(|result| *result.as_ref().ok()?).sum();
    println!("{} walks, {answers} answers by sound in {:.0} s", results.len(), began.elapsed().as_secs_f64());
    let failed: Vec<String> = results.into_iter().filter_map(Result::err).collect();
    assert!(failed.is_empty(), "{} failed:\n{}", failed.len(), failed.join("\n\n"));
}
