//! Voices for measuring, with sound at 16 kHz: speech programs of the system, and the neural voice. Sound is cached under `target/`, so
//! that a second run says the same.
#![allow(dead_code)]

use super::neural;
use super::recorded;
use probeside::hear::SAMPLE_RATE;
use std::hash::{Hash, Hasher};
use std::io::Cursor;
use std::path::PathBuf;
use std::process::{Command, Stdio};

/// A synthetic voice.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Voice {
    pub program: Program,
    /// Its name in that program.
    pub name: &'static str,
    /// Words per minute, if adjustable.
    pub speed: u32,
    /// Factor for pitch and formants.
    pub pitch: f32,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Program {
    Espeak,
    Flite,
    Festival,
    Neural,
    /// A real person, whose words are assembled.
    Recorded,
}

const fn espeak(name: &'static str, speed: u32) -> Voice {
    Voice { program: Program::Espeak, name, speed, pitch: 1.0 }
}
const fn flite(name: &'static str) -> Voice {
    Voice { program: Program::Flite, name, speed: 0, pitch: 1.0 }
}
const fn festival(name: &'static str, pitch: f32) -> Voice {
    Voice { program: Program::Festival, name, speed: 0, pitch }
}
const fn moved(name: &'static str, pitch: f32) -> Voice {
    Voice { program: Program::Flite, name, speed: 0, pitch }
}
const fn joe(accent: &'static str, speed: u32, pitch: f32) -> Voice {
    Voice { program: Program::Neural, name: accent, speed, pitch }
}

const fn recorded(name: &'static str) -> Voice {
    Voice { program: Program::Recorded, name, speed: 0, pitch: 1.0 }
}

/// Voices for fitting coefficients and thresholds.
pub const FOR_FITTING: &[Voice] = &[
    espeak("en-us", 150),
    espeak("en-gb+f2", 165),
    espeak("en-gb-scotland+m3", 145),
    espeak("en-us+f4", 160),
    espeak("en-gb-x-gbcwmd+Andy", 155),
    flite("kal16"),
    flite("slt"),
    moved("slt", 1.12),
    moved("slt", 0.85),
    moved("kal16", 1.1),
    festival("ked_diphone", 1.0),
    festival("ked_diphone", 0.9),
    festival("cmu_us_slt_arctic_hts", 1.07),
];

/// Voices for reported results.
pub const FOR_TESTING: &[Voice] = &[
    espeak("en-gb-x-rp", 155),
    espeak("en-029+f5", 150),
    espeak("en-us+m7", 170),
    espeak("en-gb-x-gbclan+f3", 150),
    espeak("en-us-nyc+Alicia", 160),
    flite("rms"),
    flite("awb"),
    moved("rms", 1.1),
    joe("en-us", 160, 1.0),
    joe("en-gb-x-rp", 170, 1.08),
    joe("en-us", 150, 0.92),
    joe("en-gb-scotland", 160, 1.15),
];

/// Real people, who say only numbers.
pub const PEOPLE: &[Voice] =
    &[recorded("en_US_f_Allison"), recorded("jackson"), recorded("theo"), recorded("yweweler")];

/// Whether the program can be run.
pub fn have(program: &str) -> bool {
    Command::new(program).arg("--version").stdout(Stdio::null()).stderr(Stdio::null()).status().is_ok()
}

impl Voice {
    /// Whether this machine has the voice.
    pub fn is_there(&self) -> bool {
        match self.program {
            Program::Espeak => have("espeak-ng"),
            Program::Flite => have("flite"),
            // A voice that festival lacks is silent.
            Program::Festival => have("festival") && !self.say("hello").is_empty(),
            Program::Neural => neural::there() && have("espeak-ng"),
            Program::Recorded => recorded::is_there(self.name),
        }
    }

    /// Its half in `tests/measure/letters/train.py`. 0 if its accent is in neither.
    pub fn group(&self) -> usize {
        let second = ["en-gb-scotland", "en-gb-x-gbcwmd", "slt", "cmu_us_slt_arctic_hts"];
        usize::from(second.iter().any(|name| self.name.split('+').next() == Some(*name)))
    }

