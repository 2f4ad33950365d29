//! Reads and writes WAV files.

use super::ears::RATE;
use super::resample::{RATES, mix_down, resample};
use crate::system::{Links, open};
use hound::{SampleFormat, WavReader, WavSpec, WavWriter};
use std::io::Read;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// Longest file read, in seconds: two hours, more than a whole session.
const LONGEST_SECONDS: u64 = 2 * 60 * 60;
/// Most bytes read of a file: the header's sizes have 32 bits.
const MOST_BYTES: u64 = 4 << 30;
/// Most channels; more means a broken header.
const MOST_CHANNELS: u16 = 32;

/// A WAV file was not read or written.
#[derive(Debug, Error)]
pub enum WavError {
    /// It cannot be opened or read.
    #[error("{}: this file cannot be read: {why}", .path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// The system's error.
        why: std::io::Error,
    },
    /// It is not a WAV file, or of an unsupported kind.
    #[error("{}: this is not a WAV file that can be read: {why}; convert it to 16-bit PCM", .path.display())]
    NotWav {
        /// The file.
        path: PathBuf,
        /// The reason.
        why: String,
    },
    /// A value in its header, or its length, is out of bounds.
    #[error("{}: {what}; convert the file to 16-bit PCM, one channel, 16000 samples a second", .path.display())]
    OutOfBounds {
        /// The file.
        path: PathBuf,
        /// Which value, as a clause.
        what: String,
    },
    /// It cannot be written.
    #[error("{}: this file cannot be written: {why}", .path.display())]
    Unwritable {
        /// The file.
        path: PathBuf,
        /// The system's error.
        why: String,
    },
}

/// Reads a WAV file of any rate, channel count and sample format (8 to 32 bit, float) as mono sound at 16 kHz.
///
/// A truncated file is read as far as it goes.
///
/// # Errors
/// When the file cannot be read, is not a WAV file, or is out of bounds (such as longer than two hours).
pub fn read_wav(path: &Path) -> Result<Vec<f32>, WavError> {
    let (rate, sound) = read_wav_as_is(path)?;
    Ok(resample(&sound, rate, RATE))
}

/// As [`read_wav`], at the file's own rate: the sample rate and mono sound.
///
/// # Errors
/// As [`read_wav`].
pub fn read_wav_as_is(path: &Path) -> Result<(u32, Vec<f32>), WavError> {
    let unreadable = |why| WavError::Unreadable { path: path.into(), why };
    let file = open(path, Links::Follow).map_err(unreadable)?;
    decode(std::io::BufReader::new(file.take(MOST_BYTES)), path)
}

/// Decodes a WAV stream to its sample rate and mono sound. Errors name `path`.
pub(crate) fn decode(from: impl Read, path: &Path) -> Result<(u32, Vec<f32>), WavError> {
    let not_wav = |why: String| WavError::NotWav { path: path.into(), why };
    let mut reader = WavReader::new(from).map_err(|e| not_wav(e.to_string().trim_end_matches('.').to_owned()))?;
    let spec = reader.spec();
    let beyond = |what: String| Err(WavError::OutOfBounds { path: path.into(), what });
    if !RATES.contains(&spec.sample_rate) {
        return beyond(format!("its header says {} samples a second, which is beyond reason", spec.sample_rate));
    }
    if spec.channels == 0 || spec.channels > MOST_CHANNELS {
        return beyond(format!("its header says {} channels, which is beyond reason", spec.channels));
    }
    let channels = usize::from(spec.channels);
    let most = LONGEST_SECONDS * u64::from(spec.sample_rate);
    let mut sound = Vec::new();
    let mut frame = Vec::with_capacity(channels);
    let full_scale = (1_u64 << (spec.bits_per_sample.clamp(1, 32) - 1)) as f32;
    let mut add = |sample: f32| {
        frame.push(if sample.is_finite() { sample.clamp(-1.0, 1.0) } else { 0.0 });
        if frame.len() == channels {
            mix_down(&frame, channels, &mut sound);
            frame.clear();
        }
        sound.len() as u64 <= most
    };
    let mut within = true;
    match spec.sample_format {
        SampleFormat::Float => {
            let mut samples = reader.samples::<f32>();
            while let Some(Ok(sample)) = samples.next()
                && within
            {
                within = add(sample);
            }
        }
        SampleFormat::Int => {
            let mut samples = reader.samples::<i32>();
            while let Some(Ok(sample)) = samples.next()
                && within
            {
                within = add(sample as f32 / full_scale);
            }
        }
    }
    if !within {
        return beyond(String::from("it is longer than two hours"));
    }
    if sound.is_empty() && reader.duration() > 0 {
        return Err(not_wav(String::from("its samples cannot be decoded")));
    }
    Ok((spec.sample_rate, sound))
}

