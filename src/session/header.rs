//! The content of entries other than records: the header with the job, spoken words, clips, repairs, remarks.

use serde::{Deserialize, Serialize};

/// Version of the journal's format, in every header. Readers reject a higher one.
pub const FORMAT: u32 = 1;

/// The job: the bike, the complaint, the people and the tools. Text that was not given is empty.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct JobDetails {
    /// The bike's name.
    pub bike: String,
    /// The job's number in the shop, or the bike's registration.
    pub number: String,
    /// The odometer reading with its unit, as the user gave it: `23450 km`.
    pub mileage: String,
    /// The customer's complaint.
    pub complaint: String,
    /// Air temperature in the workshop, degrees Celsius.
    pub temperature_c: Option<f64>,
    /// The lamp, meter and tester used.
    pub instruments: Vec<String>,
    /// The person who answers.
    pub person: String,
}

/// A copy in the session's folder.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct StoredCopy {
    /// Its name in the folder: `procedure/no-spark.yaml`, `bike/borage.yaml`, `vocabulary/en.yaml`. The subfolder tells its kind.
    pub name: String,
    /// SHA-256 of its bytes, hexadecimal.
    pub sha256: String,
    /// Its length in bytes.
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
    pub job: JobDetails,
    /// Copies of procedures, bike and vocabulary.
    pub files: Vec<StoredCopy>,
    /// Further data that resuming needs: command-line options, in the driver's own form.
    #[serde(default)]
    pub settings: serde_json::Value,
}

impl Header {
    /// A header without copies. [`super::Journal::create`] adds them.
    pub fn new(session: impl Into<String>, job: JobDetails, settings: serde_json::Value) -> Self {
        let program = concat!(env!("CARGO_PKG_NAME"), " ", env!("CARGO_PKG_VERSION")).to_owned();
        Header { format: FORMAT, program, session: session.into(), job, files: Vec::new(), settings }
    }

    /// The copies in one subfolder: `procedure`, `bike`, `vocabulary`.
    pub fn copies<'a>(&'a self, folder: &'a str) -> impl Iterator<Item = &'a StoredCopy> {
        self.files.iter().filter(move |copy| copy.name.split_once('/').is_some_and(|(first, _)| first == folder))
    }
}

/// A name for a session's folder: the wall time without characters that file systems reject, and the bike's name.
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

/// A session's unique name in an archive: [`folder_name`] and six random letters, because two walks on bikes of the same kind may start
/// within the same second.
pub fn session_id(wall: &str, bike: &str) -> String {
    const LETTERS: usize = 6;
    let drawn: String = std::iter::repeat_with(fastrand::lowercase).take(LETTERS).collect();
    format!("{}-{drawn}", folder_name(wall, bike))
}

/// Words that were spoken or heard, for the transcript. Times are [`super::Now::mono_ms`].
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Spoken {
    /// Id of the prompt or of the utterance.
    pub id: u64,
    /// The words.
    pub text: String,
    /// Start, milliseconds since the session started.
    pub began_ms: u64,
    /// End.
    pub ended_ms: u64,
    /// Whether it was cut short.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub cut: bool,
    /// The clip with its audio.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clip: Option<String>,
}

/// An audio clip. It is announced with its hash, then stored under `clips/`, then recorded as stored.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Clip {
    /// Its id, as used in records.
    pub id: String,
    /// Its file in the folder.
    pub file: String,
    /// SHA-256 of the file's bytes.
    pub sha256: String,
    /// Length in samples, at 16 kHz, mono, 16 bits.
    pub samples: u64,
    /// Session time of the first sample, milliseconds, if it is a piece of the whole session's audio.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub began_ms: Option<u64>,
}

/// The bytes cut off when opening a journal whose last write was incomplete.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Repair {
    /// Number of bytes cut off.
    pub bytes: u64,
    /// The line they started at, from 1.
    pub line: u64,
    /// What was wrong.
    pub why: String,
    /// The file in the folder that preserves them.
    pub file: String,
    /// SHA-256 of these bytes.
    pub sha256: String,
}

impl Repair {
    /// The sentence for the user.
    pub fn sentence(&self) -> String {
        format!(
            "The last write before the interruption was cut short: {} bytes from line {} on were set aside in {}; every line before is whole.",
            self.bytes, self.line, self.file
        )
    }
}

/// Audio that was removed on request. The hashes of the clips stay in the journal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Forgotten {
    /// Who removed it.
    pub by: String,
    /// Why.
    pub why: String,
    /// The clips' files.
    pub clips: Vec<String>,
}

/// A remark that is not part of the walk. It never changes existing entries.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Remark {
    /// The author. The program signs with its own name.
    pub by: String,
    /// The text.
    pub text: String,
    /// The line it refers to, by `seq`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub about: Option<u64>,
}

impl Remark {
    /// A remark by the program.
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
