//! Workshop noises, generated from a seed, and the mixing of a voice into them.
#![allow(dead_code)]

use super::p56;
use probeside::hear::SAMPLE_RATE;

/// A small random number generator of its own, so that every run makes the same noises.
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
    /// Uniform in -1 to 1.
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
    /// A two-cylinder engine that fires unevenly through a shared exhaust pipe.
    Twin,
    /// An air wrench: eleven blows per second on steel, and air.
    Wrench,
    /// A single-cylinder engine idling.
    Engine,
    /// Hiss that swells and fades, as from a compressor.
    Compressor,
    /// A busy workshop: a compressor at the back, an engine outside, an occasional hammer or spanner.
    Workshop,
}

pub const FOR_FITTING: &[Noise] = &[Noise::White, Noise::Rumble, Noise::Hum];
/// Noises that come in bursts, for the development of utterance detection.
pub const IN_BURSTS: &[Noise] = &[Noise::White, Noise::Rumble, Noise::Twin, Noise::Wrench];
pub const FOR_TESTING: &[Noise] = &[Noise::Pink, Noise::Workshop, Noise::Engine, Noise::Compressor];

/// Isolated sounds that are not a voice.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Sound {
    Knock,
    Whistle,
    Ratchet,
    Cough,
    Kick,
    Revving,
    Music,
}

pub const SOUNDS_FOR_FITTING: &[Sound] = &[Sound::Knock, Sound::Whistle, Sound::Ratchet];
pub const SOUNDS_FOR_TESTING: &[Sound] = &[Sound::Cough, Sound::Kick, Sound::Revving, Sound::Music];

/// A resonator: a decaying oscillation excited by its input.
struct Ring {
    a: f32,
    b: f32,
    one: f32,
    two: f32,
}

impl Ring {
    fn new(hertz: f32, width: f32) -> Self {
        let r = (-std::f32::consts::PI * width / SAMPLE_RATE as f32).exp();
        let a = 2.0 * r * (std::f32::consts::TAU * hertz / SAMPLE_RATE as f32).cos();
        Ring { a, b: -r * r, one: 0.0, two: 0.0 }
    }
    fn push(&mut self, x: f32) -> f32 {
        let y = x + self.a * self.one + self.b * self.two;
        (self.two, self.one) = (self.one, y);
        y
    }
}

impl Sound {
    /// 0.6 to 1.4 s of the sound, with unit root mean square.
    pub fn make(self, random: &mut Random) -> Vec<f32> {
        let count = 9_600 + random.below(12_800);
        let rate = SAMPLE_RATE as f32;
        let vary = |random: &mut Random, around: f32| around * (1.0 + 0.25 * random.white());
        let mut rings = [Ring::new(vary(random, 900.0), 180.0), Ring::new(vary(random, 2_300.0), 260.0)];
        let (first, pace) = (random.below(count / 3), vary(random, 18.0));
        let notes: Vec<f32> = (0..8).map(|_| 220.0 * 2f32.powf(random.below(13) as f32 / 12.0)).collect();
        let mut phase = 0.0f32;
        let mut out: Vec<f32> = (0..count)
            .map(|i| {
                let (t, white) = (i as f32 / rate, random.white());
                let since = i.saturating_sub(first) as f32 / rate;
                let begun = if i >= first { 1.0 } else { 0.0 };
                match self {
                    Sound::Knock => begun * white * (-since * 40.0).exp() + 0.01 * white,
                    Sound::Whistle => {
                        phase += (1_400.0 + 500.0 * (t * 3.0).sin()) / rate;
                        (std::f32::consts::TAU * phase).sin() + 0.05 * white
                    }
                    Sound::Ratchet => {
                        let click = (t * pace) % 1.0 < 0.02;
                        rings[1].push(if click { white } else { 0.0 }) + 0.02 * white
                    }
                    Sound::Cough => {
                        // A burst, then a hoarse tail through two resonances of a throat.
                        let shape = begun * ((-since * 9.0).exp() + 0.5 * (-(since - 0.25).abs() * 14.0).exp());
                        phase += (120.0 + 30.0 * white) / rate;
                        let pushed = shape * (white + 0.5 * (phase % 1.0 - 0.5));
                        rings[0].push(pushed) + 0.5 * rings[1].push(pushed) + 0.01 * white
                    }
                    Sound::Kick => {
                        let whoosh = begun * white * (since * 6.0).min(1.0) * (-since * 4.0).exp();
                        let turn = (std::f32::consts::TAU * 70.0 * since).sin() * (-((since * 7.0) % 1.0) * 5.0).exp();
                        0.3 * whoosh
                            + begun * turn * (-since * 2.0).exp()
                            + rings[0].push(if i == first { 8.0 } else { 0.0 })
                    }
                    Sound::Revving => {
                        phase += (20.0 + 45.0 * (t * 2.2).sin().abs()) / rate;
                        let beat = phase % 1.0;
                        (-beat * 7.0).exp() * (white + (std::f32::consts::TAU * 3.0 * beat).sin()) + 0.1 * white
                    }
                    Sound::Music => {
                        let note = notes[(t * 5.0) as usize % notes.len()];
                        let tone = |f: f32| (std::f32::consts::TAU * ((f * t) % 1.0)).sin();
                        let pluck = (-((t * 5.0) % 1.0) * 3.0).exp();
                        pluck * (1..6).map(|k| tone(note * k as f32) / k as f32).sum::<f32>()
                            + 0.4 * (tone(note * 0.5) + tone(note * 0.75))
                            + 0.3 * white * (-((t * 2.5) % 1.0) * 20.0).exp()
                    }
                }
            })
            .collect();
        unit(&mut out);
        out
    }
}

