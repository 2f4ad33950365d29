//! An enrolled voice: one person's takes of phrases, as shapes of the recogniser's frames, and the file that holds them.
//!
//! The file is a line of JSON (name, model, and the words and number of frames of each take), the frames as signed bytes, and the SHA-256 of
//! all that. It never leaves the machine.

use crate::hear::shape::UtteranceShape;
use crate::hear::voice_error::{LONGEST_NAME, VoiceError};
use crate::system::{Links, private, read};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

/// Environment variable that names the folder of voices.
const VOICES_VARIABLE: &str = "PROBESIDE_VOICES";
/// Schema and version in the header.
const SCHEMA: &str = "probeside.voice";
const VERSION: u32 = 1;
const SUM: usize = 32;
/// Limits of a voice file.
const MOST_BYTES: u64 = 256 * 1024 * 1024;
const MOST_TAKES: usize = 20_000;
const MOST_FRAMES: usize = 1_000;
const END: &str = "voice";
/// Scale of a frame's signed bytes.
const FULL: f32 = 127.0;
/// Number of closest takes whose distances are averaged.
const NEAREST: usize = 2;

/// One take of a phrase.
#[derive(Debug, Clone, PartialEq)]
pub struct Take {
    /// Lower-case words.
    pub words: String,
    /// The shape of the take.
    pub shape: UtteranceShape,
}

/// One person's takes.
#[derive(Debug, Clone, PartialEq)]
pub struct PersonalVoice {
    /// The person's name as it was given.
    pub name: String,
    model: String,
    takes: Vec<Take>,
}

#[derive(Debug, Serialize, Deserialize)]
struct Header {
    schema: String,
    version: u32,
    name: String,
    model: String,
    size: usize,
    takes: Vec<(String, usize)>,
}

impl PersonalVoice {
    /// A voice without takes; `model` is the recogniser's model whose frames the takes will hold.
    pub fn new(name: &str, model: &str) -> Self {
        Self { name: name.to_owned(), model: model.to_owned(), takes: Vec::new() }
    }

    /// The model whose frames the takes hold.
    pub fn model(&self) -> &str {
        &self.model
    }

    /// Adds a take.
    pub fn add(&mut self, take: Take) {
        self.takes.push(take);
    }

    /// Removes all takes of these words.
    pub fn forget(&mut self, words: &str) {
        self.takes.retain(|t| t.words != words);
    }

    /// All takes.
    pub fn takes(&self) -> &[Take] {
        &self.takes
    }

    /// Distance of `heard` from this person's takes of `words`; none if there are no takes.
    pub fn apart(&self, heard: &UtteranceShape, words: &str) -> Option<f32> {
        let mut all: Vec<f32> = self.takes.iter().filter(|t| t.words == words).map(|t| t.shape.apart(heard)).collect();
        all.sort_by(f32::total_cmp);
        all.truncate(NEAREST);
        (!all.is_empty()).then(|| all.iter().sum::<f32>() / all.len() as f32)
    }

