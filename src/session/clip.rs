//! Clips: the audio of single answers, and pieces of a whole session's. 16 kHz, mono, 16 bits, lossless FLAC (RFC 9639).

use flacenc::bitsink::ByteSink;
use flacenc::component::BitRepr;
use flacenc::error::{SourceError, Verify};
use flacenc::source::{Fill, Source};
use std::io::Cursor;

/// Sample rate of clips, hertz. The recogniser uses the same.
pub const CLIP_RATE: u32 = 16_000;
/// The clips' folder within a session's folder.
pub const CLIPS: &str = "clips";
/// Bits per sample.
const BITS: usize = 16;
/// Fewest samples in a block (RFC 9639, 8.2). The last block is padded with silence. The RFC allows a shorter last block, but the encoder
/// includes it in the smallest block size it declares, which decoders reject.
const SHORTEST: usize = 16;

/// The file of the clip with this id.
pub fn clip_file(id: &str) -> String {
    format!("{CLIPS}/{id}.flac")
}

/// Encodes the audio as a FLAC file. Full scale is 1.0; louder samples are clipped.
///
/// # Errors
/// The encoder's refusal, as a sentence.
pub fn flac(sound: impl Iterator<Item = f32>) -> Result<Vec<u8>, String> {
    let config = flacenc::config::Encoder::default().into_verified().map_err(|(_, error)| error.to_string())?;
    let source = Stream { sound, block: Vec::with_capacity(config.block_size), begun: false };
    let stream =
        flacenc::encode_with_fixed_block_size(&config, source, config.block_size).map_err(|error| error.to_string())?;
    let mut sink = ByteSink::new();
    stream.write(&mut sink).map_err(|error| format!("{error:?}"))?;
    Ok(sink.into_inner())
}

/// Feeds audio to the encoder one block at a time.
struct Stream<I> {
    sound: I,
    block: Vec<i32>,
    begun: bool,
}

impl<I: Iterator<Item = f32>> Source for Stream<I> {
    fn channels(&self) -> usize {
        1
    }

    fn bits_per_sample(&self) -> usize {
        BITS
    }

    fn sample_rate(&self) -> usize {
        CLIP_RATE as usize
    }

    fn read_samples<F: Fill>(&mut self, block_size: usize, dest: &mut F) -> Result<usize, SourceError> {
        let whole = |sample: f32| (sample.clamp(-1.0, 1.0) * f32::from(i16::MAX)).round() as i32;
        self.block.clear();
        self.block.extend(self.sound.by_ref().take(block_size).map(whole));
        let begun = std::mem::replace(&mut self.begun, true);
        if !(begun && self.block.is_empty()) && self.block.len() < SHORTEST {
            self.block.resize(SHORTEST, 0);
        }
        dest.fill_interleaved(&self.block)?;
        Ok(self.block.len())
    }
}

/// Decodes a clip's file, one channel at [`CLIP_RATE`], full scale 1.0. Returns at most `most` samples.
///
/// # Errors
/// A sentence if the bytes are not such a clip.
pub fn clip_sound(bytes: &[u8], most: usize) -> Result<Vec<f32>, String> {
    let broken = |error: claxon::Error| format!("it is not whole FLAC: {error}");
    let mut reader = claxon::FlacReader::new(Cursor::new(bytes)).map_err(broken)?;
    let info = reader.streaminfo();
    if info.channels != 1 || info.sample_rate != CLIP_RATE || info.bits_per_sample != BITS as u32 {
        return Err(format!(
            "it has {} channels of {} bits at {} Hz; a clip has one of {BITS} bits at {CLIP_RATE} Hz",
            info.channels, info.bits_per_sample, info.sample_rate
        ));
    }
    let scale = f32::from(i16::MAX);
    reader.samples().take(most).map(|sample| sample.map(|s| s as f32 / scale).map_err(broken)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const MOST: usize = 1 << 20;

    fn sixteen_bits(sound: &[f32]) -> Vec<i32> {
        sound.iter().map(|s| (s * f32::from(i16::MAX)).round() as i32).collect()
    }

    #[test]
    fn a_tone_comes_back_to_the_last_bit_and_takes_less_room() {
        let tone: Vec<f32> = (0..24_000).map(|i| (i as f32 * 0.17).sin() * 0.5).collect();
        let bytes = flac(tone.iter().copied()).unwrap();
        assert_eq!(&bytes[..4], b"fLaC");
        assert!(bytes.len() < tone.len() * 2, "{} bytes", bytes.len());
        assert_eq!(sixteen_bits(&clip_sound(&bytes, MOST).unwrap()), sixteen_bits(&tone));
        assert_eq!(
            flac(tone.iter().copied()).unwrap(),
            bytes,
            "the same sound gives the same file, so that its hash can be compared"
        );
    }

    #[test]
    fn no_more_is_read_than_was_asked_for() {
        let bytes = flac(std::iter::repeat_n(0.0, 100_000)).unwrap();
        assert_eq!(clip_sound(&bytes, 10).unwrap().len(), 10);
    }

    #[test]
    fn sound_of_any_length_around_a_whole_block_comes_back() {
        for blocks in [0, 1, 2] {
            for more in 0..40 {
                let sound = vec![0.25; blocks * 4_096 + more];
                let back = clip_sound(&flac(sound.iter().copied()).unwrap(), MOST).unwrap();
                assert_eq!(sixteen_bits(&back[..sound.len()]), sixteen_bits(&sound), "{} samples", sound.len());
                assert!(back[sound.len()..].iter().all(|s| *s == 0.0) && back.len() <= sound.len() + SHORTEST);
            }
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]
        #[test]
        fn any_sound_comes_back(samples in proptest::collection::vec(-32_767i32..=32_767, 0..6_000)) {
            let sound: Vec<f32> = samples.iter().map(|s| *s as f32 / f32::from(i16::MAX)).collect();
            let back = sixteen_bits(&clip_sound(&flac(sound.iter().copied()).unwrap(), MOST).unwrap());
            prop_assert_eq!(&back[..samples.len()], &samples[..]);
            // The least silence that makes the last block complete or long enough.
            let least = (samples.len().max(1)..).find(|n| n % 4_096 == 0 || n % 4_096 >= SHORTEST);
            prop_assert!(back[samples.len()..].iter().all(|s| *s == 0) && Some(back.len()) == least);
        }

        #[test]
        fn bytes_from_strangers_are_a_sentence(mut at in 0usize..400, with in any::<u8>(), cut in 0usize..400) {
            let mut bytes = flac([0.25; 300].into_iter()).unwrap();
            at %= bytes.len();
            bytes[at] = with;
            bytes.truncate(bytes.len().saturating_sub(cut));
            let _ = clip_sound(&bytes, MOST);
        }
    }
}
