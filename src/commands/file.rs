//! Files that a command writes beside its output: beside and then in the place of what was there, which is said on standard error.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

/// The folder that `path` is in, as it really is, and the file's name.
///
/// # Errors
/// A sentence: there is no such folder, or the path names no file.
pub fn place(path: &Path) -> Result<(PathBuf, String), String> {
    let name = path.file_name().ok_or_else(|| format!("{} is not the name of a file; give one", path.display()))?;
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let real = folder.canonicalize().map_err(|error| cannot(path, &error))?;
    Ok((real, name.to_string_lossy().into_owned()))
}

/// Writes the file and says so.
///
/// # Errors
/// A sentence: where it cannot be written.
pub fn write(path: &Path, content: &[u8]) -> Result<(), String> {
    let (folder, name) = place(path)?;
    let there = fs::symlink_metadata(path).is_ok();
    let part = folder.join(format!("{name}.part"));
    let written = fs::File::create(&part).and_then(|mut file| file.write_all(content));
    let moved = written.and_then(|()| fs::rename(&part, path));
    if let Err(error) = moved {
        // What was begun is of no use; that it may stay does not change the sentence.
        let _ = fs::remove_file(&part);
        return Err(cannot(path, &error));
    }
    crate::terminal::errln!("{} {}", if there { "replaced" } else { "wrote" }, path.display());
    Ok(())
}

fn cannot(path: &Path, error: &std::io::Error) -> String {
    format!("{} cannot be written ({error}); give another file", path.display())
}