    /// Writes the voice atomically, readable only by this user.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn keep(&self, path: &Path) -> Result<(), VoiceError> {
        let failed = |why| VoiceError::File { path: path.into(), what: "kept", why };
        private::whole(path, &self.pack()).map_err(failed)
    }

    /// Reads a voice.
    ///
    /// # Errors
    /// When the file cannot be read, is damaged, or is not a voice.
    pub fn read(path: &Path) -> Result<Self, VoiceError> {
        let failed = |why| VoiceError::File { path: path.into(), what: "read", why };
        let bytes = read(path, MOST_BYTES, Links::Follow).map_err(|why| match why.kind() {
            ErrorKind::FileTooLarge => {
                VoiceError::Damaged { path: path.into(), why: "it is too large for a voice".into() }
            }
            _ => failed(why),
        })?;
        Self::unpack(&bytes).map_err(|why| VoiceError::Damaged { path: path.into(), why: why.to_owned() })
    }

    fn pack(&self) -> Vec<u8> {
        let size = self.takes.first().map_or(0, |t| t.shape.size);
        let header = Header {
            schema: SCHEMA.into(),
            version: VERSION,
            name: self.name.clone(),
            model: self.model.clone(),
            size,
            takes: self.takes.iter().map(|t| (t.words.clone(), t.shape.count())).collect(),
        };
        let mut out = serde_json::to_vec(&header).unwrap_or_default();
        out.push(b'\n');
        for take in &self.takes {
            for row in take.shape.frames.chunks_exact(size.max(1)) {
                let most = row.iter().fold(1e-9f32, |most, x| most.max(x.abs()));
                out.extend(row.iter().map(|x| ((x / most * FULL).round() as i8).cast_unsigned()));
            }
        }
        let sum = Sha256::digest(&out);
        out.extend_from_slice(&sum);
        out
    }

    fn unpack(bytes: &[u8]) -> Result<Self, &'static str> {
        let damaged = "it is damaged";
        let (body, sum) = bytes.split_at_checked(bytes.len().saturating_sub(SUM)).ok_or(damaged)?;
        if Sha256::digest(body)[..] != *sum {
            return Err(damaged);
        }
        let line = body.iter().position(|b| *b == b'\n').ok_or(damaged)?;
        let header: Header = serde_json::from_slice(&body[..line]).map_err(|_| "it is not a voice")?;
        if header.schema != SCHEMA {
            return Err("it is not a voice");
        }
        if header.version != VERSION {
            return Err("it was written by another version of probeside");
        }
        let mut rest = &body[line + 1..];
        let mut voice = Self::new(&header.name, &header.model);
        if header.takes.len() > MOST_TAKES || (header.size == 0 && !header.takes.is_empty()) {
            return Err(damaged);
        }
        for (words, count) in header.takes {
            let length = count.checked_mul(header.size).filter(|_| count <= MOST_FRAMES).ok_or(damaged)?;
            let (own, after) = rest.split_at_checked(length).ok_or(damaged)?;
            rest = after;
            let mut frames: Vec<f32> = own.iter().map(|b| f32::from(b.cast_signed())).collect();
            for row in frames.chunks_exact_mut(header.size) {
                let long = row.iter().map(|x| x * x).sum::<f32>().sqrt().max(1e-9);
                row.iter_mut().for_each(|x| *x /= long);
            }
            voice.takes.push(Take { words, shape: UtteranceShape { size: header.size, frames } });
        }
        if rest.is_empty() { Ok(voice) } else { Err(damaged) }
    }
}

/// The folder of voices: `PROBESIDE_VOICES`, or `probeside/voices` in the user's data folder.
///
/// # Errors
/// When neither exists.
pub(in crate::hear) fn folder() -> Result<PathBuf, VoiceError> {
    let named = std::env::var_os(VOICES_VARIABLE).filter(|v| !v.is_empty()).map(PathBuf::from);
    named.or_else(|| Some(crate::hear::models::user_data()?.join("probeside/voices"))).ok_or(VoiceError::NoFolder)
}

/// The file of a person's voice. Names that differ only in case, spaces and punctuation belong to the same person, and no name leads out of
/// the folder.
///
/// # Errors
/// When the name has no letter or digit, a strange character, or is too long.
pub fn file_of(name: &str) -> Result<PathBuf, VoiceError> {
    Ok(folder()?.join(format!("{}.{END}", plain_name(name)?)))
}

fn plain_name(name: &str) -> Result<String, VoiceError> {
    let lower: String = name.trim().chars().flat_map(char::to_lowercase).collect();
    let words: Vec<&str> = lower.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty()).collect();
    let strange = name.chars().any(|c| !(c.is_alphanumeric() || matches!(c, ' ' | '-' | '_' | '\'' | '.')));
    let plain = words.join("-");
    if plain.is_empty() || strange || plain.chars().count() > LONGEST_NAME {
        return Err(VoiceError::BadName(name.chars().take(2 * LONGEST_NAME).collect()));
    }
    Ok(plain)
}

