//! The voices of espeak-ng, run as a program that reads text on its standard input and writes a WAV. It is never linked.

use super::program::{cleaned, failed, run};
use super::voice::{Pcm, SpeakError, Voice};
use crate::hear::decode_wav;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Words per minute at speed 1. espeak-ng's default is 175 (its manual page); slightly slower is clearer in a workshop.
const WORDS_PER_MINUTE: f32 = 160.0;
/// Range of espeak-ng's speed in words per minute (its manual page).
const SLOWEST: f32 = 80.0;
const FASTEST: f32 = 450.0;

/// espeak-ng.
#[derive(Debug, Clone)]
pub struct Espeak {
    program: PathBuf,
    voice: String,
    limit: Duration,
}

impl Espeak {
    /// Uses the espeak-ng on the path with one of its voices ("en", "en-us", "en-gb-scotland", "en+f3" ...).
    pub fn new(voice: &str) -> Self {
        Self { program: PathBuf::from("espeak-ng"), voice: voice.to_owned(), limit: Duration::from_secs(15) }
    }

    /// Uses another program that takes the same arguments.
    #[cfg(test)]
    pub(super) fn with_program(mut self, program: &Path) -> Self {
        self.program = program.to_owned();
        self
    }

    /// Sets the time limit for one text.
    #[cfg(test)]
    pub(super) fn with_limit(mut self, limit: Duration) -> Self {
        self.limit = limit;
        self
    }

    /// The voice's name, checked: it may come from a file, and must not act as an option or a path.
    fn voice(&self) -> Result<&str, SpeakError> {
        let named = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '+' | '_');
        match self.voice.starts_with(|c: char| c.is_ascii_alphanumeric()) && self.voice.chars().all(named) {
            true => Ok(&self.voice),
            false => Err(failed(&self.program, format!("\"{}\" is not the name of a voice", self.voice))),
        }
    }

    /// Transcribes `text` to the International Phonetic Alphabet.
    ///
    /// # Errors
    /// When the program is missing, fails or takes too long.
    pub fn phonemes(&self, text: &str) -> Result<String, SpeakError> {
        let arguments = ["--stdin", "-q", "--ipa", "-b", "1", "-v", self.voice()?];
        let written = run(&self.program, &arguments, &cleaned(text), self.limit)?;
        Ok(String::from_utf8_lossy(&written).split_whitespace().collect::<Vec<_>>().join(" "))
    }
}

impl Voice for Espeak {
    fn synthesise(&mut self, text: &str, speed: f32) -> Result<Pcm, SpeakError> {
        let text = cleaned(text);
        if text.is_empty() {
            return Ok(Pcm { rate: 22_050, samples: Vec::new().into() });
        }
        let speed =
            if speed.is_finite() { (WORDS_PER_MINUTE * speed).clamp(SLOWEST, FASTEST) } else { WORDS_PER_MINUTE };
        let arguments = ["--stdin", "--stdout", "-b", "1", "-v", self.voice()?, "-s", &format!("{speed:.0}")];
        let sound = run(&self.program, &arguments, &text, self.limit)?;
        let (rate, samples) =
            decode_wav(&sound[..], Path::new("its output")).map_err(|e| failed(&self.program, e.to_string()))?;
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
        // It closes its output and stays; it never ends; it writes only to standard error.
        for (script, said) in
            [("exec >&-; sleep 60", "gave no sound"), ("yes", "more than it was asked"), ("yes >&2", "gave no sound")]
        {
            let (_keep, path) = stand_in(&format!("#!/bin/sh\n{script}\n"));
            let mut voice = Espeak::new("en").with_program(&path).with_limit(Duration::from_secs(1));
            let began = std::time::Instant::now();
            let error = voice.synthesise(&"light on ".repeat(2_000), 1.0).unwrap_err().to_string();
            assert!(error.contains(said) && began.elapsed() < Duration::from_secs(5), "{script}: {error}");
        }
        let (_keep, path) = stand_in("#!/bin/sh\ncat >/dev/null\necho garbage\n");
        assert!(matches!(
            Espeak::new("en").with_program(&path).synthesise("hello", 1.0),
            Err(SpeakError::Failed { .. })
        ));
    }

    /// The program's notation for phonemes (its manual page, "-x"): it would say `[[h@l'oU]]` as "hello".
    #[test]
    fn no_text_reaches_its_phonemes_or_its_options() {
        let said = |text: &str| Espeak::new("en").phonemes(text);
        let plain = match said("h@l'oU") {
            Err(SpeakError::NoProgram { .. }) => return eprintln!("left out: espeak-ng is not installed"),
            other => other.unwrap(),
        };
        assert_ne!(plain, said("hello").unwrap());
        for text in ["[[h@l'oU]]", "[[[h@l'oU]]]", "[\u{ad}[h@l'oU]]", "[\u{200b}[h@l'oU", "<[[h@l'oU>", "[\n[h@l'oU"] {
            assert_eq!(said(text).unwrap(), plain, "{text:?}");
        }
        assert_eq!(said("<voice name='fr'>").unwrap(), said("voice name='fr'").unwrap());
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("stolen");
        said(&format!("-w {}", file.display())).unwrap();
        assert!(!file.exists());
        for voice in ["../../../etc/passwd", "-w", "", "en -w x", "mb/us1"] {
            let why = Espeak::new(voice).phonemes("hello").unwrap_err().to_string();
            assert!(why.contains("is not the name of a voice"), "{why}");
        }
    }

    /// Needs espeak-ng; without it the test reports that it was left out.
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

    /// Reference: the International Phonetic Alphabet writes the vowel of "light" as a diphthong that ends in a near-close vowel.
    #[test]
    fn phonemes_are_written_in_the_phonetic_alphabet() {
        match Espeak::new("en").phonemes("light on") {
            Err(SpeakError::NoProgram { .. }) => eprintln!("left out: espeak-ng is not installed"),
            other => assert!(other.as_ref().is_ok_and(|ipa| ipa.contains("aɪt")), "{other:?}"),
        }
    }
}
