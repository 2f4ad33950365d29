//! Noises of a workshop, made from a seed, and how a voice is put into them.
#![allow(dead_code)]

use probeside::hear::{SAMPLE_RATE, active_level};

/// A small generator of its own, so that every run makes the same noises.
pub struct Random(u64);

impl Random {
    pub fn new(seed: u64) -> Self {
        Random(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1)
    }
    pub fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0.wrapping_mul(0x2545_f491_4f6c_dd1d) >> 16
    }
    /// -1 to 1.
    pub fn white(&mut self) -> f32 {
        (self.next() & 0xffff_ffff) as f32 / u32::MAX as f32 * 2.0 - 1.0
    }
    pub fn below(&mut self, n: usize) -> usize {
        (self.next() % n as u64) as usize
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Noise {
    White,
    Pink,
    /// 50 Hz and its harmonics.
    Hum,
    /// Brown noise, traffic behind a door.
    Rumble,
    /// A single-cylinder engine ticking over.
    Engine,
    /// Hiss that swells and falls, a compressor.
    Compressor,
}

pub const FOR_FITTING: &[Noise] = &[Noise::White, Noise::Pink, Noise::Hum];
pub const FOR_TESTING: &[Noise] = &[Noise::Rumble, Noise::Engine, Noise::Compressor];

impl Noise {
    /// `count` samples of unit root mean square.
    pub fn make(self, count: usize, random: &mut Random) -> Vec<f32> {
        let rate = SAMPLE_RATE as f32;
        let start = random.below(100_000) as f32;
        let mut state = [0.0f32; 4];
        let mut out: Vec<f32> = (0..count)
            .map(|i| {
                let t = (i as f32 + start) / rate;
                let white = random.white();
                let turn = |f: f32| (std::f32::consts::TAU * ((f * t) % 1.0)).sin();
                match self {
                    Noise::White => white,
                    Noise::Pink => {
                        // Paul Kellet's economy filter, constants from memory.
                        state[0] = 0.99765 * state[0] + white * 0.0990460;
                        state[1] = 0.96300 * state[1] + white * 0.2965164;
                        state[2] = 0.57000 * state[2] + white * 1.0526913;
                        state[0] + state[1] + state[2] + white * 0.1848
                    }
                    Noise::Hum => (1..8).map(|k| turn(50.0 * k as f32) / k as f32).sum::<f32>() + 0.15 * white,
                    Noise::Rumble => {
                        state[0] = 0.985 * state[0] + white;
                        state[0] + 0.3 * white
                    }
                    Noise::Engine => {
                        let beat = (t * 13.0) % 1.0;
                        state[0] = 0.8 * state[0] + white;
                        state[0] * (-beat * 9.0).exp() * 3.0 + turn(95.0) * (-beat * 5.0).exp() + 0.1 * white
                    }
                    Noise::Compressor => {
                        state[0] = 0.6 * state[0] + white;
                        (state[0] - 0.4 * white) * (1.0 + 0.7 * turn(1.3)) + 0.6 * turn(24.5)
                    }
                }
            })
            .collect();
        let level = (out.iter().map(|x| x * x).sum::<f32>() / count.max(1) as f32).sqrt().max(1e-9);
        out.iter_mut().for_each(|x| *x /= level);
        out
    }
}

/// How a voice sounds at the microphone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scene {
    pub noise: Noise,
    /// Signal to noise ratio in decibels over the active speech level; none for clean.
    pub snr: Option<f32>,
    /// Active speech level in decibels of full scale.
    pub level: f32,
}

/// Puts a voice into a scene, with 0.15 to 0.35 s around it as an end-of-speech detector leaves it.
pub fn place(voice: &[f32], scene: Scene, random: &mut Random) -> Vec<f32> {
    let before = 2_400 + random.below(3_200);
    let after = 2_400 + random.below(3_200);
    let gain = 10f32.powf(scene.level / 20.0) / active_level(voice).max(1e-9);
    let mut out = vec![0.0; before];
    out.extend(voice.iter().map(|x| x * gain));
    out.resize(out.len() + after, 0.0);
    let under = scene.snr.unwrap_or(50.0);
    let noise = scene.noise.make(out.len(), random);
    let level = 10f32.powf((scene.level - under) / 20.0);
    for (x, n) in out.iter_mut().zip(noise) {
        *x = ((*x + n * level).clamp(-1.0, 1.0) * 32_767.0).round() / 32_768.0;
    }
    out
}