/// Reads a person's voice.
///
/// # Errors
/// When the name is invalid, or the voice is missing or damaged.
pub fn voice_of(name: &str) -> Result<PersonalVoice, VoiceError> {
    let path = file_of(name)?;
    if path.exists() {
        return PersonalVoice::read(&path);
    }
    let known = names();
    let known = if known.is_empty() { String::new() } else { format!(" (known: {})", known.join(", ")) };
    Err(VoiceError::Unknown { name: name.into(), folder: folder()?.display().to_string(), known })
}

/// Deletes a person's voice; false if there was none.
///
/// # Errors
/// When the name is invalid, or the file cannot be deleted.
pub fn forget(name: &str) -> Result<bool, VoiceError> {
    let path = file_of(name)?;
    match std::fs::remove_file(&path) {
        Ok(()) => Ok(true),
        Err(why) if why.kind() == ErrorKind::NotFound => Ok(false),
        Err(why) => Err(VoiceError::File { path, what: "deleted", why }),
    }
}

/// The file names of all voices without their ending, sorted.
pub fn names() -> Vec<String> {
    let entries = folder().ok().and_then(|f| std::fs::read_dir(f).ok());
    let mut names: Vec<String> = entries
        .into_iter()
        .flatten()
        .filter_map(|e| {
            let path = e.ok()?.path();
            let voice = path.extension().is_some_and(|e| e == END);
            voice.then(|| path.file_stem().map(|s| s.to_string_lossy().into_owned()))?
        })
        .collect();
    names.sort();
    names
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hear::shape::drawn as shape;
    use proptest::prelude::*;

    fn voice() -> PersonalVoice {
        let mut voice = PersonalVoice::new("Ada", "m");
        voice.add(Take { words: "light on".into(), shape: shape(&[0, 3, 5], 4) });
        voice.add(Take { words: "light on".into(), shape: shape(&[0, 3, 4], 4) });
        voice.add(Take { words: "dark".into(), shape: shape(&[7, 2], 4) });
        voice
    }

    #[test]
    fn a_voice_comes_back_from_its_file_as_it_was_nearly() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("deep/ada.voice");
        voice().keep(&path).unwrap();
        let back = PersonalVoice::read(&path).unwrap();
        assert_eq!((back.name.as_str(), back.model(), back.takes().len()), ("Ada", "m", 3));
        for (a, b) in voice().takes().iter().zip(back.takes()) {
            assert_eq!(a.words, b.words);
            assert!(a.shape.apart(&b.shape) < 1e-3);
        }
        let heard = shape(&[0, 3, 5], 5);
        assert!(back.apart(&heard, "light on").unwrap() < back.apart(&heard, "dark").unwrap());
        assert_eq!(back.apart(&heard, "never said"), None);
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            assert_eq!(std::fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
        }
    }

    #[test]
    fn a_damaged_voice_is_a_sentence() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("a.voice");
        let whole = voice().pack();
        for end in [0, 1, 31, 32, whole.len() / 2, whole.len() - 1] {
            std::fs::write(&path, &whole[..end]).unwrap();
            let said = PersonalVoice::read(&path).unwrap_err().to_string();
            assert!(said.contains("probeside enrol"), "{said}");
        }
    }

    #[test]
    fn names_stay_in_the_folder() {
        assert_eq!(plain_name(" Ada  O'Neill ").unwrap(), "ada-o-neill");
        assert_eq!(plain_name("José").unwrap(), "josé");
        for bad in ["", " ", "..", "../x", "a/b", "a\\b", "a\0b", "-", &"x".repeat(60)] {
            assert!(plain_name(bad).is_err(), "{bad:?}");
        }
    }

    proptest! {
        #[test]
        fn no_bytes_make_it_panic(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
            let mut signed = bytes.clone();
            signed.extend_from_slice(&Sha256::digest(&bytes));
            prop_assert!(PersonalVoice::unpack(&bytes).is_err());
            prop_assert!(PersonalVoice::unpack(&signed).is_err());
        }
    }
}
