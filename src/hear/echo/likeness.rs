//! Likeness of an utterance to what was being played: the correlation of loudness over time in eight bands. What leaks through the
//! canceller keeps the prompt's rhythm in each band; an answer has a rhythm of its own.

use crate::hear::ears::RATE;
use crate::hear::level::power;
use std::collections::VecDeque;

/// Samples per frame: 8 ms.
pub(in crate::hear) const FRAME: usize = RATE as usize / 125;
/// Number of bands, and the centres of the lowest and the highest in hertz: where speech has its rhythm and loudspeakers radiate.
const BANDS: usize = 8;
const CENTRES: (f32, f32) = (300.0, 3_400.0);
/// Width of a band as a share of its centre.
const WIDTH: f32 = 0.3;
/// Frames of played sound kept: the longest utterance and some more.
const KEPT: usize = 3_000;
/// Frames by which the echo may lag behind its pairing.
const LATER: usize = 5;
/// Fewest comparable frames; with fewer there is no verdict.
const LEAST_FRAMES: usize = 12;
/// Mean square from which played sound is audible: -60 dB of full scale.
pub(in crate::hear) const AUDIBLE: f32 = 1e-6;
/// Frames this many decibels below the utterance's loudest frame are pauses.
const PAUSE_DB: f32 = 25.0;
/// Floor of a band's power.
const FLOOR: f32 = 1e-9;

/// One frame: loudness per band in decibels, and total power.
#[derive(Debug, Clone, Copy, Default)]
struct LoudnessFrame {
    bands: [f32; BANDS],
    power: f32,
}

/// A second-order band-pass filter (the constant-peak form of the Audio EQ Cookbook, R. Bristow-Johnson).
#[derive(Debug, Clone, Copy)]
struct BandPass {
    b0: f32,
    a1: f32,
    a2: f32,
    x: [f32; 2],
    y: [f32; 2],
}

impl BandPass {
    fn at(hertz: f32) -> Self {
        let w = std::f32::consts::TAU * hertz / RATE as f32;
        let alpha = w.sin() * WIDTH / 2.0;
        let a0 = 1.0 + alpha;
        Self { b0: alpha / a0, a1: -2.0 * w.cos() / a0, a2: (1.0 - alpha) / a0, x: [0.0; 2], y: [0.0; 2] }
    }

    fn pass(&mut self, sample: f32) -> f32 {
        let out = self.b0 * (sample - self.x[1]) - self.a1 * self.y[0] - self.a2 * self.y[1];
        (self.x, self.y) = ([sample, self.x[0]], [out, self.y[0]]);
        out
    }
}

/// Filter bank that turns sound into loudness frames.
#[derive(Debug, Clone)]
struct Bands([BandPass; BANDS]);

impl Bands {
    fn new() -> Self {
        let ratio = (CENTRES.1 / CENTRES.0).powf(1.0 / (BANDS - 1) as f32);
        Self(std::array::from_fn(|n| BandPass::at(CENTRES.0 * ratio.powi(n as i32))))
    }

    /// The loudness of the next frame; the filters keep their state.
    fn frame(&mut self, sound: &[f32]) -> LoudnessFrame {
        let count = sound.len().max(1) as f32;
        let power = power(sound);
        let mut bands = [0.0; BANDS];
        for (band, filter) in bands.iter_mut().zip(&mut self.0) {
            let power = sound.iter().map(|s| filter.pass(*s).powi(2)).sum::<f32>() / count;
            *band = 10.0 * (power + FLOOR).log10();
        }
        LoudnessFrame { bands, power }
    }
}

/// Loudness of what was played, frame by frame, aligned with its echo.
#[derive(Debug)]
pub(in crate::hear) struct PlayedEnvelope {
    bands: Bands,
    frames: VecDeque<LoudnessFrame>,
}

impl PlayedEnvelope {
    pub(in crate::hear) fn new() -> Self {
        Self { bands: Bands::new(), frames: VecDeque::with_capacity(KEPT) }
    }

    /// Adds one frame of played sound.
    pub(in crate::hear) fn push(&mut self, played: &[f32]) {
        if self.frames.len() == KEPT {
            self.frames.pop_front();
        }
        let frame = self.bands.frame(played);
        self.frames.push_back(frame);
    }

    /// Likeness, 0 to 1, of a stretch that began `ago` samples before now; none if too little was being played.
    pub(in crate::hear) fn likeness(&self, sound: &[f32], ago: usize) -> Option<f32> {
        let mut bands = Bands::new();
        let heard: Vec<LoudnessFrame> = sound.chunks_exact(FRAME).map(|frame| bands.frame(frame)).collect();
        let begin = self.frames.len() as i64 - (ago / FRAME) as i64;
        (0..=LATER).filter_map(|later| self.alike(&heard, begin - later as i64)).reduce(f32::max)
    }

    /// Correlation with the played frames from `begin` on.
    fn alike(&self, heard: &[LoudnessFrame], begin: i64) -> Option<f32> {
        let loudest = heard.iter().map(|f| f.power).fold(0.0, f32::max);
        let least = loudest * 10f32.powf(-PAUSE_DB / 10.0);
        let pairs: Vec<(&LoudnessFrame, &LoudnessFrame)> = heard
            .iter()
            .enumerate()
            .filter(|(_, f)| f.power > least)
            .filter_map(|(n, f)| Some((f, self.frames.get(usize::try_from(begin + n as i64).ok()?)?)))
            .filter(|(_, played)| played.power > AUDIBLE)
            .collect();
        (pairs.len() >= LEAST_FRAMES).then(|| correlation(&pairs))
    }
}

/// Correlation of loudness over all frames and bands, with each band's mean removed.
fn correlation(pairs: &[(&LoudnessFrame, &LoudnessFrame)]) -> f32 {
    let count = pairs.len() as f32;
    let (mut both, mut here, mut there) = (0.0, 0.0, 0.0);
    for band in 0..BANDS {
        let mean = |of: &dyn Fn(&(&LoudnessFrame, &LoudnessFrame)) -> f32| pairs.iter().map(of).sum::<f32>() / count;
        let (heard, played) = (mean(&|p| p.0.bands[band]), mean(&|p| p.1.bands[band]));
        for pair in pairs {
            let (a, b) = (pair.0.bands[band] - heard, pair.1.bands[band] - played);
            both += a * b;
            here += a * a;
            there += b * b;
        }
    }
    (both / (here * there).sqrt().max(1e-9)).max(0.0)
}
