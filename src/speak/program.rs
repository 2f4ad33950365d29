//! Runs a voice program: passes arguments and text, and takes its output, with limits on time and size. Voices are never linked.

use super::voice::SpeakError;
use crate::source::is_hidden;
use crate::system::{self, ChildError};
use std::path::Path;
use std::process::Command;
use std::time::Duration;

/// Longest text spoken at once, in bytes.
const LONGEST_TEXT: usize = 20_000;
/// Largest output accepted, in bytes: 20 minutes of 16-bit samples at 22,050 a second.
const MOST_OUTPUT: u64 = 20 * 60 * 22_050 * 2;

/// Reduces a text to plain words of bounded length for a voice. Control characters may be commands, double brackets start espeak-ng's phonemes
/// (even with a soft hyphen between them), and angle brackets start markup; all of them are replaced by spaces.
pub(super) fn cleaned(text: &str) -> String {
    let mut end = text.len().min(LONGEST_TEXT);
    while !text.is_char_boundary(end) {
        end -= 1;
    }
    const SOFT_HYPHEN: char = '\u{ad}';
    let is_word = |c: char| !is_hidden(c) && !matches!(c, '[' | ']' | '<' | '>' | SOFT_HYPHEN);
    let words: String = text[..end].chars().map(|c| if is_word(c) { c } else { ' ' }).collect();
    words.trim().to_owned()
}

/// The error of a program that ran and failed.
pub fn failed(program: &Path, why: impl Into<String>) -> SpeakError {
    SpeakError::Failed { program: program.display().to_string(), why: why.into() }
}

/// Runs `program` with `input` and returns what it writes within `limit`.
///
/// # Errors
/// When the program is missing, fails, takes too long or writes too much.
pub fn run(program: &Path, arguments: &[&str], input: &str, limit: Duration) -> Result<Vec<u8>, SpeakError> {
    let mut command = Command::new(program);
    command.args(arguments);
    system::run(command, input.as_bytes(), MOST_OUTPUT, limit).map_err(|error| {
        let program = program.display().to_string();
        match error {
            ChildError::NotStarted(why) => SpeakError::NoProgram { program, why: why.to_string() },
            ChildError::Silent(_) => SpeakError::TooSlow { program, seconds: limit.as_secs() },
            other => SpeakError::Failed { program, why: format!("it {other}") },
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_cannot_reach_phoneme_mode_and_is_bounded() {
        assert_eq!(cleaned(" a\n[[b]]\0 "), "a   b");
        assert_eq!(cleaned("[[[b [\u{ad}[c]] <d>\u{1}20s\u{202e}"), "b    c    d  20s");
        assert!(cleaned(&"ü".repeat(20_000)).len() <= LONGEST_TEXT);
    }
}
