//! Files in the user's cache folder: whatever is there may be lost, and costs only time.

use crate::system::private;
use std::path::{Path, PathBuf};

/// A file of the program's own in the user's cache folder; none where there is no such folder.
pub(in crate::hear) fn cache_file(name: &str) -> Option<PathBuf> {
    let cache = std::env::var_os("XDG_CACHE_HOME")
        .or_else(|| std::env::var_os("LOCALAPPDATA"))
        .map(PathBuf::from)
        .or_else(|| Some(PathBuf::from(std::env::var_os("HOME")?).join(".cache")))?;
    Some(cache.join("probeside").join(name))
}

/// Keeps what may be lost in a file of the cache folder.
pub(in crate::hear) fn keep(file: &Path, bytes: &[u8]) {
    if let Err(why) = private::whole(file, bytes) {
        tracing::info!(%why, "{} could not be kept", file.display());
    }
}
