//! The shipped stories and every shipped procedure by sound: a healthy and a faulty walk from `tests/scenarios`, told as stories to
//! `probeside demo`. Answers are synthesised, recognised by the real recogniser, walked and journalled faster than real time. The record
//! must contain the scenario's ending. `PROBESIDE_WALKS=all` walks every scenario that consists only of a table,
//! `PROBESIDE_WALKS=NAME,NAME` the named ones.

#[path = "support/by_sound.rs"]
mod by_sound;
mod support;

use by_sound::{TableStory, walk_all};
use probeside::session::Record;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use support::stage::{Stage, world};
use support::under::Under;

/// `all` for every scenario that can be told as a story, or the names of some.
const WALKS: &str = "PROBESIDE_WALKS";
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

fn scenarios() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/scenarios")
}

/// `None` if the scenario has lines that run in order.
fn told(file: &Path) -> Option<TableStory> {
    let text = std::fs::read_to_string(file).expect("a scenario");
    let mut answers: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let mut head: BTreeMap<&str, &str> = BTreeMap::new();
    // What stands in a table for what the bike shows is left out; the mechanic answers it.
    for line in text.lines().map(str::trim).filter(|line| !line.is_empty() && !line.starts_with('#')) {
        if let Some((place, answer)) = line.strip_prefix("at ").and_then(|rest| rest.split_once(": ")) {
            answers.entry(place.to_owned()).or_default().push(answer.to_owned());
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
    let name = file.file_stem().expect("a name").to_string_lossy().into_owned();
    let best = head.get("order") == Some(&"best");
    let under: Option<Vec<&str>> = head.get("under").map(|names| names.split(", ").collect());
    let of = (head["procedure"], head["bike"]);
    Some(TableStory::new(&name, title, of, best, under.as_deref(), &answers, head["ends"]))
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
        at_most: None,
    }));
    let shipped = |told: &&TableStory| SHIPPED.iter().any(|(name, _)| *name == told.name);
    let named = std::env::var(WALKS).unwrap_or_default();
    let wanted = |told: &&TableStory| match named.as_str() {
        "" => CHOSEN.contains(&told.name.as_str()) || shipped(told),
        "all" => true,
        names => names.split(',').any(|name| name == told.name),
    };
    walk_all(stories.iter().filter(wanted));
}

/// Walks in best order: bike and fault. Twelve parts of two bikes, and both bikes sound.
const BEST: [(&str, &str); 20] = [
    ("fennel-single", "nothing"),
    ("fennel-single", "cap-open:cap-single"),
    ("fennel-single", "fuse-blown:fuse"),
    ("fennel-single", "key-open"),
    ("fennel-single", "points-oily:points-single@20"),
    ("fennel-single", "points-burnt:points-single@20"),
    ("fennel-single", "points-closed-up:points-single"),
    ("fennel-single", "condenser-open:condenser-single"),
    ("fennel-single", "battery-terminal-open:battery.ground to frame"),
    ("fennel-single", "battery-sulphated@10"),
    ("borage-twin", "nothing"),
    ("borage-twin", "plug-fouled:plug-left"),
    ("borage-twin", "plug-fouled:plug-right"),
    ("borage-twin", "cap-open:cap-right"),
    ("borage-twin", "points-oily:points-left@20"),
    ("borage-twin", "points-welded:points-right"),
    ("borage-twin", "condenser-shorted:condenser-left"),
    ("borage-twin", "key-open"),
    ("borage-twin", "coil-primary-open:coil-left"),
    ("borage-twin", "battery-open"),
];
/// So many of them, the first, are walked without `PROBESIDE_WALKS`.
const BEST_BY_DEFAULT: usize = 3;
/// More questions than the same walk typed may a walk by sound not ask.
const MORE_BY_SOUND: usize = 2;

/// Each ends where the same walk ends typed, and asks hardly more questions.
#[test]
fn the_best_order_is_walked_by_sound() {
    let all = std::env::var(WALKS).is_ok_and(|named| named == "all" || named == "best");
    if !all && std::env::var_os(WALKS).is_some() {
        return;
    }
    let wanted = if all { BEST.len() } else { BEST_BY_DEFAULT };
    let mut stories = Vec::new();
    for (bike, fault) in &BEST[..wanted] {
        let world = world("no-spark", bike);
        let mut under = Under::of(&world, fault);
        let mut stage = Stage::in_best_order(world.clone(), Stage::ordering(&world));
        while stage.finished.is_none() {
            let asks = stage.walker.is_asking();
            let answer = if stage.walker.is_guarding() {
                "power is off".to_owned()
            } else {
                asks.then(|| under.words(&stage.walker)).flatten().unwrap_or_else(|| "ready".to_owned())
            };
            stage.answer(&answer);
        }
        let (id, round) = stage.conclusion().expect("a conclusion");
        let ends = round.map_or(id.clone(), |round| format!("{id} {round}"));
        let asked = stage.records.iter().filter(|record| matches!(record, Record::Entered { .. })).count();
        let faults: Vec<&str> = Some(*fault).filter(|fault| *fault != "nothing").into_iter().collect();
        let name = format!("{bike} {fault}");
        let mut told = TableStory::new(
            &name,
            "it died on the road",
            ("no-spark", bike),
            true,
            Some(&faults),
            &BTreeMap::new(),
            &ends,
        );
        told.at_most = Some(asked + MORE_BY_SOUND);
        stories.push(told);
    }
    walk_all(stories.iter());
}
