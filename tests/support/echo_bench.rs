//! A microphone in front of a loudspeaker, simulated in samples. The loudspeaker's sound passes through a room with a delay, a level and
//! drifting clocks, and is mixed with the room's noise and somebody's answer. Everything runs through the live microphone's code,
//! [`Duplex`].
#![allow(dead_code, reason = "not every user of it looks at everything")]

use probeside::hear::{Activity, Duplex, EchoState, RATE, Utterance, Voiced};

/// Samples per block: 10 ms.
const STEP: usize = RATE as usize / 100;
/// From the detection of speech until the prompt is silent, in samples: 60 ms, as measured in the sound test.
const CUT_AFTER: usize = RATE as usize * 6 / 100;
/// Noise of the room, root mean square: -56 dB of full scale.
pub const NOISE_LEVEL: f32 = 0.0015;
/// Reflections in the room.
const REFLECTIONS: usize = 250;
/// Silence after each prompt, in samples.
const PAUSE: usize = 3 * RATE as usize / 2;

/// The path from the loudspeaker to the microphone.
#[derive(Debug, Clone, Copy)]
pub struct Way {
    /// Level of the echo relative to the playback, in decibels.
    pub level_db: f32,
    pub delay_ms: usize,
    /// Reverberation time (decay by 60 dB), in seconds.
    pub rt60_s: f32,
    /// How much faster the microphone's clock runs, in parts per million.
    pub drift_ppm: f64,
    /// Sound lost in the middle of every third prompt.
    pub lost_ms: usize,
}

/// Root mean square.
pub fn level(sound: &[f32]) -> f32 {
    (sound.iter().map(|s| s * s).sum::<f32>() / sound.len().max(1) as f32).sqrt()
}

/// The same sound at another level.
pub fn at_level(mut sound: Vec<f32>, wanted: f32) -> Vec<f32> {
    let now = level(&sound).max(1e-9);
    sound.iter_mut().for_each(|s| *s *= wanted / now);
    sound
}

/// Delay and strength of each arrival: the direct sound, then decaying reflections.
fn room(random: &mut fastrand::Rng, way: Way) -> Vec<(usize, f32)> {
    let fall = 10f32.powf(-3.0 / (way.rt60_s * RATE as f32));
    let longest = (way.rt60_s * RATE as f32) as usize;
    let mut taps = vec![(0, 1.0)];
    taps.extend((0..REFLECTIONS).map(|_| {
        let at = random.usize(RATE as usize / 500..longest);
        (at, (random.f32() * 2.0 - 1.0) * 0.4 * fall.powi(at as i32))
    }));
    let energy = taps.iter().map(|t| t.1 * t.1).sum::<f32>().sqrt();
    taps.iter_mut().for_each(|t| t.1 *= 10f32.powf(way.level_db / 20.0) / energy);
    taps
}

/// The outcome of one prompt.
#[derive(Default)]
pub struct Heard {
    /// The sample of the prompt at which speech was detected while it played, which cut it.
    pub cut: Option<usize>,
    pub utterances: Vec<Utterance>,
}

/// A microphone in front of a loudspeaker.
pub struct Bench {
    pub duplex: Duplex,
    way: Way,
    room: Vec<(usize, f32)>,
    random: fastrand::Rng,
    /// Sound arriving at the microphone, in the loudspeaker's clock, from sample `first` on.
    arriving: std::collections::VecDeque<f32>,
    first: u64,
    /// Number of samples played and heard so far.
    played: u64,
    heard: u64,
    turns: u64,
}

impl Bench {
    pub fn new(way: Way, seed: u64) -> Self {
        let mut random = fastrand::Rng::with_seed(seed);
        let room = room(&mut random, way);
        let ahead = way.delay_ms * RATE as usize / 1000 + RATE as usize;
        Self {
            duplex: Duplex::new(Activity::usual().expect("the voice detector")),
            way,
            room,
            random,
            arriving: vec![0.0; ahead].into(),
            first: 0,
            played: 0,
            heard: 0,
            turns: 0,
        }
    }

    pub fn echo(&self) -> EchoState {
        self.duplex.echo()
    }

    /// Plays one sample. What later arrives of it is slightly distorted, as by all loudspeakers.
    fn play(&mut self, sample: f32) {
        self.arriving.push_back(0.0);
        if sample != 0.0 {
            let loud = (sample * 1.5).tanh() / 1.5;
            let at = (self.played - self.first) as usize + self.way.delay_ms * RATE as usize / 1000;
            for (later, tap) in &self.room {
                self.arriving[at + later] += tap * loud;
            }
        }
        self.played += 1;
    }

    /// The microphone's next sample.
    fn hear(&mut self) -> f32 {
        let at = self.heard as f64 * (1.0 + self.way.drift_ppm * 1e-6);
        self.heard += 1;
        let whole = at.floor() as u64;
        while self.first + u64::from(RATE) / 5 < whole {
            self.arriving.pop_front();
            self.first += 1;
        }
        let (part, from) = (at.fract(), (whole - self.first) as usize);
        if part == 0.0 {
            return self.arriving[from];
        }
        let weighed = |n: usize| {
            let x = n as f64 - from as f64 - part;
            let bell = 0.5 + 0.5 * (std::f64::consts::PI * x / 16.0).cos();
            let x = std::f64::consts::PI * x;
            self.arriving[n] * (x.sin() / x * bell) as f32
        };
        (from.saturating_sub(15)..from + 17).map(weighed).sum()
    }

    /// Plays a prompt while somebody says `answer` from sample `at` on.
    pub fn turn(&mut self, prompt: &[f32], answer: &[f32], at: usize) -> Heard {
        let mut heard = Heard::default();
        let (mut ends, mut found) = (prompt.len(), Vec::new());
        let length = prompt.len().max(at + answer.len()) + PAUSE;
        self.turns += 1;
        for begin in (0..length).step_by(STEP) {
            if self.turns.is_multiple_of(3) && begin / STEP == prompt.len() / 2 / STEP {
                let lost = (self.way.lost_ms * RATE as usize / 1000) as u64;
                // Alternately in the recording and in the playback.
                self.heard = if self.turns.is_multiple_of(2) { self.heard + lost } else { self.heard - lost };
            }
            let (mut near, mut far) = ([0.0; STEP], [0.0; STEP]);
            for n in 0..STEP {
                let now = begin + n;
                far[n] = if now < ends { prompt.get(now).copied().unwrap_or(0.0) } else { 0.0 };
                self.play(far[n]);
                let noise = (self.random.f32() * 2.0 - 1.0) * NOISE_LEVEL * 3f32.sqrt();
                let voice = now.checked_sub(at).and_then(|n| answer.get(n)).copied().unwrap_or(0.0);
                near[n] = self.hear() + voice + noise;
            }
            self.duplex.push(&near, &far, true, &mut found);
            for event in found.drain(..) {
                match event {
                    Voiced::Began { .. } if begin < ends => {
                        heard.cut = Some(begin + STEP);
                        ends = ends.min(begin + CUT_AFTER);
                    }
                    Voiced::Began { .. } | Voiced::Pausing(_) => {}
                    Voiced::Utterance(utterance) if utterance.last => heard.utterances.push(utterance),
                    Voiced::Utterance(_) => {}
                }
            }
        }
        self.duplex.forget();
        heard
    }
}
