//! Checks a fetched model file against its pinned SHA-256 in `models/pins` before use, since a truncated library can crash the program that
//! loads it.
//!
//! A verified sum is cached in the user's cache folder with the file's size and modification time, so that only the first start is slow. A file
//! without a pin (another system's library) is used as it is.

use crate::hear::hear_error::HearError;
use crate::system::{Links, open, read};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::fs::Metadata;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::time::UNIX_EPOCH;

/// The pins: what is fetched, with its sums.
const PINS: &str = include_str!("../../../models/pins");
/// The file of verified sums in the user's cache folder.
const VERIFIED: &str = "right-sums.json";
/// Largest such file in bytes; a larger one was not written by this program.
const MOST_KEPT: u64 = 1 << 20;
/// Bytes read at once.
const PIECE: usize = 1 << 20;

/// A file at the time its sum was verified.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct VerifiedSum {
    sum: String,
    size: u64,
    /// Modification time in nanoseconds since 1970.
    changed: u64,
}

impl VerifiedSum {
    fn new(about: &Metadata, sum: &str) -> Option<Self> {
        let changed = about.modified().ok()?.duration_since(UNIX_EPOCH).ok()?.as_nanos();
        Some(VerifiedSum { sum: sum.to_owned(), size: about.len(), changed: u64::try_from(changed).ok()? })
    }
}

/// The sums allowed for a file by folder and name: one for each machine.
fn sums(folder: &str, name: &str) -> Vec<&'static str> {
    let of = |line: &'static str| {
        let [kind, set, _machine, member, sum] = line.split_whitespace().collect::<Vec<_>>()[..] else { return None };
        let fits = kind == "file" && set == folder && member.rsplit('/').next() == Some(name);
        fits.then_some(sum)
    };
    PINS.lines().filter_map(of).collect()
}

/// Rejects a file whose sum is not pinned.
///
/// # Errors
/// When it is another file, or cannot be read.
pub(in crate::hear) fn check(file: &Path) -> Result<(), HearError> {
    check_with(file, super::cache::cache_file(VERIFIED).as_deref())
}

fn check_with(file: &Path, kept: Option<&Path>) -> Result<(), HearError> {
    let name = |path: Option<&Path>| {
        path.and_then(Path::file_name).map(|name| name.to_string_lossy().into_owned()).unwrap_or_default()
    };
    let pinned = sums(&name(file.parent()), &name(Some(file)));
    if pinned.is_empty() {
        return Ok(());
    }
    let damaged = |why: &dyn std::fmt::Display| HearError::damaged(file, why);
    let about = file.metadata().map_err(|e| damaged(&e))?;
    let mut known: BTreeMap<PathBuf, VerifiedSum> = kept
        .and_then(|kept| serde_json::from_slice(&read(kept, MOST_KEPT, Links::Refuse).ok()?).ok())
        .unwrap_or_default();
    let is_known = known.get(file).is_some_and(|seen| {
        pinned.contains(&seen.sum.as_str()) && VerifiedSum::new(&about, &seen.sum).as_ref() == Some(seen)
    });
    if is_known {
        return Ok(());
    }
    let sum = sum_of(file).map_err(|e| damaged(&e))?;
    if !pinned.contains(&sum.as_str()) {
        return Err(damaged(&"it is not the file that models/setup fetched, or only a part of it"));
    }
    if let (Some(kept), Some(seen)) = (kept, VerifiedSum::new(&about, &sum)) {
        known.retain(|path, _| path.exists());
        known.insert(file.to_owned(), seen);
        super::cache::keep(kept, &serde_json::to_vec(&known).unwrap_or_default());
    }
    Ok(())
}

fn sum_of(file: &Path) -> std::io::Result<String> {
    let mut from = open(file, Links::Follow)?;
    let (mut sum, mut piece) = (Sha256::new(), vec![0; PIECE]);
    loop {
        match from.read(&mut piece)? {
            0 => return Ok(sum.finalize().iter().map(|byte| format!("{byte:02x}")).collect()),
            count => sum.update(&piece[..count]),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hear::models::files;

    #[test]
    fn every_file_that_is_loaded_is_pinned() {
        for (folder, name) in [
            ("moonshine-tiny-en", "encoder_model.ort"),
            ("moonshine-tiny-en", "decoder_model_merged.ort"),
            ("moonshine-tiny-en", "tokenizer.bin"),
            ("silero-vad", "silero_vad_16k_sequence.onnx"),
            ("onnxruntime", "libonnxruntime.so.1.24.4"),
        ] {
            let sums = sums(folder, name);
            assert!(!sums.is_empty() && sums.iter().all(|sum| sum.len() == 64), "{folder}/{name}: {sums:?}");
        }
        assert_eq!(sums("onnxruntime", "onnxruntime.dll"), Vec::<&str>::new());
        assert_eq!(sums("elsewhere", "encoder_model.ort"), Vec::<&str>::new());
    }

    #[test]
    fn a_file_is_refused_when_it_was_cut_or_altered_also_after_it_was_right() {
        let tokenizer = files::find().expect("models/setup was run").folder.join("tokenizer.bin");
        let dir = tempfile::tempdir().expect("a folder");
        let folder = dir.path().join("moonshine-tiny-en");
        std::fs::create_dir(&folder).expect("made");
        let (file, kept) = (folder.join("tokenizer.bin"), dir.path().join("cache/right-sums.json"));
        let bytes = std::fs::read(tokenizer).expect("read");
        std::fs::write(&file, &bytes).expect("written");
        let refused = || check_with(&file, Some(&kept)).map_err(|e| (e.is_machine(), e.to_string()));
        assert_eq!(refused(), Ok(()));
        assert!(kept.is_file());
        assert_eq!(refused(), Ok(()));
        // A cached sum counts only for the same size and time, and never for another file.
        let mut bent = bytes.clone();
        bent[1000] ^= 1;
        std::fs::write(&file, &bent).expect("written");
        let (machine, why) = refused().expect_err("bent");
        assert!(machine && why.contains("./models/setup --verify"), "{why}");
        std::fs::write(&file, &bytes[..bytes.len() / 2]).expect("written");
        assert!(refused().is_err());
        std::fs::write(&file, &bytes).expect("written");
        std::fs::write(&kept, "{damaged").expect("written");
        assert_eq!(refused(), Ok(()));
        assert_eq!(check_with(&file, None).map_err(|e| e.to_string()), Ok(()));
        assert_eq!(check_with(&dir.path().join("other"), None).map_err(|e| e.to_string()), Ok(()));
    }
}
