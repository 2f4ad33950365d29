//! Every file in `tests/scenarios` is a walk that reads like a story and runs as a test. `DEVELOPERS.md` documents the format.

mod support;

use probeside::diagnose::Adviser;
use probeside::walk::PhaseKind;
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::path::Path;
use support::stage::{Stage, world};
use support::under::{AS_IT_IS, Under};

/// In a table: here the lines that run in order come.
const SEE_BELOW: &str = "see below";
/// More answers than this mean that a table of answers goes in a circle.
const MOST_ANSWERS: usize = 400;

thread_local! {
    /// Advisers by bike, and by whether they choose the order of no-spark, too.
    static ADVISERS: RefCell<BTreeMap<String, Adviser>> = const { RefCell::new(BTreeMap::new()) };
}

fn minutes_or_seconds(text: &str) -> u64 {
    let (number, unit) = text.trim().split_once(' ').unwrap_or((text.trim(), "s"));
    let number: f64 = number.parse().unwrap_or_else(|_| panic!("not a time: {text}"));
    (number
        * match unit {
            "s" => 1e3,
            "min" => 6e4,
            "h" => 3.6e6,
            _ => panic!("not a unit of time: {unit}"),
        }) as u64
}

fn words_occur(words: &str, said: &str) -> bool {
    let said = said.to_lowercase();
    words.split_whitespace().all(|w| said.contains(&w.trim_matches(|c: char| ".,:;".contains(c)).to_lowercase()))
}

