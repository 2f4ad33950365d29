//! Converts sample rates, band-limited, for streams or whole sounds; and interleaved channels to mono.

use rubato::audioadapter_buffers::direct::InterleavedSlice;
use rubato::{
    Async, FixedAsync, Indexing, Resampler as _, SincInterpolationParameters, SincInterpolationType, WindowFunction,
};

/// Sample rates accepted, in hertz: from half the telephone rate to studio converters.
pub(super) const RATES: std::ops::RangeInclusive<u32> = 4_000..=384_000;

/// Input samples per step.
const CHUNK: usize = 480;
/// Filter length. With this window, aliases are 90 dB down and 0.9 of the band passes.
const SINC: usize = 128;

/// A streaming resampler for mono sound. It drops the filter's delay from the start of the output.
pub(super) struct Resampler {
    inner: Option<Async<f32>>,
    held: Vec<f32>,
    step: Vec<f32>,
    /// Output samples still to drop for the filter's delay.
    drop: usize,
    ratio: f64,
    consumed: u64,
    produced: u64,
}

impl std::fmt::Debug for Resampler {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Resampler").field("ratio", &self.ratio).finish_non_exhaustive()
    }
}

impl Resampler {
    /// Converts from `from` to `to` samples a second. Rates outside [`RATES`] are clamped.
    pub fn new(from: u32, to: u32) -> Self {
        let inside = |rate: u32| rate.clamp(*RATES.start(), *RATES.end());
        let ratio = f64::from(inside(to)) / f64::from(inside(from));
        let parameters = SincInterpolationParameters::new(SINC, WindowFunction::BlackmanHarris2)
            .oversampling_factor(256)
            .interpolation(SincInterpolationType::Linear);
        let inner = (ratio != 1.0)
            .then(|| Async::new_sinc(ratio, 1.0, &parameters, CHUNK, 1, FixedAsync::Input).ok())
            .flatten();
        let step = vec![0.0; inner.as_ref().map_or(0, |i| i.output_frames_max())];
        let drop = inner.as_ref().map_or(0, |i| i.output_delay());
        Self { inner, held: Vec::with_capacity(2 * CHUNK), step, drop, ratio, consumed: 0, produced: 0 }
    }

    /// Takes input and appends the output that is ready.
    pub fn push(&mut self, input: &[f32], out: &mut Vec<f32>) {
        self.consumed += input.len() as u64;
        if self.inner.is_none() {
            self.produced += input.len() as u64;
            out.extend_from_slice(input);
            return;
        }
        self.held.extend_from_slice(input);
        let mut at = 0;
        while self.held.len() - at >= CHUNK {
            let chunk: [f32; CHUNK] = self.held[at..at + CHUNK].try_into().expect("a chunk long");
            self.step(&chunk, out);
            at += CHUNK;
        }
        self.held.drain(..at);
    }

    /// Ends the input: appends what the filter still holds, so that the output lasts as long as the input.
    pub fn finish(&mut self, out: &mut Vec<f32>) {
        let want = (self.consumed as f64 * self.ratio).round() as u64;
        let mut chunk = [0.0; CHUNK];
        chunk[..self.held.len()].copy_from_slice(&self.held);
        self.held.clear();
        while self.inner.is_some() && self.produced < want {
            self.step(&chunk, out);
            chunk = [0.0; CHUNK];
        }
        let excess = self.produced.saturating_sub(want) as usize;
        out.truncate(out.len().saturating_sub(excess));
        self.produced = want;
    }

    fn step(&mut self, chunk: &[f32; CHUNK], out: &mut Vec<f32>) {
        let Some(inner) = &mut self.inner else { return };
        let room = self.step.len();
        let (Ok(from), Ok(mut to)) =
            (InterleavedSlice::new(chunk, 1, CHUNK), InterleavedSlice::new_mut(&mut self.step, 1, room))
        else {
            return;
        };
        let Ok((_, made)) = inner.process_into_buffer(&from, &mut to, None::<&Indexing>) else { return };
        let dropped = self.drop.min(made);
        self.drop -= dropped;
        self.produced += (made - dropped) as u64;
        out.extend_from_slice(&self.step[dropped..made]);
    }
}

