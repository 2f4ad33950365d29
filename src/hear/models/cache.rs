//! Files in the user's cache folder. Losing one costs only time.

use crate::system::private;
use std::path::{Path, PathBuf};

/// The path of one of the program's files in the user's cache folder; none if there is no such folder.
pub(in crate::hear) fn cache_file(name: &str) -> Option<PathBuf> {
    let cache = std::env::var_os("XDG_CACHE_HOME")
        .or_else(|| std::env::var_os("LOCALAPPDATA"))
        .map(PathBuf::from)
        .or_else(|| Some(PathBuf::from(std::env::var_os("HOME")?).join(".cache")))?;
    Some(cache.join("probeside").join(name))
}

/// Writes a cache file; a failure is only logged.
pub(in crate::hear) fn keep(file: &Path, bytes: &[u8]) {
    if let Err(why) = private::whole(file, bytes) {
        tracing::info!(%why, "{} could not be kept", file.display());
    }
}
