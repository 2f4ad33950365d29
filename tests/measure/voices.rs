//! Voices to measure with: programs of the system, run as programs, and their sound at 16 kHz.
#![allow(dead_code)]

use probeside::hear::SAMPLE_RATE;
use std::io::Cursor;
use std::process::{Command, Stdio};

/// A synthetic voice: the program, its name there, words a minute where it can be set.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Voice {
    pub program: &'static str,
    pub name: &'static str,
    pub speed: u32,
}

const fn espeak(name: &'static str, speed: u32) -> Voice {
    Voice { program: "espeak-ng", name, speed }
}
const fn flite(name: &'static str) -> Voice {
    Voice { program: "flite", name, speed: 0 }
}

/// Voices that coefficients and thresholds are fitted on.
pub const FOR_FITTING: &[Voice] = &[
    espeak("en-us", 150),
    espeak("en-gb+f2", 165),
    espeak("en-gb-scotland+m3", 145),
    espeak("en-us+f4", 160),
    flite("kal16"),
    flite("slt"),
];

/// Voices that results are reported on.
pub const FOR_TESTING: &[Voice] = &[
    espeak("en-gb-x-rp", 155),
    espeak("en-029+f5", 150),
    espeak("en-us+m7", 170),
    espeak("en-gb-x-gbclan+f3", 150),
    flite("rms"),
    flite("awb"),
];

/// True when the program can be run.
pub fn have(program: &str) -> bool {
    Command::new(program).arg("--version").stdout(Stdio::null()).stderr(Stdio::null()).status().is_ok()
}

impl Voice {
    /// Says `words`; mono, 16 kHz.
    pub fn say(&self, words: &str) -> Vec<f32> {
        let mut command = Command::new(self.program);
        if self.program == "flite" {
            let file = std::env::temp_dir().join(format!(
                "probeside-say-{}-{:?}.wav",
                std::process::id(),
                std::thread::current().id()
            ));
            command.args(["-voice", self.name, "-t", words, "-o"]).arg(&file);
            let done = command.status().expect("flite runs");
            assert!(done.success(), "flite -voice {} failed", self.name);
            let sound = read_wav(&std::fs::read(&file).expect("flite wrote its file"));
            let _ = std::fs::remove_file(file);
            sound
        } else {
            command.args(["-v", self.name, "-s", &self.speed.to_string(), "--stdout", words]);
            read_wav(&command.output().expect("espeak-ng runs").stdout)
        }
    }
}

/// A WAV file's sound: first channel, resampled to 16 kHz.
pub fn read_wav(bytes: &[u8]) -> Vec<f32> {
    // A program that writes to a pipe cannot know the length and leaves the size fields huge.
    let mut bytes = bytes.to_vec();
    if let Some(at) = bytes.windows(4).position(|w| w == b"data") {
        let length = (bytes.len() - at - 8) as u32;
        bytes[at + 4..at + 8].copy_from_slice(&length.to_le_bytes());
    }
    let mut reader = hound::WavReader::new(Cursor::new(bytes)).expect("a WAV file");
    let spec = reader.spec();
    let sound: Vec<f32> = reader
        .samples::<i16>()
        .step_by(spec.channels as usize)
        .map(|s| f32::from(s.expect("16-bit samples")) / 32_768.0)
        .collect();
    resample(&sound, spec.sample_rate as usize, SAMPLE_RATE)
}

/// Resamples by a Hann-windowed sinc of 16 zero crossings each side.
pub fn resample(sound: &[f32], from: usize, to: usize) -> Vec<f32> {
    if from == to {
        return sound.to_vec();
    }
    let cutoff = (to as f64 / from as f64).min(1.0) * 0.97;
    let reach = (16.0 / cutoff).ceil() as i64;
    let count = sound.len() * to / from;
    (0..count)
        .map(|i| {
            let centre = i as f64 * from as f64 / to as f64;
            let mut sum = 0.0;
            for k in (centre as i64 - reach).max(0)..=(centre as i64 + reach).min(sound.len() as i64 - 1) {
                let x = k as f64 - centre;
                let window = 0.5 + 0.5 * (std::f64::consts::PI * x / (reach + 1) as f64).cos();
                let arg = std::f64::consts::PI * x * cutoff;
                let sinc = if arg.abs() < 1e-9 { 1.0 } else { arg.sin() / arg };
                sum += f64::from(sound[k as usize]) * sinc * window * cutoff;
            }
            sum as f32
        })
        .collect()
}