/// Normalises sound to unit root mean square.
fn unit(out: &mut [f32]) {
    let level = (out.iter().map(|x| x * x).sum::<f32>() / out.len().max(1) as f32).sqrt().max(1e-9);
    out.iter_mut().for_each(|x| *x /= level);
}

impl Noise {
    /// `count` samples with unit root mean square.
    pub fn make(self, count: usize, random: &mut Random) -> Vec<f32> {
        let rate = SAMPLE_RATE as f32;
        let start = random.below(100_000) as f32;
        let mut state = [0.0f32; 4];
        let mut rings = [Ring::new(210.0, 60.0), Ring::new(1_700.0, 140.0)];
        if self == Noise::Workshop {
            let mut out = Noise::Compressor.make(count, random);
            let engine = Noise::Engine.make(count, random);
            out.iter_mut().zip(engine).for_each(|(x, e)| *x = 0.6 * *x + 0.6 * e);
            for _ in 0..=count / SAMPLE_RATE {
                let (at, pitch) = (random.below(count.max(1)), 1_000.0 + random.below(2_500) as f32);
                let (mut ring, loud) = (Ring::new(pitch, 60.0), 0.2 + random.white().abs());
                for (i, x) in out[at..].iter_mut().take(SAMPLE_RATE / 3).enumerate() {
                    *x += loud * ring.push(if i == 0 { 3.0 } else { 0.0 })
                        + loud * random.white() * (-(i as f32) / 120.0).exp();
                }
            }
            unit(&mut out);
            return out;
        }
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
                    Noise::Twin => {
                        // One cylinder fires, the other a third of a turn later, nine times per second.
                        let beat = (t * 9.0) % 1.0;
                        let beat = if beat < 0.37 { beat } else { beat - 0.37 };
                        let puff = white * (-beat * 14.0).exp();
                        rings[0].push(puff) * 0.3 + puff + 0.08 * white
                    }
                    Noise::Wrench => {
                        let beat = (t * 11.0) % 1.0;
                        let blow = if beat < 0.03 { white } else { 0.0 };
                        state[0] = 0.4 * state[0] + 0.7 * white;
                        rings[1].push(blow) + 0.12 * state[0]
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
                    Noise::Workshop => unreachable!("it is made of others"),
                }
            })
            .collect();
        unit(&mut out);
        out
    }
}

/// The microphone's own noise relative to the voice in a scene without other noise, decibels below it.
const CLEAN: f32 = 50.0;

/// The acoustic conditions at the microphone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scene {
    pub noise: Noise,
    /// Signal-to-noise ratio relative to the active speech level (ITU-T P.56), decibels. `None` for clean.
    pub snr: Option<f32>,
    /// Active speech level in decibels of full scale.
    pub level: f32,
}

/// Puts a voice into a scene, with 0.15 to 0.35 s around it, as an end-of-speech detector leaves it.
pub fn place(voice: &[f32], scene: Scene, random: &mut Random) -> Vec<f32> {
    place_amid(voice, scene, 0, random)
}

/// The same with `more` extra samples before and after it.
pub fn place_amid(voice: &[f32], scene: Scene, more: usize, random: &mut Random) -> Vec<f32> {
    let level = p56::measure(voice, SAMPLE_RATE as f64).active as f32;
    put(voice, 1.0 / level.max(1e-9), scene, more, random)
}

/// Puts a sound of unit root mean square into a scene.
pub fn set(sound: &[f32], scene: Scene, more: usize, random: &mut Random) -> Vec<f32> {
    put(sound, 1.0, scene, more, random)
}

fn put(sound: &[f32], scale: f32, scene: Scene, more: usize, random: &mut Random) -> Vec<f32> {
    let before = more + 2_400 + random.below(3_200);
    let after = more + 2_400 + random.below(3_200);
    let gain = 10f32.powf(scene.level / 20.0) * scale;
    let mut out = vec![0.0; before];
    out.extend(sound.iter().map(|x| x * gain));
    out.resize(out.len() + after, 0.0);
    let under = scene.snr.unwrap_or(CLEAN);
    let noise = scene.noise.make(out.len(), random);
    let level = 10f32.powf((scene.level - under) / 20.0);
    for (x, n) in out.iter_mut().zip(noise) {
        *x = ((*x + n * level).clamp(-1.0, 1.0) * 32_767.0).round() / 32_768.0;
    }
    out
}

/// Start and end of the part within 30 dB of the loudest 20 ms.
pub fn extent(sound: &[f32]) -> Option<(usize, usize)> {
    const FRAME: usize = SAMPLE_RATE / 50;
    let power = |f: &[f32]| f.iter().map(|x| x * x).sum::<f32>();
    let powers: Vec<f32> = sound.chunks(FRAME).map(power).collect();
    let bar = powers.iter().fold(0.0f32, |m, &p| m.max(p)) * 1e-3;
    let first = powers.iter().position(|&p| p > bar)?;
    let last = powers.iter().rposition(|&p| p > bar)?;
    Some((first * FRAME, (last + 1) * FRAME))
}
