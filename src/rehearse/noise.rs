//! Generates workshop noise from a seed, and mixes a voice into it.

use crate::hear::{RATE, active_level};

/// Active speech level of a rehearsed voice as a share of full scale (root mean square): -26 dB, the usual test level (ITU-T P.56).
const SPEECH_LEVEL: f32 = 0.05;
/// Noise level of a clean room relative to the voice, decibels below it.
const CLEAN_DB: f32 = 45.0;
/// Noise before and after the voice, as an end-of-speech detector leaves it, in samples: 0.15 s, and up to 0.2 s more.
const LEAST_EDGE: usize = 2_400;
const MORE_EDGE: usize = 3_200;

/// A kind of noise.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Noise {
    /// Equal power in every octave.
    Pink,
    /// An engine ticking over in the yard.
    Engine,
    /// A compressor behind the wall.
    Compressor,
}

/// All kinds of noise.
pub(super) const NOISES: [Noise; 3] = [Noise::Pink, Noise::Engine, Noise::Compressor];

impl Noise {
    /// Its name in reports.
    pub fn name(self) -> &'static str {
        match self {
            Noise::Pink => "pink",
            Noise::Engine => "engine",
            Noise::Compressor => "compressor",
        }
    }

    /// `count` samples at 16 kHz, root mean square 1.
    pub fn make(self, count: usize, random: &mut fastrand::Rng) -> Vec<f32> {
        let begin = random.u32(..100_000) as f32;
        let mut smooth = [0.0f32; 3];
        let mut out: Vec<f32> = (0..count)
            .map(|n| {
                let t = (n as f32 + begin) / RATE as f32;
                let wave = |hertz: f32| (std::f32::consts::TAU * (hertz * t % 1.0)).sin();
                let white = random.f32() * 2.0 - 1.0;
                match self {
                    Noise::Pink => {
                        // Three first-order low-pass filters a few octaves apart add up to about -3 dB per octave (from memory).
                        for (state, (keep, gain)) in
                            smooth.iter_mut().zip([(0.997, 0.099), (0.963, 0.297), (0.57, 1.05)])
                        {
                            *state = keep * *state + gain * white;
                        }
                        smooth.iter().sum::<f32>() + 0.18 * white
                    }
                    Noise::Engine => {
                        let beat = (t * 11.0) % 1.0;
                        smooth[0] = 0.82 * smooth[0] + white;
                        smooth[0] * (-beat * 8.0).exp() * 2.5 + wave(88.0) * (-beat * 4.0).exp() + 0.1 * white
                    }
                    Noise::Compressor => {
                        smooth[0] = 0.65 * smooth[0] + white;
                        smooth[0] * (1.0 + 0.6 * wave(1.1)) + 0.7 * wave(48.0) + 0.3 * wave(96.0)
                    }
                }
            })
            .collect();
        let level = (out.iter().map(|x| x * x).sum::<f32>() / count.max(1) as f32).sqrt().max(1e-9);
        out.iter_mut().for_each(|x| *x /= level);
        out
    }
}

/// A voice at the usual level in noise, with a little of the room before and after it. `snr_db` is active speech level over root mean
/// square noise; `None` means a quiet room.
pub fn mixed(voice: &[f32], noise: Noise, snr_db: Option<f32>, random: &mut fastrand::Rng) -> Vec<f32> {
    let gain = SPEECH_LEVEL / active_level(voice).max(1e-9);
    let mut edge = || LEAST_EDGE + random.usize(..MORE_EDGE);
    let (before, behind) = (edge(), edge());
    let mut sound = vec![0.0; before];
    sound.extend(voice.iter().map(|x| x * gain));
    sound.resize(sound.len() + behind, 0.0);
    let level = SPEECH_LEVEL / 10f32.powf(snr_db.unwrap_or(CLEAN_DB) / 20.0);
    for (x, n) in sound.iter_mut().zip(noise.make(before + voice.len() + behind, random)) {
        *x = (*x + n * level).clamp(-1.0, 1.0);
    }
    sound
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rms(sound: &[f32]) -> f32 {
        (sound.iter().map(|x| x * x).sum::<f32>() / sound.len() as f32).sqrt()
    }

    #[test]
    fn noises_have_unit_level_and_are_the_same_every_time() {
        for noise in NOISES {
            let made = noise.make(16_000, &mut fastrand::Rng::with_seed(3));
            assert!((rms(&made) - 1.0).abs() < 1e-3, "{}", noise.name());
            assert_eq!(made, noise.make(16_000, &mut fastrand::Rng::with_seed(3)));
            assert_ne!(made, noise.make(16_000, &mut fastrand::Rng::with_seed(4)));
        }
    }

    /// Reference: the definition of the decibel. A tone is its own active level.
    #[test]
    fn a_voice_stands_above_the_noise_by_what_was_asked() {
        let tone: Vec<f32> = (0..16_000).map(|n| (n as f32 * 0.2).sin()).collect();
        let sound = mixed(&tone, Noise::Pink, Some(10.0), &mut fastrand::Rng::with_seed(1));
        let noise_only = rms(&sound[..LEAST_EDGE]);
        assert!((20.0 * (SPEECH_LEVEL / noise_only).log10() - 10.0).abs() < 2.5, "{noise_only}");
        assert!(sound.len() >= tone.len() + 2 * LEAST_EDGE);
    }
}
