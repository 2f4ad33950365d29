//! A short recording with known words, embedded in the program. It is the beginning of a recording that comes with the speech model, cut by
//! `tests/measure/known-clip.sh`.

use hound::WavReader;

const CLIP: &[u8] = include_bytes!("../../../models/known-clip.wav");
/// Its words; one more word follows, cut short.
pub(in crate::hear) const WORDS: &str = "it was the best of";

/// The recording, 16 kHz.
pub(in crate::hear) fn sound() -> Vec<f32> {
    let Ok(reader) = WavReader::new(CLIP) else { return Vec::new() };
    reader.into_samples::<i16>().flatten().map(|sample| f32::from(sample) / 32_768.0).collect()
}
