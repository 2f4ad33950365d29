//! Writes prompts into a WAV file, one after another with a pause between. The header is updated after every prompt, so a killed program leaves
//! a playable file.

use super::printed::spoken_samples;
use super::say::{Mouth, MouthEvent, MouthSender, RATE, Say, Tone};
use super::tones::tone_samples;
use super::voice::{SpeakError, Voice};
use super::volume::louder;
use crate::hear::resample::resample;
use crate::hear::to_16_bit;
use crate::system::{Inputs, create_new};
use hound::{SampleFormat, WavSpec, WavWriter};
use std::fs::File;
use std::io::BufWriter;
use std::path::{Path, PathBuf};

/// Sample rate of the file.
const TAPE_RATE: u32 = 22_050;
/// Silence after each prompt, in seconds.
const GAP_SECONDS: f32 = 0.4;

/// A mouth that writes a WAV file.
pub struct Tape {
    to: MouthSender,
    voice: Box<dyn Voice>,
    writer: Option<WavWriter<BufWriter<File>>>,
    path: PathBuf,
}

impl std::fmt::Debug for Tape {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Tape").field("path", &self.path).finish_non_exhaustive()
    }
}

fn unwritten(path: &Path, why: &hound::Error) -> SpeakError {
    SpeakError::File(format!("prompts cannot be written to '{}': {why}", path.display()))
}

impl Tape {
    /// Creates the file; never replaces an existing one.
    ///
    /// # Errors
    /// When the file exists or cannot be written, or the voice fails on a trial word.
    pub fn create(to: MouthSender, mut voice: Box<dyn Voice>, path: &Path) -> Result<Self, SpeakError> {
        voice.synthesise("ready", 1.0)?;
        let file_error = |e: hound::Error| unwritten(path, &e);
        let spec =
            WavSpec { channels: 1, sample_rate: TAPE_RATE, bits_per_sample: 16, sample_format: SampleFormat::Int };
        let file = create_new(path, &Inputs::default()).map_err(|why| SpeakError::File(why.to_string()))?;
        let mut writer = WavWriter::new(BufWriter::new(file), spec).map_err(file_error)?;
        writer.flush().map_err(file_error)?;
        Ok(Self { to, voice, writer: Some(writer), path: path.into() })
    }

    fn write(&mut self, sound: &[f32], gap_seconds: f32) {
        let Some(writer) = &mut self.writer else { return };
        let gap = std::iter::repeat_n(0.0, (gap_seconds * TAPE_RATE as f32) as usize);
        let written = sound
            .iter()
            .copied()
            .chain(gap)
            .try_for_each(|sample| writer.write_sample(to_16_bit(sample)))
            .and_then(|()| writer.flush());
        if let Err(error) = written {
            self.writer = None;
            let _ = self.to.send(MouthEvent::Lost(unwritten(&self.path, &error).to_string()));
        }
    }
}

impl Mouth for Tape {
    fn say(&mut self, say: Say) {
        let _ = self.to.send(MouthEvent::PromptBegan { id: say.id });
        let samples = match self.voice.synthesise(&say.text, say.speed) {
            Ok(pcm) => {
                let mut sound = resample(&pcm.samples, pcm.rate, TAPE_RATE);
                louder(&mut sound, say.volume);
                self.write(&sound, GAP_SECONDS);
                sound.len() as u64 * u64::from(RATE) / u64::from(TAPE_RATE)
            }
            Err(error) => {
                let _ = self.to.send(MouthEvent::Lost(error.to_string()));
                spoken_samples(&say.text, say.speed)
            }
        };
        let _ = self.to.send(MouthEvent::PromptEnded { id: say.id, whole: true, samples });
    }

    fn tone(&mut self, tone: Tone) {
        self.write(&tone_samples(tone, TAPE_RATE), 0.0);
    }

    fn is_live(&self) -> bool {
        false
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hear::read_wav_as_is;
    use crate::speak::Pcm;
    use tokio::sync::mpsc::unbounded_channel;

    /// A voice that returns a tenth of a second of a constant per word.
    struct Steps;
    impl Voice for Steps {
        fn synthesise(&mut self, text: &str, _: f32) -> Result<Pcm, SpeakError> {
            let words = text.split_whitespace().count();
            Ok(Pcm { rate: TAPE_RATE, samples: vec![0.5; words * 2_205].into() })
        }
    }

    #[test]
    fn the_file_is_whole_after_every_prompt_while_it_is_still_open() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("said.wav");
        let (to, mut from) = unbounded_channel();
        let mut tape = Tape::create(to, Box::new(Steps), &path).unwrap();
        assert_eq!(read_wav_as_is(&path).unwrap().1.len(), 0);
        tape.say(Say::new(1, "one two three"));
        let (rate, sound) = read_wav_as_is(&path).unwrap();
        assert_eq!((rate, sound.len()), (TAPE_RATE, 3 * 2_205 + 8_820));
        assert!((sound[100] - 0.5).abs() < 0.001 && sound[3 * 2_205 + 10] == 0.0);
        tape.say(Say::new(2, "four"));
        assert_eq!(hound::WavReader::open(&path).unwrap().duration(), 4 * 2_205 + 2 * 8_820);
        assert_eq!(from.try_recv(), Ok(MouthEvent::PromptBegan { id: 1 }));
        assert_eq!(from.try_recv(), Ok(MouthEvent::PromptEnded { id: 1, whole: true, samples: 4_800 }));
    }

    #[test]
    fn a_folder_that_is_not_there_is_a_sentence() {
        let (to, _from) = unbounded_channel();
        let error = Tape::create(to, Box::new(Steps), Path::new("/nowhere/said.wav")).unwrap_err();
        assert!(error.to_string().contains("/nowhere/said.wav"), "{error}");
    }

    #[test]
    fn a_recording_that_is_there_stays() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("said.wav");
        std::fs::write(&path, b"somebody's voice").unwrap();
        let error = Tape::create(unbounded_channel().0, Box::new(Steps), &path).unwrap_err();
        assert!(error.to_string().contains("is there already"), "{error}");
        assert_eq!(std::fs::read(&path).unwrap(), b"somebody's voice");
    }
}
