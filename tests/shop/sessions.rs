//! Invented sessions as a walk leaves them: a bike, a person, a cause, a drop and a battery's voltage; to be made longer, altered and broken.

use probeside::phrase::{Reading, ReadingKind};
use probeside::session::{Digest, Folder, Header, Job, Journal, Now, Record, Remark, sha256_hex};
use probeside::units::{Quantity, Unit};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

/// What a session is about.
#[derive(Debug, Clone)]
pub struct Made {
    pub bike: String,
    pub person: String,
    pub cause: String,
    /// `2026-11-25`
    pub day: String,
    /// Volts lost in the key switch, in the order they were read; good up to 0.18.
    pub drops: Vec<f64>,
    /// Volts of the battery at rest; good from 12.4.
    pub rest: Option<f64>,
}

impl Default for Made {
    fn default() -> Self {
        Made {
            bike: "Borage Twin".into(),
            person: "Marta Quill".into(),
            cause: "The key switch loses 0.7 volts: it conducts badly.".into(),
            day: "2026-11-25".into(),
            drops: vec![0.7],
            rest: Some(12.6),
        }
    }
}

fn read(number: u32, name: &str, round: Option<&str>, value: f64, low: Option<f64>, high: Option<f64>) -> Record {
    let bad = low.is_some_and(|low| value < low) || high.is_some_and(|high| value > high);
    Record::Read {
        step: name.replace('_', "-"),
        round: round.map(str::to_owned),
        number,
        name: name.into(),
        quantity: Quantity::Voltage,
        reading: Reading { kind: ReadingKind::Plain, value, unit: Unit::Volt, said_unit: None },
        unit: Unit::Volt,
        band: None,
        verdict: if bad { "bad" } else { "good" }.into(),
        low,
        high,
        source: "common practice, no source".into(),
        words: "as said".into(),
        confidence: 0.98,
        confirmed: false,
        amends: None,
        clip: None,
    }
}

impl Made {
    /// Whether a reading of this name is out of its limits.
    pub fn out(&self, name: &str) -> bool {
        let drop = self.drops.iter().any(|drop| *drop > 0.18);
        let rest = self.rest.is_some_and(|rest| rest < 12.4);
        match name {
            "any" => drop || rest,
            name => drop && "part_drop".contains(name) || rest && "rest_voltage".contains(name),
        }
    }

    /// Writes it, finished, into a new folder under `into`.
    pub fn write(&self, into: &Path, name: &str) -> PathBuf {
        let folder = into.join(name);
        let at = |second: u64| Now {
            mono_ms: second * 1000,
            wall: format!("{}T10:{:02}:{:02}.000+01:00", self.day, second / 60, second % 60),
        };
        let job = Job {
            bike: self.bike.clone(),
            mileage: "23450 km".into(),
            complaint: "Dies when warm.".into(),
            person: self.person.clone(),
            ..Job::default()
        };
        // The settings make two sessions of one moment differ.
        let header = Header::new(format!("{}T100000-{name}", self.day), job, json!({"name": name}));
        let copy = ("procedure/invented.yaml".to_owned(), b"invented: 1\n".to_vec());
        let storage = Folder::create(&folder).unwrap();
        let mut journal = Journal::create(Box::new(storage), header, vec![copy], &at(0)).unwrap();
        let mut number: u32 = 0;
        let mut put = |journal: &mut Journal, record: Record| {
            number += 1;
            journal.record(&record, &at(u64::from(number))).unwrap();
        };
        for (n, drop) in (1..).zip(&self.drops) {
            put(&mut journal, read(n, "part_drop", Some("key"), *drop, None, Some(0.18)));
        }
        if let Some(rest) = self.rest {
            put(&mut journal, read(1_000, "rest_voltage", None, rest, Some(12.4), None));
        }
        let last = Record::Concluded {
            not_ruled_out: Vec::new(),
            procedure: "no-spark".into(),
            conclusion: "part-resistive".into(),
            round: Some("key".into()),
            cause: self.cause.clone(),
            remedy: "Clean the switch's contacts or replace it.".into(),
            rules_out: vec![],
            not_tested: vec![],
            recheck: vec![],
            put_back: vec![],
            last: true,
        };
        put(&mut journal, last);
        journal.finish(&at(u64::from(number) + 1)).unwrap();
        folder
    }
}

/// Takes a session up again, adds a remark and ends it again.
pub fn go_on(folder: &Path, text: &str) {
    let mut opened = Journal::open(Box::new(Folder::at(folder))).unwrap();
    let now = opened.clock.now();
    opened.journal.remark(&Remark { by: "Ida Fenn".into(), text: text.into(), about: None }, &now).unwrap();
    opened.journal.finish(&now).unwrap();
}

/// Copies a session's folder.
pub fn copied(from: &Path, to: &Path) -> PathBuf {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        if entry.path().is_dir() {
            copied(&entry.path(), &target);
        } else {
            std::fs::copy(entry.path(), target).unwrap();
        }
    }
    to.to_owned()
}

/// A folder whose chain holds, whatever stands in it: a stranger may write what he likes and hash it rightly.
pub fn forged(folder: &Path, entries: &[(&str, Value)], wall: &str) {
    std::fs::create_dir_all(folder).unwrap();
    let (mut prev, mut out) = ("0".repeat(64), Vec::new());
    for (seq, (kind, body)) in entries.iter().enumerate() {
        let line =
            json!({"seq": seq, "mono_ms": seq, "wall": wall, "kind": kind, "body": body, "prev": prev}).to_string();
        prev = sha256_hex(line.as_bytes());
        out.extend(line.into_bytes());
        out.push(b'\n');
    }
    std::fs::write(folder.join("journal.jsonl"), out).unwrap();
    if entries.last().is_some_and(|(kind, _)| *kind == "end") {
        let digest = Digest::new(entries.len() as u64 - 1, &prev);
        std::fs::write(folder.join("digest.json"), serde_json::to_vec_pretty(&digest).unwrap()).unwrap();
    }
}

/// The header of a forged session.
pub fn header(bike: &str, files: Value) -> (&'static str, Value) {
    let job =
        json!({"bike": bike, "mileage": "", "complaint": "", "temperature_c": null, "instruments": [], "person": ""});
    ("header", json!({"format": 1, "program": "probeside 0.1.0", "session": "forged", "job": job, "files": files}))
}