fn run(file: &Path) {
    let text = std::fs::read_to_string(file).unwrap();
    let mut header = BTreeMap::new();
    let mut table: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let mut expected: BTreeMap<String, String> = BTreeMap::new();
    let mut script = Vec::new();
    for (number, line) in text.lines().enumerate() {
        let line = line.trim();
        if line.is_empty() || line.starts_with('#') || line.starts_with("```") {
            continue;
        }
        if let Some(rest) = line.strip_prefix("at ") {
            let (place, answer) =
                rest.split_once(':').unwrap_or_else(|| panic!("{}:{}: at PLACE: ANSWER", file.display(), number + 1));
            table.entry(place.trim().to_owned()).or_default().push(answer.trim().to_owned());
        } else if let Some(rest) = line.strip_prefix("expect at ") {
            let (place, words) = rest.split_once(':').expect("expect at PLACE: WORDS");
            expected.insert(place.trim().to_owned(), words.trim().to_owned());
        } else if ["> it says:", "they say:", "silence:", "time passes:", "restart"].iter().any(|p| line.starts_with(p))
        {
            script.push(line.to_owned());
        } else if let Some((key, value)) = line.split_once(':') {
            header.insert(key.trim().to_owned(), value.trim().to_owned());
        } else {
            panic!("{}:{}: not understood: {line}", file.display(), number + 1);
        }
    }
    let world = world(&header["procedure"], &header["bike"]);
    let mut under = header.get("under").map(|faults| Under::of(&world, faults));
    // An adviser's calculations for a bike are reused in the next story with it.
    let best = header.get("order").is_some_and(|order| order == "best");
    let adviser_of = format!("{}{}", header["bike"], if best { " best" } else { "" });
    let pool = || ADVISERS.with_borrow_mut(|all| all.remove(&adviser_of));
    let mut stage = match header.contains_key("advice").then(pool) {
        _ if best => {
            let adviser = pool().unwrap_or_else(|| Stage::ordering(&world));
            Stage::in_best_order(world, adviser)
        }
        None => Stage::new(world),
        Some(None) => Stage::advised(world),
        Some(Some(adviser)) => Stage::advised_by(world, adviser),
    };
    let mut script = script.into_iter();
    let by_hand = header.get("cautions").is_some_and(|v| v == "by hand");
    let mut answers = 0;
    let mut asked: BTreeMap<String, usize> = BTreeMap::new();
    while stage.finished.is_none() {
        answers += 1;
        assert!(answers < MOST_ANSWERS, "{}: goes in a circle at {:?}", file.display(), stage.walker.place());
        let (step, round) = stage.walker.place();
        let place = round.map_or(step.to_owned(), |r| format!("{step} {r}"));
        let step = step.to_owned();
        let waits_for_ready = stage.listen.as_ref().is_some_and(|l| {
            l.grammar.number.is_none() && l.grammar.phrases.iter().any(|p| p.answer == probeside::phrase::Answer::Done)
        });
        let own_answer = table.get(&place).or_else(|| table.get(&step));
        let open = stage.walker.is_asking();
        let expects = if expected.contains_key(&place) { place.clone() } else { step.clone() };
        if let Some(words) = expected.get(&expects).filter(|_| open) {
            let said = stage.said_since();
            assert!(words_occur(words, &said), "{}: at {place} expected {words:?} in:\n{said}", file.display());
            expected.remove(&expects);
        }
        if stage.walker.is_guarding() && !by_hand {
            stage.answer("power is off");
            continue;
        }
        if waits_for_ready
            && !by_hand
            && stage.would_be("ready").is_some()
            && !(own_answer.is_some() && is_step_ask(&stage))
        {
            stage.answer("ready");
            continue;
        }
        let as_it_is = if open { under.as_mut().and_then(|under| under.words(&stage.walker)) } else { None };
        let told = own_answer.is_some_and(|all| all == &[SEE_BELOW]) && !script.as_slice().is_empty();
        if let Some(all) = own_answer.filter(|_| !told) {
            let n = asked.entry(place.clone()).or_default();
            let answer = all.get(*n).or(all.last()).expect("a table has an answer").clone();
            *n += 1;
            match as_it_is.as_ref() {
                Some(as_it_is) if [AS_IT_IS, SEE_BELOW].contains(&answer.as_str()) => stage.answer(as_it_is),
                _ => stage.answer(&answer),
            }
            continue;
        }
        if let Some(answer) = as_it_is.filter(|_| !told) {
            stage.answer(&answer);
            continue;
        }
        let Some(line) = script.next() else {
            panic!("{}: no answer for {place}; said since:\n{}", file.display(), stage.said_since());
        };
        if let Some(words) = line.strip_prefix("> it says:") {
            let said = stage.said_since();
            assert!(words_occur(words, &said), "{}: expected {words:?} at {place} in:\n{said}", file.display());
        } else if let Some(words) = line.strip_prefix("they say:") {
            stage.answer(words.trim());
        } else if let Some(time) = line.strip_prefix("silence:") {
            stage.mark = stage.said.len();
            stage.silence(minutes_or_seconds(time));
        } else if let Some(time) = line.strip_prefix("time passes:") {
            stage.now_ms += minutes_or_seconds(time);
        } else {
            stage.mark = stage.said.len();
            stage.restart(line.strip_prefix("restart after:").map_or(5_000, minutes_or_seconds));
        }
    }
    for line in script {
        if let Some(words) = line.strip_prefix("> it says:") {
            let said = stage.said_since();
            assert!(words_occur(words, &said), "{}: expected {words:?} at the end in:\n{said}", file.display());
        } else {
            panic!("{}: the walk was over before: {line}", file.display());
        }
    }
    let ends = header["ends"].split_whitespace().map(str::to_owned).collect::<Vec<_>>();
    match stage.conclusion() {
        Some((id, round)) => {
            let got: Vec<String> = [Some(id), round].into_iter().flatten().collect();
            assert_eq!(got[..ends.len().min(got.len())], ends[..], "{}", file.display());
        }
        None => assert_eq!(ends, ["none"], "{}: no conclusion: {:?}", file.display(), stage.finished),
    }
    assert!(expected.is_empty(), "{}: never reached: {expected:?}", file.display());
    if let Some(adviser) = stage.adviser.take() {
        ADVISERS.with_borrow_mut(|all| all.insert(adviser_of, adviser));
    }
}

/// The open listen belongs to the step's own "done" question or to what is told of it, not to a caution before it.
fn is_step_ask(stage: &Stage) -> bool {
    stage.walker.is_asking() || stage.walker.phase() == PhaseKind::Undoing
}

#[test]
fn every_scenario() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/scenarios");
    let mut files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
    files.retain(|f| f.extension().is_some_and(|e| e == "md"));
    files.sort();
    if let Ok(only) = std::env::var("PROBESIDE_STORY") {
        files.retain(|f| f.to_string_lossy().contains(&only));
    }
    let mut failed = Vec::new();
    for file in &files {
        if let Err(why) = std::panic::catch_unwind(|| run(file)) {
            let why = why.downcast_ref::<String>().cloned().unwrap_or_default();
            failed.push(format!("{}: {why}", file.file_name().unwrap().to_string_lossy()));
        }
    }
    println!("{} scenarios", files.len());
    assert!(files.len() >= 18 || std::env::var_os("PROBESIDE_STORY").is_some(), "{} scenarios", files.len());
    assert!(failed.is_empty(), "{} failed:\n{}", failed.len(), failed.join("\n"));
}
