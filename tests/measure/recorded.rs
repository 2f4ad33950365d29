//! Real people as voices, from public recordings (`tests/measure/people.sh` fetches them): numbers assembled from a speaker's single
//! recorded words.
//!
//! Recordings: the prompts of a telephone exchange in five languages by four professional speakers (Debian's asterisk-core-sounds-*-g722,
//! 16 kHz, CC BY-SA 3.0), one of whom says English numbers; and the Free Spoken Digit Dataset (CC BY-SA 4.0, 8 kHz), digits by three
//! people. Assembled words lack the flow of a spoken number, and professional speakers are clear: this is not a mechanic in a workshop.
#![allow(dead_code)]

use super::noises::extent;
use probeside::hear::{SAMPLE_RATE, read_wav};
use probeside::phrase::Vocabulary;
use std::collections::{BTreeMap, HashMap};
use std::path::PathBuf;
use std::sync::{Arc, Mutex, OnceLock};

/// The speaker of English numbers, by the package's name for her.
pub const SPEAKER: &str = "en_US_f_Allison";
/// Start of "point" in the file that says "exclamation point", in seconds (found by hand: the pause before its p).
const POINT_AT: f32 = 0.98;
/// Gap between two assembled words, in samples.
const BETWEEN: usize = SAMPLE_RATE / 25;

/// A speaker's recordings, by word.
type Words = BTreeMap<String, Vec<Vec<f32>>>;

/// The folder of the recordings, if it exists.
pub fn folder() -> Option<PathBuf> {
    std::env::var_os("PROBESIDE_PEOPLE").map(PathBuf::from).filter(|p| p.is_dir())
}

/// The folder of the digits, if it exists.
pub fn digits_folder() -> Option<PathBuf> {
    let named = std::env::var_os("PROBESIDE_DIGITS").map(PathBuf::from);
    let roots = ["../shared/speech/digits", "../../shared/speech/digits"];
    let beside = roots.iter().map(|r| PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(r));
    named.into_iter().chain(beside).find(|p| p.is_dir())
}

/// Removes the silence at both ends.
fn trimmed(sound: &[f32]) -> Vec<f32> {
    extent(sound).map_or_else(Vec::new, |(first, last)| sound[first..last.min(sound.len())].to_vec())
}

/// A number in words.
pub fn cardinal(n: u64) -> String {
    Vocabulary::english().numbers().cardinal(n)
}

/// The words that the exchange's English speaker recorded.
fn exchange() -> Words {
    let mut out = Words::new();
    let Some(folder) = folder().map(|f| f.join(SPEAKER)) else { return out };
    let mut add = |word: &str, file: String, from: f32| {
        if let Ok(sound) = read_wav(&folder.join(file)) {
            let from = (from * SAMPLE_RATE as f32) as usize;
            out.entry(word.to_owned()).or_default().push(trimmed(&sound[from.min(sound.len())..]));
        }
    };
    for n in (0..20).chain((20..100).step_by(10)) {
        add(&cardinal(n), format!("digits/{n}.wav"), 0.0);
    }
    for word in ["hundred", "thousand", "minus", "oh"] {
        add(word, format!("digits/{word}.wav"), 0.0);
    }
    add("and", "vm-and.wav".into(), 0.0);
    add("point", "letters/exclaimation-point.wav".into(), POINT_AT);
    out
}

/// The digits of one speaker in the dataset.
fn dataset(speaker: &str) -> Words {
    let mut out = Words::new();
    let Some(folder) = digits_folder() else { return out };
    for n in 0..10 {
        let takes = (0..).map_while(|take| read_wav(&folder.join(format!("{n}_{speaker}_{take}.wav"))).ok());
        out.insert(cardinal(n), takes.map(|sound| trimmed(&sound)).collect());
    }
    out.retain(|_, takes| !takes.is_empty());
    out
}

/// A speaker's recordings, read once.
fn words_of(speaker: &'static str) -> Arc<Words> {
    static KNOWN: OnceLock<Mutex<HashMap<&str, Arc<Words>>>> = OnceLock::new();
    let mut known = KNOWN.get_or_init(Mutex::default).lock().expect("no thread fails");
    let read = || Arc::new(if speaker == SPEAKER { exchange() } else { dataset(speaker) });
    Arc::clone(known.entry(speaker).or_insert_with(read))
}

/// Whether there are recordings of a speaker.
pub fn is_there(speaker: &'static str) -> bool {
    !words_of(speaker).is_empty()
}

/// Whether a speaker recorded every word.
pub fn can_say(speaker: &'static str, words: &str) -> bool {
    let known = words_of(speaker);
    words.split(' ').all(|word| known.contains_key(word))
}

/// The words one after another. The text determines which take of each is used.
pub fn say(speaker: &'static str, words: &str) -> Vec<f32> {
    let known = words_of(speaker);
    let mut out = Vec::new();
    for (at, word) in words.split(' ').enumerate() {
        let takes = &known[word];
        let take = words.bytes().fold(at, |sum, b| sum * 31 + usize::from(b)) % takes.len();
        if at > 0 {
            out.resize(out.len() + BETWEEN, 0.0);
        }
        out.extend(&takes[take]);
    }
    out
}