/// Converts a whole sound; its duration stays the same.
pub fn resample(sound: &[f32], from: u32, to: u32) -> Vec<f32> {
    let mut resampler = Resampler::new(from, to);
    let mut out = Vec::with_capacity((sound.len() as f64 * resampler.ratio) as usize + CHUNK);
    resampler.push(sound, &mut out);
    resampler.finish(&mut out);
    out
}

/// Appends the mean of interleaved channels to `out`. An incomplete last frame is dropped.
pub(super) fn mix_down(interleaved: &[f32], channels: usize, out: &mut Vec<f32>) {
    match channels {
        0 | 1 => out.extend_from_slice(interleaved),
        _ => out.extend(interleaved.chunks_exact(channels).map(|frame| frame.iter().sum::<f32>() / channels as f32)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    fn sine(hertz: f64, rate: u32, seconds: f64) -> Vec<f32> {
        (0..(seconds * f64::from(rate)) as usize)
            .map(|n| (0.5 * (TAU * hertz * n as f64 / f64::from(rate)).sin()) as f32)
            .collect()
    }

    /// Fits a sine of `hertz`, without the edges: amplitude, delay in samples, root mean square of the remainder.
    fn fit(sound: &[f32], hertz: f64, rate: u32) -> (f64, f64, f64) {
        let step = TAU * hertz / f64::from(rate);
        let middle: Vec<(f64, f64)> =
            sound.iter().enumerate().skip(400).map(|(n, s)| (n as f64, f64::from(*s))).collect();
        let whole = (middle.len() as f64 * step / TAU).floor() * TAU / step;
        let middle = &middle[..whole.round() as usize];
        let n = middle.len() as f64;
        let sin = middle.iter().map(|(n, s)| s * (n * step).sin()).sum::<f64>() * 2.0 / n;
        let cos = middle.iter().map(|(n, s)| s * (n * step).cos()).sum::<f64>() * 2.0 / n;
        let left =
            middle.iter().map(|(n, s)| (s - sin * (n * step).sin() - cos * (n * step).cos()).powi(2)).sum::<f64>();
        ((sin * sin + cos * cos).sqrt(), -cos.atan2(sin) / step, (left / n).sqrt())
    }

    /// Reference: the same sine sampled at the other rate, which is what ideal band-limited conversion gives (Shannon).
    #[test]
    fn a_sine_comes_out_as_the_same_sine_sampled_at_the_other_rate() {
        for (from, to) in [(48_000, 16_000), (44_100, 16_000), (8_000, 16_000), (22_050, 48_000), (16_000, 44_100)] {
            let got = resample(&sine(1_000.0, from, 0.5), from, to);
            assert_eq!(got.len() as u32, to / 2, "{from} to {to}");
            let (amplitude, delay, left) = fit(&got[..got.len() - 400], 1_000.0, to);
            assert!((amplitude - 0.5).abs() < 0.002, "{from} to {to}: amplitude {amplitude}");
            assert!(delay.abs() < 2.0, "{from} to {to}: delayed by {delay} samples");
            assert!(left < 0.002, "{from} to {to}: {left} left over");
        }
    }

    #[test]
    fn what_the_lower_rate_cannot_hold_is_filtered_out_rather_than_folded() {
        let got = resample(&sine(10_000.0, 48_000, 0.5), 48_000, 16_000);
        let loud = got[200..got.len() - 200].iter().fold(0.0_f32, |m, s| m.max(s.abs()));
        assert!(loud < 0.0005, "{loud}");
    }

    #[test]
    fn streaming_in_odd_pieces_gives_what_the_whole_gives() {
        let sound = sine(440.0, 44_100, 0.3);
        let mut streamed = Vec::new();
        let mut resampler = Resampler::new(44_100, 16_000);
        for piece in sound.chunks(137) {
            resampler.push(piece, &mut streamed);
        }
        resampler.finish(&mut streamed);
        assert_eq!(streamed, resample(&sound, 44_100, 16_000));
    }

    #[test]
    fn empty_sound_stays_empty_and_channels_are_averaged() {
        assert!(resample(&[], 48_000, 16_000).is_empty());
        let mut mono = Vec::new();
        mix_down(&[1.0, 0.0, 0.5, -0.5, 0.25], 2, &mut mono);
        assert_eq!(mono, [0.5, 0.0]);
    }
}
