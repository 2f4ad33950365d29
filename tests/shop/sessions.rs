//! Sessions as a walk leaves them: an invented bike, a person, a cause, a voltage drop and a battery's voltage. Tests lengthen, alter and
//! break them.

use crate::disk::Disk;
use crate::rebuilt::rebuilt;
use crate::walked::Walk;
use probeside::session::{
    DIGEST_FILE, Folder, Header, JOURNAL_FILE, JobDetails, Journal, Kind, Now, Record, Remark, StoredCopy,
};
use serde_json::Value;
use std::io::BufRead;
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

/// A number as it is said, digit by digit.
fn said(value: f64) -> String {
    const DIGITS: [&str; 10] = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"];
    let word = |c: char| c.to_digit(10).map_or("point", |digit| DIGITS[digit as usize]);
    value.to_string().chars().map(word).collect::<Vec<_>>().join(" ")
}

/// The first record of a walk that `wanted` takes, as the journal has it: for a stranger to alter.
pub fn record(wanted: impl Fn(&Record) -> bool) -> Value {
    let records = Made::default().walk("s").stage.records;
    serde_json::to_value(records.iter().find(|record| wanted(record)).expect("the walk has one")).unwrap()
}

impl Made {
    /// Whether a reading of this name is out of its limits.
    pub fn out(&self, name: &str) -> bool {
        let drop = self.drops.iter().any(|drop| *drop >= 0.18);
        let rest = self.rest.is_some_and(|rest| rest < 12.4);
        match name {
            "any" => drop || rest,
            name => drop && "part_drop".contains(name) || rest && "rest_voltage".contains(name),
        }
    }

    /// Walks it to its end; the session's id ends with `name`.
    fn walk(&self, name: &str) -> Walk {
        let job = JobDetails {
            bike: self.bike.clone(),
            mileage: "23450 km".into(),
            complaint: "Dies when warm.".into(),
            person: self.person.clone(),
            ..JobDetails::default()
        };
        let mut walk = Walk::begin_at(job, &format!("{}T10:00:00", self.day), name, &self.cause);
        for (at, drop) in self.drops.iter().enumerate() {
            walk.say(if at == 0 { "only the key switch" } else { "once more" }).say(&said(*drop));
        }
        if let Some(rest) = self.rest {
            walk.say("measure the battery").say(&said(rest));
        }
        walk.say("finish here").ready();
        walk
    }

    /// Writes it, finished, into a new folder under `into`.
    pub fn write(&self, into: &Path, name: &str) -> PathBuf {
        let folder = into.join(name);
        self.walk(name).finish(Folder::create(&folder).unwrap());
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

/// A header with a stranger's bike and copies.
pub fn header(bike: &str, files: Vec<StoredCopy>) -> Header {
    let job = JobDetails { bike: bike.into(), ..JobDetails::default() };
    Header { files, ..Header::new("forged", job, Value::Null) }
}

/// An entry of a kind that no version of the program writes is written as this one, and renamed.
const RENAMED: Kind = Kind::Note;

/// A stranger's session in a new folder: the journal's own writer writes whatever stands in it, so its chain holds. An entry of kind `end`
/// ends it.
pub fn forged(folder: &Path, header: Header, entries: &[(&str, Value)], wall: &str) {
    let (disk, now) = (Disk::new(), Now { mono_ms: 0, wall: wall.into() });
    let mut journal = Journal::create(Box::new(disk.folder()), header, Vec::new(), &now).unwrap();
    let mut unknown = Vec::new();
    for (kind, body) in entries {
        match Kind::named(kind) {
            Some(Kind::End) => drop(journal.finish(&now).unwrap()),
            Some(kind) => drop(journal.append(kind, body, &now).unwrap()),
            None => unknown.push((journal.append(RENAMED, body, &now).unwrap(), *kind)),
        }
    }
    let ended = disk.contents(DIGEST_FILE).is_some();
    let (mut journal, mut digest) =
        (disk.contents(JOURNAL_FILE).unwrap(), disk.contents(DIGEST_FILE).unwrap_or_default());
    if !unknown.is_empty() {
        let mut lines: Vec<Value> = journal.lines().map(|line| serde_json::from_str(&line.unwrap()).unwrap()).collect();
        unknown.into_iter().for_each(|(at, kind)| lines[at as usize]["kind"] = kind.into());
        let altered: String = lines.iter().map(|line| format!("{line}\n")).collect();
        let (rebuilt, its_digest) = rebuilt(altered.as_bytes());
        (journal, digest) = (rebuilt, serde_json::to_vec_pretty(&its_digest).unwrap());
    }
    std::fs::create_dir_all(folder).unwrap();
    std::fs::write(folder.join(JOURNAL_FILE), journal).unwrap();
    if ended {
        std::fs::write(folder.join(DIGEST_FILE), digest).unwrap();
    }
}
