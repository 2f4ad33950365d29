//! A vocabulary from its file, and the one that is built in.

use super::vocabulary::Vocabulary;
use super::vocabulary_file::decode;
use crate::written::Diagnostic;
use std::sync::LazyLock;

/// The built-in English vocabulary file.
pub const ENGLISH: &str = include_str!("../../procedures/vocabulary/en.yaml");

static BUILT_IN: LazyLock<Vocabulary> = LazyLock::new(|| {
    Vocabulary::from_yaml(ENGLISH, "procedures/vocabulary/en.yaml").expect("a test loads the built-in vocabulary")
});

impl Vocabulary {
    /// The built-in English words, loaded once.
    pub fn english() -> &'static Vocabulary {
        &BUILT_IN
    }

    /// Decodes a vocabulary file; `file` is its name in messages.
    ///
    /// # Errors
    /// Every missing key by name, templates that cannot be filled in, phrases that mean two things, unknown keys; each with its place.
    pub fn from_yaml(text: &str, file: &str) -> Result<Vocabulary, Vec<Diagnostic>> {
        decode(text, file)
    }
}
