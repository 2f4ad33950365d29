//! The error of an enrolled voice.

use std::path::PathBuf;

/// Longest name of a voice, in characters.
pub(super) const LONGEST_NAME: usize = 48;

/// A voice cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum VoiceError {
    /// The name has no letter or digit, has strange characters, or is too long.
    #[error(
        "\"{0}\" cannot be the name of a voice; use letters, digits, spaces and -, at most {LONGEST_NAME} of them, and at least one letter or digit"
    )]
    BadName(String),
    /// There is no such voice.
    #[error("there is no voice of \"{name}\" in {folder}{known}; learn it with: probeside enrol \"{name}\"")]
    Unknown {
        /// The person's name.
        name: String,
        /// The folder searched.
        folder: String,
        /// The known voices in parentheses; empty if there are none.
        known: String,
    },
    /// There is no folder for voices.
    #[error("this user has no data folder to keep voices in; name one with PROBESIDE_VOICES")]
    NoFolder,
    /// The file cannot be read or written.
    #[error("{}: this voice cannot be {what}: {why}", .path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// "read", "kept" or "deleted".
        what: &'static str,
        /// The system's error.
        why: std::io::Error,
    },
    /// The file is not a voice, or it is damaged.
    #[error("{}: {why}; learn the voice again with: probeside enrol", .path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// The reason.
        why: String,
    },
}
