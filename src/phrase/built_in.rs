//! Loads a vocabulary from its file, and holds the built-in English one.

use super::vocabulary::Vocabulary;
use super::vocabulary_file::decode;
use crate::source::Diagnostic;
use std::sync::LazyLock;

/// The built-in English vocabulary file.
pub(super) const ENGLISH: &str = include_str!("../../procedures/vocabulary/en.yaml");

static BUILT_IN: LazyLock<Vocabulary> = LazyLock::new(|| {
    Vocabulary::from_yaml(ENGLISH, "procedures/vocabulary/en.yaml").expect("a test loads the built-in vocabulary")
});

impl Vocabulary {
    /// The built-in English vocabulary, loaded once.
    pub fn english() -> &'static Vocabulary {
        &BUILT_IN
    }

    /// Decodes a vocabulary file. `file` is the name used in messages.
    ///
    /// # Errors
    /// Every missing key by name, templates that cannot be filled in, phrases with two meanings, and unknown keys, each with its place.
    pub fn from_yaml(text: &str, file: &str) -> Result<Vocabulary, Vec<Diagnostic>> {
        decode(text, file, None)
    }

    /// Decodes the copy of the vocabulary file that a session keeps. A sentence or control that was added since then comes from the built-in
    /// vocabulary, so an old session can be resumed.
    ///
    /// # Errors
    /// As [`Vocabulary::from_yaml`].
    pub fn from_copy(text: &str, file: &str) -> Result<Vocabulary, Vec<Diagnostic>> {
        decode(text, file, Some(ENGLISH))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_copy_from_before_a_sentence_was_there_can_still_be_read() {
        let before: String =
            ENGLISH.lines().filter(|l| !l.starts_with("  record-kept:")).map(|l| format!("{l}\n")).collect();
        assert!(Vocabulary::from_yaml(&before, "words.yaml").is_err());
        let own = before.replace("going-on: \"", "going-on: \"Right: ");
        let words = Vocabulary::from_copy(&own, "words.yaml").unwrap();
        let say = |words: &Vocabulary, key| words.sentence(key, &serde_json::json!({})).unwrap();
        assert_eq!(say(&words, "record-kept"), say(Vocabulary::english(), "record-kept"));
        assert!(say(&words, "going-on").starts_with("Right: "), "its own sentences stay");
        let other = before.replace("vocabulary: en", "vocabulary: xx");
        assert!(Vocabulary::from_copy(&other, "words.yaml").is_err(), "another language is not mended in English");
    }
}
