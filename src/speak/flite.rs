//! The voices of flite, run as a program. They play the person who answers, for rehearsals and measurements.

use super::program::{cleaned, failed, run};
use super::voice::{Pcm, SpeakError, Voice};
use crate::hear::decode_wav;
use std::path::Path;
use std::time::Duration;

const PROGRAM: &str = "flite";
/// Time limit for one text.
const LIMIT: Duration = Duration::from_secs(15);
/// Range of speeds, as [`Voice::synthesise`] promises.
const SPEEDS: (f32, f32) = (0.5, 3.0);

/// One of flite's voices.
#[derive(Debug, Clone)]
pub struct Flite {
    voice: String,
}

impl Flite {
    /// Uses the flite on the path with the voice "slt", "awb", "rms", "kal" or "kal16".
    pub fn new(voice: &str) -> Self {
        Self { voice: voice.to_owned() }
    }
}

impl Voice for Flite {
    fn synthesise(&mut self, text: &str, speed: f32) -> Result<Pcm, SpeakError> {
        let text = cleaned(text);
        if text.is_empty() {
            return Ok(Pcm { rate: 16_000, samples: Vec::new().into() });
        }
        let speed = if speed.is_finite() { speed.clamp(SPEEDS.0, SPEEDS.1) } else { 1.0 };
        let stretch = format!("duration_stretch={:.3}", 1.0 / speed);
        let arguments = ["-voice", &self.voice, "--setf", &stretch, "-t", &text, "-o", "/dev/stdout"];
        let program = Path::new(PROGRAM);
        let sound = run(program, &arguments, "", LIMIT)?;
        let (rate, samples) =
            decode_wav(&sound[..], Path::new("its output")).map_err(|e| failed(program, e.to_string()))?;
        Ok(Pcm { rate, samples: samples.into() })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_is_never_an_option_or_markup() {
        let length = |text: &str| Flite::new("kal").synthesise(text, 1.0).map(|pcm| pcm.samples.len());
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("stolen");
        match length(&format!("-o {}", file.display())) {
            Err(SpeakError::NoProgram { .. }) => return eprintln!("left out: flite is not installed"),
            other => assert!(other.unwrap() > 4_000 && !file.exists()),
        }
        assert_eq!(length("<break time='20s'/>hi").unwrap(), length("break time='20s'/ hi").unwrap());
        assert!(length("-voice").unwrap() > 1_000);
    }

    /// Needs flite; without it the test reports that it was left out.
    #[test]
    fn slower_speech_is_longer() {
        let mut voice = Flite::new("slt");
        let usual = match voice.synthesise("light on", 1.0) {
            Err(SpeakError::NoProgram { .. }) => return eprintln!("left out: flite is not installed"),
            other => other.unwrap(),
        };
        let slow = voice.synthesise("light on", 0.8).unwrap();
        assert!(usual.samples.len() > 4_000 && slow.samples.len() > usual.samples.len() * 11 / 10);
    }
}
