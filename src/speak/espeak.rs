//! The voice of espeak-ng, run as a program: text in on its standard input, a WAV out. It is never linked.

use super::voice::{Pcm, SpeakError, Voice};
use crate::hear::decode_wav;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::mpsc;
use std::time::Duration;

/// Words a minute at speed 1. espeak-ng's own usual speed is 175 (its manual page); a little slower is clearer in a workshop.
const WORDS_PER_MINUTE: f32 = 160.0;
/// espeak-ng takes speeds of 80 to 450 words a minute (its manual page).
const SLOWEST: f32 = 80.0;
const FASTEST: f32 = 450.0;
/// Most text that is said at once, in bytes.
const LONGEST_TEXT: usize = 20_000;
/// Most sound that is taken, in bytes: 20 minutes of 16-bit samples at 22,050 a second.
const MOST_SOUND: u64 = 20 * 60 * 22_050 * 2;

/// espeak-ng.
#[derive(Debug, Clone)]
pub struct Espeak {
    program: PathBuf,
    voice: String,
    limit: Duration,
}

impl Espeak {
    /// The espeak-ng on the path, with one of its voices ("en", "en-us", "en-gb-scotland", "en+f3" ...).
    pub fn new(voice: &str) -> Self {
        Self { program: PathBuf::from("espeak-ng"), voice: voice.to_owned(), limit: Duration::from_secs(15) }
    }

    /// Another program that takes the same arguments.
    pub fn with_program(mut self, program: &Path) -> Self {
        self.program = program.to_owned();
        self
    }

    /// The time it gets for one text.
    pub fn with_limit(mut self, limit: Duration) -> Self {
        self.limit = limit;
        self
    }

    fn failed(&self, why: impl Into<String>) -> SpeakError {
        SpeakError::Failed { program: self.program.display().to_string(), why: why.into() }
    }
}

/// What reaches the program: no control characters, no phoneme brackets, bounded.
fn cleaned(text: &str) -> String {
    let mut end = text.len().min(LONGEST_TEXT);
    while !text.is_char_boundary(end) {
        end -= 1;
    }
    let spaced: String = text[..end].chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    spaced.replace("[[", "[ [").trim().to_owned()
}

impl Voice for Espeak {
    fn synthesise(&mut self, text: &str, speed: f32) -> Result<Pcm, SpeakError> {
        let text = cleaned(text);
        if text.is_empty() {
            return Ok(Pcm { rate: 22_050, samples: Vec::new().into() });
        }
        let speed =
            if speed.is_finite() { (WORDS_PER_MINUTE * speed).clamp(SLOWEST, FASTEST) } else { WORDS_PER_MINUTE };
        let mut child = Command::new(&self.program)
            .args(["--stdin", "--stdout", "-b", "1", "-v", &self.voice, "-s", &format!("{speed:.0}")])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .map_err(|e| SpeakError::NoProgram { program: self.program.display().to_string(), why: e.to_string() })?;
        let (mut stdin, stdout, stderr) = (child.stdin.take(), child.stdout.take(), child.stderr.take());
        std::thread::spawn(move || {
            if let Some(stdin) = &mut stdin {
                let _ = stdin.write_all(text.as_bytes());
            }
        });
        let (done, results) = mpsc::channel();
        std::thread::spawn(move || {
            let (mut sound, mut said) = (Vec::new(), String::new());
            if let Some(stdout) = stdout {
                let _ = stdout.take(MOST_SOUND).read_to_end(&mut sound);
            }
            if let Some(stderr) = stderr {
                let _ = stderr.take(1000).read_to_string(&mut said);
            }
            let _ = done.send((sound, said));
        });
        let result = results.recv_timeout(self.limit);
        if result.is_err() {
            let _ = child.kill();
        }
        let status = child.wait().map_err(|e| self.failed(e.to_string()))?;
        let Ok((sound, said)) = result else {
            return Err(SpeakError::TooSlow {
                program: self.program.display().to_string(),
                seconds: self.limit.as_secs(),
            });
        };
        if !status.success() {
            let said = said.trim().trim_end_matches('.');
            return Err(self.failed(format!("{status}{}{said}", if said.is_empty() { "" } else { ": " })));
        }
        let (rate, samples) =
            decode_wav(&sound[..], Path::new("its output")).map_err(|e| self.failed(e.to_string()))?;
        Ok(Pcm { rate, samples: samples.into() })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_missing_program_is_a_sentence_with_the_command_that_mends_it() {
        let mut voice = Espeak::new("en").with_program(Path::new("/nowhere/espeak-ng"));
        let error = voice.synthesise("hello", 1.0).unwrap_err();
        assert!(error.machine_lacks());
        assert!(error.to_string().contains("models/setup"), "{error}");
    }

    #[cfg(unix)]
    fn stand_in(script: &str) -> (tempfile::TempDir, PathBuf) {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("voice");
        std::fs::write(&path, script).unwrap();
        std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o755)).unwrap();
        (folder, path)
    }

    #[cfg(unix)]
    #[test]
    fn a_program_that_hangs_is_stopped_and_one_that_fails_is_quoted() {
        let (_keep, path) = stand_in("#!/bin/sh\nexec sleep 60\n");
        let mut hanging = Espeak::new("en").with_program(&path).with_limit(Duration::from_millis(200));
        assert!(matches!(hanging.synthesise("hello", 1.0), Err(SpeakError::TooSlow { .. })));
        let (_keep, path) = stand_in("#!/bin/sh\ncat >/dev/null\necho 'no such voice' >&2\nexit 1\n");
        let error = Espeak::new("en").with_program(&path).synthesise("hello", 1.0).unwrap_err();
        assert!(error.to_string().contains("no such voice"), "{error}");
        let (_keep, path) = stand_in("#!/bin/sh\ncat >/dev/null\necho garbage\n");
        assert!(matches!(
            Espeak::new("en").with_program(&path).synthesise("hello", 1.0),
            Err(SpeakError::Failed { .. })
        ));
    }

    #[test]
    fn text_cannot_reach_phoneme_mode_and_is_bounded() {
        assert_eq!(cleaned(" a\n[[b]]\0 "), "a [ [b]]");
        assert!(cleaned(&"ü".repeat(20_000)).len() <= LONGEST_TEXT);
    }

    /// Runs where espeak-ng is installed; elsewhere it says that it was left out.
    #[test]
    fn a_sentence_sounds_about_as_long_as_its_words_and_faster_is_shorter() {
        let mut voice = Espeak::new("en");
        let text = "Touch the lamp to the left points, then turn the engine slowly. -v fr $(false) `false`";
        let usual = match voice.synthesise(text, 1.0) {
            Err(SpeakError::NoProgram { .. }) => return eprintln!("left out: espeak-ng is not installed"),
            other => other.unwrap(),
        };
        let seconds = usual.samples.len() as f32 / usual.rate as f32;
        assert!((4.0..20.0).contains(&seconds), "{seconds} s");
        let fast = voice.synthesise(text, 1.5).unwrap();
        assert!(fast.samples.len() < usual.samples.len() * 8 / 10);
    }
}
