//! A voice program run as a program: arguments and text in, its output out, bounded in time and size. Voices are never linked.

use super::voice::SpeakError;
use crate::written::is_hidden;
use std::io::{Read, Write};
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::mpsc;
use std::time::Duration;

/// Most text that is said at once, in bytes.
const LONGEST_TEXT: usize = 20_000;
/// Most output that is taken, in bytes: 20 minutes of 16-bit samples at 22,050 a second.
const MOST_OUTPUT: u64 = 20 * 60 * 22_050 * 2;

/// What reaches a voice: words alone, bounded. Control characters may be commands, and two brackets begin espeak-ng's phonemes (also with a
/// soft hyphen between them), pointed ones markup; nothing of that is ever spoken.
pub fn cleaned(text: &str) -> String {
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

/// Runs `program`, gives it `input`, and takes what it writes within `limit`.
///
/// # Errors
/// When it is missing, fails or takes too long.
pub fn run(program: &Path, arguments: &[&str], input: &str, limit: Duration) -> Result<Vec<u8>, SpeakError> {
    let mut child = Command::new(program)
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .map_err(|e| SpeakError::NoProgram { program: program.display().to_string(), why: e.to_string() })?;
    let (mut stdin, stdout, stderr) = (child.stdin.take(), child.stdout.take(), child.stderr.take());
    let input = input.to_owned();
    std::thread::spawn(move || {
        if let Some(stdin) = &mut stdin {
            let _ = stdin.write_all(input.as_bytes());
        }
    });
    let (done, results) = mpsc::channel();
    std::thread::spawn(move || {
        let (mut output, mut said) = (Vec::new(), String::new());
        if let Some(stdout) = stdout {
            let _ = stdout.take(MOST_OUTPUT).read_to_end(&mut output);
        }
        if let Some(stderr) = stderr {
            let _ = stderr.take(1000).read_to_string(&mut said);
        }
        let _ = done.send((output, said));
    });
    let result = results.recv_timeout(limit);
    if result.is_err() {
        let _ = child.kill();
    }
    let status = child.wait().map_err(|e| failed(program, e.to_string()))?;
    let Ok((output, said)) = result else {
        return Err(SpeakError::TooSlow { program: program.display().to_string(), seconds: limit.as_secs() });
    };
    if !status.success() {
        let said = said.trim().trim_end_matches('.');
        return Err(failed(program, format!("{status}{}{said}", if said.is_empty() { "" } else { ": " })));
    }
    Ok(output)
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
