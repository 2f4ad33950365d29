//! Finds the files of the models.
//!
//! Searched in this order: the folder named by `PROBESIDE_MODELS` (then nothing else); `models/cache` beside the program or in any folder
//! above it; `models/cache` of the source tree; `probeside/models` in the user's data folder.

use crate::hear::hear_error::HearError;
use std::path::{Path, PathBuf};

/// Environment variable that names the model folder.
const MODELS_VARIABLE: &str = "PROBESIDE_MODELS";
/// Folder of the English model inside the model folder.
const MODEL_FOLDER: &str = "moonshine-tiny-en";
/// Folder of the runtime library inside the model folder.
const RUNTIME_FOLDER: &str = "onnxruntime";
/// The voice detector's network inside the model folder.
const DETECTOR: &str = "silero-vad/silero_vad_16k_sequence.onnx";
/// The model's files.
const MODEL_FILES: [&str; 3] = ["encoder_model.ort", "decoder_model_merged.ort", "tokenizer.bin"];

/// The default recogniser's files; all exist.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Models {
    /// The runtime library.
    pub runtime: PathBuf,
    /// The model's folder.
    pub folder: PathBuf,
}

/// The voice detector's files; both exist.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DetectorFiles {
    /// The runtime library.
    pub runtime: PathBuf,
    /// The network.
    pub network: PathBuf,
}

/// Finds the voice detector's files. The error is that of [`find`].
pub fn find_detector() -> Result<DetectorFiles, HearError> {
    first_whole(&places(), |place| {
        let (runtime, network) = (runtime_in(&place.join(RUNTIME_FOLDER))?, place.join(DETECTOR));
        network.is_file().then_some(DetectorFiles { runtime, network })
    })
}

/// Finds the default recogniser's files. The error names every folder searched and the command that fetches the files.
pub fn find() -> Result<Models, HearError> {
    find_in(&places())
}

/// A file in one of the model folders.
#[cfg(feature = "vosk")]
pub(in crate::hear) fn member(name: &str) -> Option<PathBuf> {
    places().into_iter().map(|place| place.join(name)).find(|path| path.is_file())
}

/// A folder with this prefix in one of the model folders; the first by name.
#[cfg(feature = "vosk")]
pub(in crate::hear) fn beginning(name: &str) -> Option<PathBuf> {
    let within = |place: PathBuf| {
        let mut all: Vec<PathBuf> = std::fs::read_dir(place).ok()?.filter_map(|e| Some(e.ok()?.path())).collect();
        all.retain(|p| p.is_dir() && p.file_name().is_some_and(|n| n.to_string_lossy().starts_with(name)));
        all.sort();
        all.into_iter().next()
    };
    places().into_iter().find_map(within)
}

fn find_in(places: &[PathBuf]) -> Result<Models, HearError> {
    first_whole(places, |place| {
        let folder = place.join(MODEL_FOLDER);
        let runtime = runtime_in(&place.join(RUNTIME_FOLDER))?;
        MODEL_FILES.iter().all(|f| folder.join(f).is_file()).then_some(Models { runtime, folder })
    })
}

/// The result from the first place that has everything; the error names every place.
fn first_whole<T>(places: &[PathBuf], whole: impl Fn(&Path) -> Option<T>) -> Result<T, HearError> {
    places.iter().find_map(|place| whole(place)).ok_or_else(|| HearError::ModelMissing {
        looked: places.iter().map(|p| p.display().to_string()).collect::<Vec<_>>().join(", "),
    })
}

/// Candidate model folders, the likeliest first.
fn places() -> Vec<PathBuf> {
    if let Some(named) = std::env::var_os(MODELS_VARIABLE).filter(|v| !v.is_empty()) {
        return vec![named.into()];
    }
    let mut out = Vec::new();
    if let Ok(program) = std::env::current_exe() {
        out.extend(program.ancestors().skip(1).map(|dir| dir.join("models/cache")).filter(|dir| dir.is_dir()));
    }
    out.push(Path::new(env!("CARGO_MANIFEST_DIR")).join("models/cache"));
    out.extend(user_data().map(|data| data.join("probeside/models")));
    out.dedup();
    out
}

/// The user's data folder by the platform's convention (XDG base directories on Linux).
pub(crate) fn user_data() -> Option<PathBuf> {
    let var = |name: &str| std::env::var_os(name).filter(|v| !v.is_empty()).map(PathBuf::from);
    if cfg!(windows) {
        var("LOCALAPPDATA")
    } else if cfg!(target_os = "macos") {
        var("HOME").map(|h| h.join("Library/Application Support"))
    } else {
        var("XDG_DATA_HOME").or_else(|| var("HOME").map(|h| h.join(".local/share")))
    }
}

/// The runtime library in a folder. The wheel's file name has the version (`libonnxruntime.so.1.24.4`).
fn runtime_in(folder: &Path) -> Option<PathBuf> {
    let mut found: Vec<PathBuf> = std::fs::read_dir(folder).ok()?.filter_map(|e| Some(e.ok()?.path())).collect();
    found.retain(|path| {
        let name = path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
        name.starts_with("libonnxruntime.so")
            || name == "onnxruntime.dll"
            || name.starts_with("libonnxruntime.") && name.ends_with("dylib")
    });
    found.sort();
    found.pop()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn missing_models_are_a_sentence_that_names_the_mending_command() {
        let empty = tempfile::tempdir().expect("a folder");
        let said = find_in(&[empty.path().to_owned()]).expect_err("nothing is there").to_string();
        assert!(said.contains("models/setup") && said.contains(&empty.path().display().to_string()), "{said}");
    }

    #[test]
    fn a_whole_set_is_found_and_a_broken_one_is_not() {
        let dir = tempfile::tempdir().expect("a folder");
        let folder = dir.path().join(MODEL_FOLDER);
        std::fs::create_dir_all(&folder).expect("made");
        std::fs::create_dir_all(dir.path().join(RUNTIME_FOLDER)).expect("made");
        let runtime = dir.path().join(RUNTIME_FOLDER).join("libonnxruntime.so.1.24.4");
        std::fs::write(&runtime, "").expect("written");
        for file in &MODEL_FILES[..2] {
            std::fs::write(folder.join(file), "").expect("written");
        }
        assert!(find_in(&[dir.path().to_owned()]).is_err());
        std::fs::write(folder.join(MODEL_FILES[2]), "").expect("written");
        assert_eq!(find_in(&[dir.path().to_owned()]).expect("found"), Models { runtime, folder });
    }
}
