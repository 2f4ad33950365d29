//! A real session, written by the program in a typed walk, and the ways to damage a copy of it.
//!
//! A line of its journal is named by its number, from 1, by `last`, or by its kind and its number within that kind: `header`, `heard#2`. A
//! record is named by what it records: `read#1`.

use super::fuzz::rebuilt::rebuilt;
use super::make::{bytes, root};
use super::table::Step;
use serde_json::Value;
use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::LazyLock;

/// What is typed to a line that has these words; where there are several, in turn, the last one for ever.
const ANSWERS: [(&str, &[&str]); 9] = [
    ("Say I am ready", &["ready"]),
    ("Ready?", &["ready"]),
    ("Close the fuel tap.", &["ready"]),
    ("What does the battery read?", &["twelve point six"]),
    ("Turn it slowly.", &["correct that", "on and off"]),
    ("What should it be?", &["twelve point seven"]),
    ("Is the connector back together?", &["ready"]),
    ("Spark, or nothing?", &["spark"]),
    ("Tell me what you saw.", &["it fired twice"]),
];

/// The walk, and the folder it left.
static WALKED: LazyLock<tempfile::TempDir> = LazyLock::new(|| {
    let around = tempfile::tempdir().expect("a folder");
    let [procedure, bike] = ["tests/sound/small.yaml", "tests/sound/twin.yaml"].map(|name| root().join(name));
    let mut child = Command::new(env!("CARGO_BIN_EXE_probeside"))
        .arg("walk")
        .arg(procedure)
        .arg("--bike")
        .arg(bike)
        .arg("--into")
        .arg(around.path().join("session"))
        .args(["--hear", "typed", "--say", "printed", "--faults", "none"])
        .args(["--complaint", "No spark when hot.", "--person", "Ada Quill"])
        .env("PROBESIDE_PROCEDURES", root().join("procedures"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::inherit())
        .spawn()
        .expect("the program starts");
    let mut to = child.stdin.take().expect("a pipe");
    let (mut said, mut turns) = (String::new(), [0; ANSWERS.len()]);
    for line in BufReader::new(child.stdout.take().expect("a pipe")).lines().map_while(Result::ok) {
        said += &format!("{line}\n");
        if let Some(at) = ANSWERS.iter().position(|(asked, _)| line.contains(asked)) {
            let answers = ANSWERS[at].1;
            // Where it ended meanwhile, its exit tells.
            let _ = writeln!(to, "{}", answers[turns[at].min(answers.len() - 1)]);
            turns[at] += 1;
        }
        assert!(turns.iter().sum::<usize>() < 60, "the walk goes in a circle: {said}");
    }
    drop(to);
    assert!(
        child.wait().expect("it ends").success(),
        "the walk of which all records are made did not end well: {said}"
    );
    let journal = fs::read_to_string(around.path().join("session/journal.jsonl")).expect("a journal");
    for needed in ["\"record\":\"read\"", "\"amends\":1", "\"record\":\"concluded\"", "\"kind\":\"end\""] {
        assert!(journal.contains(needed), "the walk left no {needed}: {said}");
    }
    around
});

fn copied(from: &Path, to: &Path) -> std::io::Result<()> {
    fs::create_dir_all(to)?;
    for entry in fs::read_dir(from)? {
        let (path, name) = entry.map(|entry| (entry.path(), entry.file_name()))?;
        if path.is_dir() { copied(&path, &to.join(name))? } else { fs::copy(path, to.join(name)).map(drop)? }
    }
    Ok(())
}

/// A copy of the session.
pub fn session(to: &Path) -> Result<(), String> {
    copied(&WALKED.path().join("session"), to).map_err(|error| error.to_string())
}

/// A journal's lines, each with its end.
struct Lines {
    file: PathBuf,
    all: Vec<Vec<u8>>,
}

impl Lines {
    fn of(session: &Path) -> Result<Self, String> {
        let file = session.join("journal.jsonl");
        let bytes = fs::read(&file).map_err(|error| error.to_string())?;
        Ok(Self { file, all: bytes.split_inclusive(|b| *b == b'\n').map(<[u8]>::to_vec).collect() })
    }

    fn value(&self, at: usize) -> Value {
        serde_json::from_slice(&self.all[at]).unwrap_or_default()
    }

    /// Where the line with this name is, from 0.
    fn at(&self, name: &str) -> Result<usize, String> {
        if name == "last" {
            return self.all.len().checked_sub(1).ok_or_else(|| "no line".to_owned());
        }
        if let Ok(number) = name.parse::<usize>() {
            return number.checked_sub(1).filter(|at| *at <= self.all.len()).ok_or_else(|| format!("no line {name}"));
        }
        let (kind, which) = name.split_once('#').unwrap_or((name, "1"));
        let which: usize = which.parse().map_err(|_| format!("{name} names no line"))?;
        let is = |at: &usize| {
            let line = self.value(*at);
            line["kind"] == kind || line["kind"] == "record" && line["body"]["record"] == kind
        };
        (0..self.all.len()).filter(is).nth(which - 1).ok_or_else(|| format!("no line {name}"))
    }

    fn keep(self) -> Result<(), String> {
        fs::write(&self.file, self.all.concat()).map_err(|error| error.to_string())
    }

    /// Numbers and hashes made right again, as somebody would who alters a journal on purpose; the digest's file too.
    fn chain(&mut self, session: &Path) -> Result<(), String> {
        let (journal, digest) = rebuilt(&self.all.concat());
        self.all = journal.split_inclusive(|b| *b == b'\n').map(<[u8]>::to_vec).collect();
        let text = serde_json::to_vec_pretty(&digest).map_err(|error| error.to_string())?;
        fs::write(session.join("digest.json"), text).map_err(|error| error.to_string())
    }
}

/// Damages a session.
pub fn damage(verb: &str, session: &Path, words: &[&str], step: &Step, under: Vec<u8>) -> Result<(), String> {
    let mut lines = Lines::of(session)?;
    match (verb, words) {
        // A line less, twice, or in another's place.
        ("drop", [line]) => drop(lines.all.remove(lines.at(line)?)),
        ("twice", [line]) => {
            let at = lines.at(line)?;
            lines.all.insert(at, lines.all[at].clone());
        }
        ("swap", [one, other]) => {
            let (one, other) = (lines.at(one)?, lines.at(other)?);
            lines.all.swap(one, other);
        }
        // Text of a line: `- ` what stands in it, `+ ` what takes its place.
        ("text", [line]) => {
            let at = lines.at(line)?;
            for pair in step.under.chunks(2) {
                let [('-', old), ('+', new)] = pair else { return Err("- and + come in pairs".to_owned()) };
                let text = String::from_utf8_lossy(&lines.all[at]).into_owned();
                if !text.contains(old.as_str()) {
                    return Err(format!("{old:?} does not stand in {text}"));
                }
                let (before, after) = text.split_once(old.as_str()).unwrap_or_default();
                lines.all[at] = [before.as_bytes(), &bytes(new)?, after.as_bytes()].concat();
            }
        }
        // A field of a line, by its JSON pointer, and its new value: `set S read#1 /body/number 1e999`.
        ("set", [line, pointer, ..]) => {
            let at = lines.at(line)?;
            let given = step.rest.splitn(4, ' ').nth(3).ok_or("a value")?;
            let mark = "\u{1}here\u{1}";
            let mut value = lines.value(at);
            *value.pointer_mut(pointer).ok_or_else(|| format!("no {pointer} in {}", lines.value(at)))? = mark.into();
            let marked = serde_json::to_string(mark).map_err(|error| error.to_string())?;
            let text = value.to_string();
            let (before, after) = text.split_once(&marked).ok_or("the field is lost")?;
            lines.all[at] = [before.as_bytes(), &bytes(given)?, after.as_bytes(), b"\n"].concat();
        }
        // Lines put in before one; `end` is after all.
        ("put", [line]) => {
            let at = if *line == "end" { lines.all.len() } else { lines.at(line)? };
            lines.all.insert(at, under);
        }
        // A line of so many times a text.
        ("heap", [line, times, text]) => {
            let at = if *line == "end" { lines.all.len() } else { lines.at(line)? };
            let times = times.replace('_', "").parse().map_err(|_| "how often?")?;
            lines.all.insert(at, [bytes(text)?.repeat(times), b"\n".to_vec()].concat());
        }
        // A byte of a line: its place and its value.
        ("byte", [line, place, hex]) => {
            let at = lines.at(line)?;
            let place: usize = place.parse().map_err(|_| "which byte?")?;
            *lines.all[at].get_mut(place).ok_or("beyond the line")? =
                u8::from_str_radix(hex, 16).map_err(|e| e.to_string())?;
        }
        // A whole line of one byte.
        ("blank", [line, hex]) => {
            let at = lines.at(line)?;
            let byte = u8::from_str_radix(hex, 16).map_err(|error| error.to_string())?;
            lines.all[at].fill(byte);
        }
        // So many bytes off the end; everything from a line on.
        ("torn", [less]) => {
            let less: usize = less.parse().map_err(|_| "how many bytes?")?;
            let all = lines.all.concat();
            lines.all = vec![all[..all.len() - less].to_vec()];
        }
        ("short", [line]) => {
            let at = lines.at(line)?;
            lines.all.truncate(at);
        }
        // All lines' ends as another system writes them.
        ("crlf", []) => lines.all.iter_mut().for_each(|line| drop(line.splice(line.len() - 1.., *b"\r\n"))),
        ("chain", []) => lines.chain(session)?,
        _ => return Err("no such verb".to_owned()),
    }
    lines.keep()
}
