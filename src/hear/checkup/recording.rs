//! Measures a recording: the room's noise, the level and clipping of speech, and how strongly the microphone hears the loudspeaker.

use crate::hear::ears::RATE;
use crate::hear::level::{active_level, rms};

/// Amplitude from which a sample counts as clipped; resampling leaves a clipped peak slightly below full scale.
const FULL: f32 = 0.97;
/// Lowest level reported, in decibels of full scale.
const LOWEST_DB: f32 = -120.0;
/// The sweep: length in seconds, lowest and highest frequency in hertz, amplitude. It stays within the telephone band, which any loudspeaker
/// can play.
const SWEEP_SECONDS: f32 = 0.6;
const SWEEP_HERTZ: (f32, f32) = (300.0, 3_000.0);
const SWEEP_AMPLITUDE: f32 = 0.25;
/// The sweep fades in and out over this many seconds.
const SWEEP_FADE: f32 = 0.02;
/// A lower correlation is not an echo. Noise alone stays below 0.05 over these lengths (tested).
const LEAST_LIKENESS: f32 = 0.12;

/// A stretch in which nobody speaks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RoomNoise {
    /// Root mean square in decibels of full scale.
    pub noise_db: f32,
    /// All samples are equal: the microphone is switched off or muted.
    pub dead: bool,
}

/// A stretch in which somebody speaks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Speech {
    /// Active speech level in decibels of full scale.
    pub level_db: f32,
    /// Share of clipped samples.
    pub clipped: f32,
}

/// The loudspeaker as the microphone hears it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Echo {
    /// Where it begins in the recording, in samples.
    pub at: usize,
    /// Its root mean square in decibels of full scale.
    pub level_db: f32,
    /// Correlation with the sent sound, 0 to 1.
    pub likeness: f32,
}

/// Amplitude as decibels of full scale.
pub fn decibels(amplitude: f32) -> f32 {
    if amplitude > 0.0 { (20.0 * amplitude.log10()).max(LOWEST_DB) } else { LOWEST_DB }
}

/// Measures a stretch in which nobody speaks.
pub fn room(sound: &[f32]) -> RoomNoise {
    let dead = sound.windows(2).all(|w| w[0] == w[1]);
    RoomNoise { noise_db: decibels(rms(sound)), dead }
}

/// Measures a stretch in which somebody speaks.
pub fn speech(sound: &[f32]) -> Speech {
    let full = sound.iter().filter(|x| x.abs() >= FULL).count();
    Speech { level_db: decibels(active_level(sound)), clipped: full as f32 / sound.len().max(1) as f32 }
}

/// A rising tone to play, at `rate` samples a second.
pub fn sweep(rate: u32) -> Vec<f32> {
    let rate = rate as f32;
    let count = (SWEEP_SECONDS * rate) as usize;
    let slope = (SWEEP_HERTZ.1 - SWEEP_HERTZ.0) / SWEEP_SECONDS;
    let fade = SWEEP_FADE * rate;
    let sample = |n: usize| {
        let t = n as f32 / rate;
        let edge = (n as f32 / fade).min((count - n) as f32 / fade).min(1.0);
        SWEEP_AMPLITUDE * edge * (std::f32::consts::TAU * (SWEEP_HERTZ.0 * t + slope * t * t / 2.0)).sin()
    };
    (0..count).map(sample).collect()
}

/// Finds `sent` in `recorded`, both at 16 kHz; none if it is inaudible.
pub fn echo(sent: &[f32], recorded: &[f32]) -> Option<Echo> {
    let likeness = |at: usize, step: usize| {
        let (mut both, mut here, mut there) = (0.0f32, 0.0f32, 0.0f32);
        for (a, b) in sent.iter().zip(&recorded[at..]).step_by(step) {
            both += a * b;
            here += a * a;
            there += b * b;
        }
        both.abs() / (here * there).sqrt().max(1e-9)
    };
    let last = recorded.len().checked_sub(sent.len()).filter(|_| !sent.is_empty())?;
    // A sweep correlates with itself over a few samples of shift: search every second sample, then around the best.
    let coarse = (0..=last).step_by(2).max_by(|a, b| likeness(*a, 4).total_cmp(&likeness(*b, 4)))?;
    let near = coarse.saturating_sub(4)..=(coarse + 4).min(last);
    let (at, likeness) = near.map(|at| (at, likeness(at, 1))).max_by(|a, b| a.1.total_cmp(&b.1))?;
    let level_db = decibels(rms(&recorded[at..at + sent.len()]) * likeness);
    (likeness >= LEAST_LIKENESS).then_some(Echo { at, level_db, likeness })
}

/// Converts samples at 16 kHz to milliseconds.
pub fn milliseconds(samples: usize) -> f64 {
    samples as f64 * 1e3 / f64::from(RATE)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn noise(count: usize, level: f32) -> Vec<f32> {
        let mut state = 0x1234_5678_u32;
        let mut next = || {
            state ^= state << 13;
            state ^= state >> 17;
            state ^= state << 5;
            (state as f32 / u32::MAX as f32 * 2.0 - 1.0) * level * 3f32.sqrt()
        };
        (0..count).map(|_| next()).collect()
    }

    /// Reference: a sine of amplitude a has a root mean square of a / sqrt(2); half of full scale is -9.03 dB.
    #[test]
    fn levels_are_in_decibels_of_full_scale() {
        let sine: Vec<f32> = (0..16_000).map(|n| 0.5 * (n as f32 * 0.3).sin()).collect();
        assert!((speech(&sine).level_db + 9.03).abs() < 0.05);
        assert_eq!(speech(&sine).clipped, 0.0);
        let cut: Vec<f32> = sine.iter().map(|x| (x * 4.0).clamp(-1.0, 1.0)).collect();
        // A sine of twice full scale is beyond it for two thirds of the time.
        assert!((speech(&cut).clipped - 2.0 / 3.0).abs() < 0.02, "{}", speech(&cut).clipped);
        assert!((room(&noise(16_000, 0.01)).noise_db + 40.0).abs() < 0.3);
        assert!(room(&[0.0; 100]).dead && !room(&noise(100, 0.1)).dead);
    }

    #[test]
    fn an_echo_is_found_where_it_is_and_noise_is_none() {
        let sent = sweep(RATE);
        let mut recorded = noise(40_000, 0.02);
        let found = echo(&sent, &recorded);
        assert_eq!(found, None, "noise was taken for an echo");
        for (n, x) in sent.iter().enumerate() {
            recorded[12_345 + n] += 0.2 * x;
        }
        let found = echo(&sent, &recorded).expect("an echo");
        assert!(found.at.abs_diff(12_345) <= 1, "{found:?}");
        // 0.25 / sqrt(2) * 0.2 is 0.035, -29 dB.
        assert!((found.level_db + 29.0).abs() < 1.5, "{found:?}");
        assert_eq!(echo(&sent, &sent[..100]), None);
    }
}
