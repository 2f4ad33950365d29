//! Clips: sound of single answers, 16 kHz, one channel, 16-bit WAV.

use hound::{SampleFormat, WavSpec, WavWriter};
use std::io::Cursor;

/// Sample rate of clips, hertz; what the recogniser hears.
pub const CLIP_RATE: u32 = 16_000;
/// Folder of the clips within a session's.
pub const CLIPS: &str = "clips";

/// Where the clip with this id is kept.
pub fn clip_file(id: &str) -> String {
    format!("{CLIPS}/{id}.wav")
}

/// A whole WAV file of the sound; full scale is 1.0, beyond it is clipped.
pub(super) fn wav(sound: &[f32]) -> Result<Vec<u8>, hound::Error> {
    let spec = WavSpec { channels: 1, sample_rate: CLIP_RATE, bits_per_sample: 16, sample_format: SampleFormat::Int };
    let mut bytes = Cursor::new(Vec::with_capacity(sound.len() * 2 + 44));
    let mut writer = WavWriter::new(&mut bytes, spec)?;
    for sample in sound {
        writer.write_sample((sample.clamp(-1.0, 1.0) * f32::from(i16::MAX)).round() as i16)?;
    }
    writer.finalize()?;
    Ok(bytes.into_inner())
}
