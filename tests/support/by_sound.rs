//! Walks by sound: a table of answers, told as a story to `probeside demo`. Answers are synthesised, recognised by the real recogniser, walked
//! and journalled faster than real time; the record must contain the required ending.

use probeside::session::JOURNAL_FILE;
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::path::Path;
use std::process::Command;
use std::sync::Mutex;
use std::time::Instant;

/// If set, a machine without the model or the voice fails the test instead of skipping it.
const MUST: &str = "PROBESIDE_MUST";
/// Walks at a time. Each keeps about one core busy.
const AT_ONCE: usize = 2;
/// Exit code of a machine that lacks something.
const LACKS: i32 = 3;

/// The instructions for the demo's invented mechanic, and the required ending.
pub struct TableStory {
    pub name: String,
    pub story: String,
    /// The conclusion, and its round.
    pub ends: Vec<String>,
    /// Most questions that the walk may ask, if that is limited.
    pub at_most: Option<usize>,
}

impl TableStory {
    /// A story with these answers, by step or step and round; in the order given.
    pub fn new(
        name: &str,
        title: &str,
        (procedure, bike): (&str, &str),
        best_order: bool,
        under: Option<&[&str]>,
        answers: &BTreeMap<String, Vec<String>>,
        ends: &str,
    ) -> Self {
        let story = json!({
            "story": title, "procedure": procedure, "bike": bike, "complaint": title, "mileage": "23450 km",
            "temperature": 18.0, "instruments": ["test lamp", "digital meter"], "person": "Marta Quill", "voice": "en-us",
            "best-order": best_order, "under": under, "answers": answers,
        });
        let ends = ends.split(' ').map(str::to_owned).collect();
        Self { name: name.to_owned(), story: story.to_string(), ends, at_most: None }
    }

    /// Walks it by sound. Returns the number of answers; `None` if the machine lacks the model or the voice.
    fn walk(&self) -> Result<Option<u64>, String> {
        let began = Instant::now();
        let folder = tempfile::tempdir().expect("a folder");
        let (story, session) = (folder.path().join("story.yaml"), folder.path().join("session"));
        std::fs::write(&story, &self.story).expect("the story is written");
        let run = |args: &[&OsStr]| {
            Command::new(env!("CARGO_BIN_EXE_probeside")).args(args).output().expect("the program starts")
        };
        let out = run(&["demo".as_ref(), "--story".as_ref(), story.as_ref(), "--into".as_ref(), session.as_ref()]);
        let said = format!("{}{}", String::from_utf8_lossy(&out.stdout), String::from_utf8_lossy(&out.stderr));
        if out.status.code() == Some(LACKS) && std::env::var_os(MUST).is_none() {
            eprintln!("left out: {said}");
            return Ok(None);
        }
        let review = run(&["review".as_ref(), session.as_ref(), "--json".as_ref()]);
        let review: Value = serde_json::from_slice(&review.stdout).map_err(|e| format!("{e}\n{said}"))?;
        let conclusion = &review["conclusion"];
        let got: Vec<&str> = ["id", "round"].iter().filter_map(|key| conclusion[key].as_str()).collect();
        let right = out.status.success() && got[..self.ends.len().min(got.len())] == self.ends[..];
        let answers = said.lines().find_map(|line| line.split_once(" answers spoken")?.0.parse().ok()).unwrap_or(0);
        let asked = questions_in(&session);
        println!("{}: {answers} answers, {asked} questions, {:.0} s", self.name, began.elapsed().as_secs_f64());
        if !right {
            return Err(format!("{}: ended {got:?}, not {:?}\n{said}", self.name, self.ends));
        }
        match self.at_most.filter(|most| asked > *most) {
            Some(most) => Err(format!("{}: {asked} questions, more than {most}\n{said}", self.name)),
            None => Ok(Some(answers)),
        }
    }
}

/// The questions that a session's journal has.
fn questions_in(session: &Path) -> usize {
    let journal = std::fs::read_to_string(session.join(JOURNAL_FILE)).unwrap_or_default();
    let is_question = |line: &str| {
        let line: Value = serde_json::from_str(line).unwrap_or_default();
        line.pointer("/body/record").is_some_and(|record| record == "entered")
    };
    journal.lines().filter(|line| is_question(line)).count()
}

/// Walks them all; fails with what each that failed said.
pub fn walk_all<'s>(stories: impl Iterator<Item = &'s TableStory> + Send) {
    let began = Instant::now();
    let (queue, results) = (Mutex::new(stories), Mutex::new(Vec::new()));
    std::thread::scope(|scope| {
        for _ in 0..AT_ONCE {
            scope.spawn(|| {
                while let Some(told) = { queue.lock().expect("the queue").next() } {
                    let result = told.walk();
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
