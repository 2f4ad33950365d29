//! Levels: the active level of an utterance, its signal-to-noise ratio, normalisation for the model, and cutting at quiet places.
//!
//! The active level is the root mean square of the frames within a margin of the loudest frame. It is close to the speech voltmeter of
//! ITU-T P.56, and simpler.

use super::ears::SAMPLE_RATE;

/// Samples per frame: 20 ms.
const FRAME: usize = SAMPLE_RATE / 50;
/// Frames within this power ratio of the loudest frame count as speech (20 dB).
const ACTIVE: f32 = 0.01;
/// Active level after normalisation (-26 dB of full scale, the usual level of test speech measured by ITU-T P.56).
const TARGET: f32 = 0.05;
/// Largest gain (30 dB), so that a silent room stays quiet.
const MOST_GAIN: f32 = 31.6;

/// Mean square; zero for no samples.
pub(super) fn power(sound: &[f32]) -> f32 {
    sound.iter().map(|s| s * s).sum::<f32>() / sound.len().max(1) as f32
}

/// Root mean square; zero for no samples.
pub(super) fn rms(sound: &[f32]) -> f32 {
    power(sound).sqrt()
}

fn powers(sound: &[f32]) -> Vec<f32> {
    sound.chunks(FRAME).map(power).collect()
}

/// Root mean square of the frames with speech; zero for silence.
pub fn active_level(sound: &[f32]) -> f32 {
    let powers = powers(sound);
    let top = powers.iter().copied().fold(0.0, f32::max);
    let (mut sum, mut count) = (0.0, 0usize);
    for p in powers.into_iter().filter(|&p| p > top * ACTIVE) {
        sum += p;
        count += 1;
    }
    (sum / count.max(1) as f32).sqrt()
}

/// Estimates the signal-to-noise ratio in decibels from the utterance alone: loud frames over quiet frames.
pub(super) fn signal_to_noise(sound: &[f32]) -> f32 {
    let mut powers = powers(sound);
    if powers.is_empty() {
        return 0.0;
    }
    powers.sort_by(f32::total_cmp);
    let at = |share: f32| powers[((powers.len() - 1) as f32 * share) as usize].max(1e-10);
    let ratio = 10.0 * (at(0.9) / at(0.1)).log10();
    if ratio.is_finite() { ratio } else { 0.0 }
}

/// Normalises sound to the model's usual level and pads it with `pad` samples of silence on both sides. A NaN sample counts as silence.
pub(super) fn levelled(sound: &[f32], pad: usize) -> Vec<f32> {
    let whole: Vec<f32> = sound.iter().map(|x| if x.is_finite() { x.clamp(-1.0, 1.0) } else { 0.0 }).collect();
    let level = active_level(&whole);
    let gain = if level > 0.0 { (TARGET / level).min(MOST_GAIN) } else { 1.0 };
    let mut out = vec![0.0; pad];
    out.extend(whole.iter().map(|x| (x * gain).clamp(-1.0, 1.0)));
    out.resize(out.len() + pad, 0.0);
    out
}

/// Cuts sound into pieces of at most `longest` samples, at the quietest frames in the second half of each piece.
pub(super) fn pieces(sound: &[f32], longest: usize) -> Vec<&[f32]> {
    let mut out = Vec::new();
    let mut rest = sound;
    while rest.len() > longest {
        let powers = powers(&rest[..longest]);
        let window = 10;
        let quiet = (powers.len() / 2..powers.len() - window)
            .min_by(|&a, &b| {
                let sum = |i: usize| powers[i..i + window].iter().sum::<f32>();
                sum(a).total_cmp(&sum(b))
            })
            .unwrap_or(powers.len() / 2);
        let (piece, after) = rest.split_at(((quiet + window / 2) * FRAME).clamp(1, longest));
        out.push(piece);
        rest = after;
    }
    out.push(rest);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tone_between_silences_is_measured_where_it_sounds() {
        let mut sound = vec![0.0; SAMPLE_RATE];
        for (i, x) in sound[4_800..11_200].iter_mut().enumerate() {
            *x = 0.2 * (i as f32 * 0.3).sin();
        }
        assert!((active_level(&sound) - 0.2 / 2f32.sqrt()).abs() < 0.01);
        assert!((active_level(&levelled(&sound, 100)) - TARGET).abs() < 0.003);
        assert!(signal_to_noise(&sound) > 40.0);
    }

    #[test]
    fn pieces_make_up_the_whole() {
        let sound: Vec<f32> = (0..50_000).map(|i| (i % 7) as f32 * 0.01).collect();
        let cut = pieces(&sound, 16_000);
        assert!(cut.len() > 3 && cut.iter().all(|p| p.len() <= 16_000));
        assert_eq!(cut.concat(), sound);
        assert_eq!(pieces(&[], 10).len(), 1);
    }
}