/// Writes mono sound as a 16-bit WAV file.
///
/// # Errors
/// When the file cannot be written.
pub fn write_wav(path: &Path, sound: &[f32], rate: u32) -> Result<(), WavError> {
    let unwritable = |e: hound::Error| WavError::Unwritable { path: path.into(), why: e.to_string() };
    let spec = WavSpec { channels: 1, sample_rate: rate, bits_per_sample: 16, sample_format: SampleFormat::Int };
    let mut writer = WavWriter::create(path, spec).map_err(unwritable)?;
    for sample in sound {
        writer.write_sample(to_16_bit(*sample)).map_err(unwritable)?;
    }
    writer.finalize().map_err(unwritable)
}

/// Converts a sample of -1 to 1 to a 16-bit integer, with clamping.
pub fn to_16_bit(sample: f32) -> i16 {
    (sample * 32_768.0).round().clamp(-32_768.0, 32_767.0) as i16
}

#[cfg(test)]
mod tests {
    use super::super::level::rms;
    use super::*;
    use tempfile::tempdir;

    fn spec(bits: u16, rate: u32, channels: u16, format: SampleFormat) -> WavSpec {
        WavSpec { channels, sample_rate: rate, bits_per_sample: bits, sample_format: format }
    }

    /// A 440 Hz sine at half of full scale; its root mean square is 0.5 / sqrt(2) = 0.35355.
    fn sine(n: u32, rate: u32) -> f32 {
        0.5 * (std::f32::consts::TAU * 440.0 * n as f32 / rate as f32).sin()
    }

    #[test]
    fn every_width_rate_and_channel_count_comes_out_as_the_same_sine() {
        let folder = tempdir().unwrap();
        let path = folder.path().join("a.wav");
        for (bits, rate, channels, format) in [
            (8, 8_000, 1, SampleFormat::Int),
            (16, 44_100, 2, SampleFormat::Int),
            (24, 48_000, 1, SampleFormat::Int),
            (32, 16_000, 3, SampleFormat::Int),
            (32, 96_000, 2, SampleFormat::Float),
        ] {
            let mut writer = WavWriter::create(&path, spec(bits, rate, channels, format)).unwrap();
            for n in 0..rate {
                for _ in 0..channels {
                    match format {
                        SampleFormat::Float => writer.write_sample(sine(n, rate)).unwrap(),
                        SampleFormat::Int => {
                            let full = (1_i64 << (bits - 1)) as f32;
                            writer.write_sample((sine(n, rate) * full) as i32).unwrap();
                        }
                    }
                }
            }
            writer.finalize().unwrap();
            let sound = read_wav(&path).unwrap();
            assert_eq!(sound.len(), RATE as usize, "{bits} bit, {rate} Hz");
            let middle = &sound[1_600..14_400];
            let rms = rms(middle);
            assert!((rms - 0.353_55).abs() < 0.005, "{bits} bit, {rate} Hz, {channels} channels: {rms}");
        }
    }

    #[test]
    fn broken_files_are_sentences() {
        let folder = tempdir().unwrap();
        let path = folder.path().join("b.wav");
        assert!(read_wav(&path).unwrap_err().to_string().contains("cannot be read"));
        std::fs::write(&path, b"").unwrap();
        assert!(matches!(read_wav(&path), Err(WavError::NotWav { .. })));
        std::fs::write(&path, b"RIFF\xff\xff\xff\xffWAVEfmt ").unwrap();
        assert!(matches!(read_wav(&path), Err(WavError::NotWav { .. })));
        assert!(matches!(read_wav(folder.path()), Err(WavError::Unreadable { .. })));
        write_wav(&path, &[0.1; 100], 1).unwrap();
        let said = read_wav(&path).unwrap_err().to_string();
        assert!(said.contains("1 samples a second"), "{said}");
    }

    #[test]
    fn a_file_cut_short_is_read_as_far_as_it_goes() {
        let folder = tempdir().unwrap();
        let path = folder.path().join("c.wav");
        write_wav(&path, &[0.25; 16_000], RATE).unwrap();
        let bytes = std::fs::read(&path).unwrap();
        std::fs::write(&path, &bytes[..44 + 2 * 4_000 + 1]).unwrap();
        assert_eq!(read_wav(&path).unwrap().len(), 4_000);
    }

    proptest::proptest! {
        #[test]
        fn no_bytes_make_it_panic(bytes in proptest::collection::vec(proptest::num::u8::ANY, 0..400), header in proptest::bool::ANY) {
            let mut all = if header { b"RIFF\x64\0\0\0WAVEfmt \x10\0\0\0\x01\0".to_vec() } else { Vec::new() };
            all.extend(bytes);
            let _ = decode(std::io::Cursor::new(all), Path::new("x.wav"));
        }
    }

    #[test]
    fn sixteen_bits_are_limited_not_wrapped() {
        assert_eq!([to_16_bit(1.5), to_16_bit(-1.5), to_16_bit(0.5)], [32_767, -32_768, 16_384]);
    }
}
