//! What can go wrong with one person's voice.

use std::path::PathBuf;

/// Most letters of a voice's name.
pub(super) const LONGEST_NAME: usize = 48;

/// Why a voice cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum VoiceError {
    /// A name without letters and digits, or too long a one.
    #[error(
        "\"{0}\" cannot be the name of a voice: use letters, digits, spaces and -, at most {LONGEST_NAME} of them, and at least one letter or digit."
    )]
    BadName(String),
    /// No such voice.
    #[error("There is no voice of \"{name}\" in {folder}. {known}Learn it with: probeside enrol \"{name}\"")]
    Unknown {
        /// Whose.
        name: String,
        /// Where it was looked for.
        folder: String,
        /// Those that are there, as a sentence, or nothing.
        known: String,
    },
    /// No place to keep voices in.
    #[error("This user has no data folder to keep voices in; name one with PROBESIDE_VOICES.")]
    NoFolder,
    /// The file cannot be read or written.
    #[error("{}: this voice cannot be {what}: {why}.", .path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// "read", "kept" or "deleted".
        what: &'static str,
        /// What the system said.
        why: std::io::Error,
    },
    /// The file is no voice, damaged, or of another recogniser.
    #[error("{}: {why}. Learn the voice again with: probeside enrol", .path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        why: String,
    },
}
