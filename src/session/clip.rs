//! Clips: sound of single answers, 16 kHz, one channel, 16 bits, without loss as FLAC (RFC 9639).

use flacenc::bitsink::ByteSink;
use flacenc::component::BitRepr;
use flacenc::error::Verify;
use flacenc::source::MemSource;
use std::io::Cursor;

/// Sample rate of clips, hertz; what the recogniser hears.
pub const CLIP_RATE: u32 = 16_000;
/// Folder of the clips within a session's.
pub const CLIPS: &str = "clips";
/// Bits of a sample.
const BITS: usize = 16;
/// Samples of a block at least (RFC 9639, 8.2): the last one is filled up with silence. The RFC lets the last block be shorter, but the
/// encoder counts it into the smallest block that it declares, which decoders refuse.
const SHORTEST: usize = 16;

/// Where the clip with this id is kept.
pub fn clip_file(id: &str) -> String {
    format!("{CLIPS}/{id}.flac")
}

/// A whole FLAC file of the sound; full scale is 1.0, beyond it is clipped.
pub(super) fn flac(sound: &[f32]) -> Result<Vec<u8>, String> {
    let mut samples: Vec<i32> =
        sound.iter().map(|sample| (sample.clamp(-1.0, 1.0) * f32::from(i16::MAX)).round() as i32).collect();
    let config = flacenc::config::Encoder::default().into_verified().map_err(|(_, error)| error.to_string())?;
    samples.resize(filled_up(samples.len(), config.block_size), 0);
    let source = MemSource::from_samples(&samples, 1, BITS, CLIP_RATE as usize);
    let stream =
        flacenc::encode_with_fixed_block_size(&config, source, config.block_size).map_err(|error| error.to_string())?;
    let mut sink = ByteSink::new();
    stream.write(&mut sink).map_err(|error| format!("{error:?}"))?;
    Ok(sink.into_inner())
}

/// How many samples are kept of `samples`, so that none of the blocks is too short.
fn filled_up(samples: usize, block: usize) -> usize {
    let last = samples % block;
    if samples == 0 || (1..SHORTEST).contains(&last) { samples - last + SHORTEST } else { samples }
}

/// The sound of a clip's file: one channel at [`CLIP_RATE`], full scale 1.0.
///
/// # Errors
/// A sentence when the bytes are not a clip of that kind.
pub fn clip_sound(bytes: &[u8]) -> Result<Vec<f32>, String> {
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
    reader.samples().map(|sample| sample.map(|s| s as f32 / scale).map_err(broken)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn sixteen_bits(sound: &[f32]) -> Vec<i32> {
        sound.iter().map(|s| (s * f32::from(i16::MAX)).round() as i32).collect()
    }

    #[test]
    fn a_tone_comes_back_to_the_last_bit_and_takes_less_room() {
        let tone: Vec<f32> = (0..24_000).map(|i| (i as f32 * 0.17).sin() * 0.5).collect();
        let bytes = flac(&tone).unwrap();
        assert_eq!(&bytes[..4], b"fLaC");
        assert!(bytes.len() < tone.len() * 2, "{} bytes", bytes.len());
        assert_eq!(sixteen_bits(&clip_sound(&bytes).unwrap()), sixteen_bits(&tone));
        assert_eq!(flac(&tone).unwrap(), bytes, "the same sound gives the same file, so that its hash can be compared");
    }

    #[test]
    fn sound_of_any_length_around_a_whole_block_comes_back() {
        for blocks in [0, 1, 2] {
            for more in 0..40 {
                let sound = vec![0.25; blocks * 4_096 + more];
                let back = clip_sound(&flac(&sound).unwrap()).unwrap();
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
            let back = sixteen_bits(&clip_sound(&flac(&sound).unwrap()).unwrap());
            prop_assert_eq!(&back[..samples.len()], &samples[..]);
            // As little silence as makes the last block whole or long enough.
            let least = (samples.len().max(1)..).find(|n| n % 4_096 == 0 || n % 4_096 >= SHORTEST);
            prop_assert!(back[samples.len()..].iter().all(|s| *s == 0) && Some(back.len()) == least);
        }

        #[test]
        fn bytes_from_strangers_are_a_sentence(mut at in 0usize..400, with in any::<u8>(), cut in 0usize..400) {
            let mut bytes = flac(&[0.25; 300]).unwrap();
            at %= bytes.len();
            bytes[at] = with;
            bytes.truncate(bytes.len().saturating_sub(cut));
            let _ = clip_sound(&bytes);
        }
    }
}
