//! What entries other than records hold: the header with the job, spoken words, clips, repairs, remarks.

use serde::{Deserialize, Serialize};

/// Version of the journal's format, in every header. A reader refuses a higher one.
pub const FORMAT: u32 = 1;

/// The job: which bike, why it came, who is at it with what. Empty text where it was not said.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Job {
    /// The bike's name.
    pub bike: String,
    /// The odometer, as said, with its unit: `23450 km`.
    pub mileage: String,
    /// What the customer complains of.
    pub complaint: String,
    /// Air temperature in the workshop, degrees Celsius.
    pub temperature_c: Option<f64>,
    /// Lamp, meter, tester used.
    pub instruments: Vec<String>,
    /// Who answers.
    pub person: String,
}

/// A copy kept in the session's folder.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct StoredCopy {
    /// Its name in the folder: `procedure/no-spark.yaml`, `bike/borage.yaml`, `vocabulary/en.yaml`. The folder says what it is.
    pub name: String,
    /// SHA-256 of its bytes, hexadecimal.
    pub sha256: String,
    /// Its length.
    pub bytes: u64,
}

/// The first line of a journal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Header {
    /// Version of the format, [`FORMAT`].
    pub format: u32,
    /// Name and version of the program.
    pub program: String,
    /// The session's id.
    pub session: String,
    /// The job.
    pub job: Job,
    /// Copies of procedures, bike and vocabulary.
    pub files: Vec<StoredCopy>,
    /// Anything else the walk needs to be taken up again: options of the command line, as the driver likes.
    #[serde(default)]
    pub settings: serde_json::Value,
}

impl Header {
    /// A header without copies; [`super::Journal::create`] adds them.
    pub fn new(session: impl Into<String>, job: Job, settings: serde_json::Value) -> Self {
        let program = concat!(env!("CARGO_PKG_NAME"), " ", env!("CARGO_PKG_VERSION")).to_owned();
        Header { format: FORMAT, program, session: session.into(), job, files: Vec::new(), settings }
    }

    /// The copies in one folder: `procedure`, `bike`, `vocabulary`.
    pub fn copies<'a>(&'a self, folder: &'a str) -> impl Iterator<Item = &'a StoredCopy> {
        self.files.iter().filter(move |copy| copy.name.split_once('/').is_some_and(|(first, _)| first == folder))
    }
}

/// A name for a session's folder: the wall time without what file systems dislike, and the bike's name.
///
/// ```
/// let name = probeside::session::folder_name("2026-11-25T10:14:03.120+01:00", "Borage Twin");
/// assert_eq!(name, "2026-11-25T101403-borage-twin");
/// ```
pub fn folder_name(wall: &str, bike: &str) -> String {
    const SECONDS: usize = "2026-11-25T10:14:03".len();
    let time: String = wall.chars().take(SECONDS).filter(|c| c.is_ascii_alphanumeric() || *c == '-').collect();
    let words = bike.to_lowercase();
    let words: Vec<&str> = words.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty()).take(6).collect();
    if words.is_empty() { time } else { format!("{time}-{}", words.join("-")) }
}

/// A session's own name, by which an archive tells it from every other: [`folder_name`] and six drawn letters, since two walks beside two bikes
/// of one kind may begin within the same second.
pub fn session_id(wall: &str, bike: &str) -> String {
    const LETTERS: usize = 6;
    let drawn: String = std::iter::repeat_with(fastrand::lowercase).take(LETTERS).collect();
    format!("{}-{drawn}", folder_name(wall, bike))
}

/// Words that were said or heard, for the transcript. Times are [`super::Now::mono_ms`].
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Spoken {
    /// Id of the prompt or of the utterance.
    pub id: u64,
    /// The words.
    pub text: String,
    /// Begin, milliseconds since the session began.
    pub began_ms: u64,
    /// End.
    pub ended_ms: u64,
    /// It was cut short.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub cut: bool,
    /// The clip that holds its sound.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clip: Option<String>,
}

/// A clip of sound: announced with its hash, then stored under `clips/`, then entered as stored.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Clip {
    /// Its id, as records name it.
    pub id: String,
    /// Its file in the folder.
    pub file: String,
    /// SHA-256 of the file's bytes.
    pub sha256: String,
    /// Samples, at 16 kHz, one channel, 16 bits.
    pub samples: u64,
    /// Session time of the first sample, milliseconds, where it is a piece of the whole session's sound.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub began_ms: Option<u64>,
}

/// What was cut off on opening a journal whose last write was cut short.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Repair {
    /// Bytes cut off.
    pub bytes: u64,
    /// The line they began at, from 1.
    pub line: u64,
    /// What was wrong.
    pub why: String,
    /// The file in the folder that keeps them.
    pub file: String,
    /// SHA-256 of these bytes.
    pub sha256: String,
}

impl Repair {
    /// The sentence for the person.
    pub fn sentence(&self) -> String {
        format!(
            "The last write before the interruption was cut short: {} bytes from line {} on were set aside in {}; every line before is whole.",
            self.bytes, self.line, self.file
        )
    }
}

/// Sound that was removed at somebody's wish. The hashes of the clips stay in the journal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Forgotten {
    /// Who removed it.
    pub by: String,
    /// Why.
    pub why: String,
    /// The clips' files.
    pub clips: Vec<String>,
}

/// A remark that is not part of the walk. It never alters what is there.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Remark {
    /// Who remarks; the program's name for its own.
    pub by: String,
    /// What.
    pub text: String,
    /// The line it is about, by `seq`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub about: Option<u64>,
}

impl Remark {
    /// A remark of the program's own.
    pub fn own(text: impl Into<String>) -> Self {
        Remark { by: env!("CARGO_PKG_NAME").to_owned(), text: text.into(), about: None }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn walks_that_begin_in_the_same_second_have_names_of_their_own() {
        let names: std::collections::BTreeSet<String> =
            (0..100).map(|_| session_id("2026-11-25T10:14:03.120+01:00", "Borage Twin")).collect();
        assert_eq!(names.len(), 100);
        assert!(names.iter().all(|name| name.starts_with("2026-11-25T101403-borage-twin-")), "{names:?}");
    }
}