    /// Its name in tables.
    pub fn label(&self) -> String {
        let program = match self.program {
            Program::Espeak => "espeak",
            Program::Flite => "flite",
            Program::Festival => "festival",
            Program::Neural => "neural",
            Program::Recorded => "real",
        };
        match self.pitch {
            1.0 => format!("{program} {}", self.name),
            pitch => format!("{program} {} x{pitch}", self.name),
        }
    }

    /// Whether it can say this.
    pub fn can_say(&self, words: &str) -> bool {
        self.program != Program::Recorded || recorded::can_say(self.name, words)
    }

    /// Says `words`, mono, 16 kHz. Uses the cache if it said them before.
    pub fn say(&self, words: &str) -> Vec<f32> {
        let mut hasher = std::hash::DefaultHasher::new();
        (self.label(), self.speed, words).hash(&mut hasher);
        let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("target/said");
        let file = folder.join(format!("{:016x}", hasher.finish()));
        if let Ok(bytes) = std::fs::read(&file) {
            return bytes.chunks_exact(2).map(|b| f32::from(i16::from_le_bytes([b[0], b[1]])) / 32_768.0).collect();
        }
        let sound = self.synthesise(words);
        let bytes: Vec<u8> = sound.iter().flat_map(|x| ((x * 32_767.0) as i16).to_le_bytes()).collect();
        let part = file.with_extension(format!("{:?}", std::thread::current().id()));
        let kept = std::fs::create_dir_all(&folder).and_then(|()| std::fs::write(&part, &bytes));
        if kept.and_then(|()| std::fs::rename(&part, &file)).is_err() {
            eprintln!("{}: could not be kept", file.display());
        }
        sound
    }

    fn synthesise(&self, words: &str) -> Vec<f32> {
        let moved = (SAMPLE_RATE as f32 * self.pitch) as usize;
        match self.program {
            Program::Recorded => recorded::say(self.name, words),
            Program::Neural => {
                // It is later played faster by the pitch factor, so it speaks slower by the same factor.
                let slow = 160.0 / self.speed as f32 * self.pitch;
                let sound = neural::say(words, self.name, slow).expect("the neural voice speaks");
                resample(&sound, (neural::RATE as f32 * self.pitch) as usize, SAMPLE_RATE)
            }
            Program::Flite => {
                let file = scratch();
                let mut command = Command::new("flite");
                command.args(["-voice", self.name, "--setf", &format!("duration_stretch={}", self.pitch), "-t", words]);
                let done = command.arg("-o").arg(&file).status().expect("flite runs");
                assert!(done.success(), "flite -voice {} failed", self.name);
                let sound = read_wav(&std::fs::read(&file).expect("flite wrote its file"));
                let _ = std::fs::remove_file(file);
                resample(&sound, moved, SAMPLE_RATE)
            }
            Program::Festival => {
                let file = scratch();
                let spoken = format!(
                    "(begin (voice_{}) (Parameter.set 'Duration_Stretch {}) (utt.save.wave (utt.synth (Utterance Text \"{words}\")) \"{}\" 'riff))",
                    self.name,
                    self.pitch,
                    file.display()
                );
                let done = Command::new("festival").args(["-b", &spoken]).output().expect("festival runs");
                let Ok(bytes) = std::fs::read(&file) else {
                    eprintln!("festival: {}", String::from_utf8_lossy(&done.stderr));
                    return Vec::new();
                };
                let _ = std::fs::remove_file(file);
                resample(&read_wav(&bytes), moved, SAMPLE_RATE)
            }
            Program::Espeak => {
                let mut command = Command::new("espeak-ng");
                command.args(["-v", self.name, "-s", &self.speed.to_string(), "--stdout", words]);
                resample(&read_wav(&command.output().expect("espeak-ng runs").stdout), moved, SAMPLE_RATE)
            }
        }
    }
}

/// A scratch file for this thread.
fn scratch() -> PathBuf {
    let who = (std::process::id(), std::thread::current().id());
    std::env::temp_dir().join(format!("probeside-say-{who:?}.wav").replace(['(', ')', ' ', '"'], ""))
}

/// The sound of a WAV file: first channel, resampled to 16 kHz.
pub fn read_wav(bytes: &[u8]) -> Vec<f32> {
    // A program that writes to a pipe cannot know the length, and leaves huge size fields.
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

/// Resamples with a Hann-windowed sinc of 16 zero crossings on each side.
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
