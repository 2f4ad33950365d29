//! How much an utterance sounds like what was being played: loudness over time in eight bands, compared at every delay that an
//! echo can have. What leaks through the canceller keeps the rhythm of the prompt in each band; somebody's answer has its own.

use super::ears::RATE;
use std::collections::VecDeque;

/// Samples of a frame: 10 ms.
pub(super) const FRAME: usize = RATE as usize / 100;
/// Bands, and the centres of the lowest and the highest in hertz: where speech has its rhythm and loudspeakers give sound.
const BANDS: usize = 8;
const CENTRES: (f32, f32) = (300.0, 3_400.0);
/// Width of each as a share of its centre.
const WIDTH: f32 = 0.3;
/// Frames that are kept of what was played: the longest utterance, its echo's delay and some more.
const KEPT: usize = 2_400;
/// An echo comes at most this many frames of 10 ms after its sound was handed over.
const LONGEST_DELAY: usize = 60;
/// Less than this many frames that can be compared say nothing.
const LEAST_FRAMES: usize = 12;
/// Mean square from which something is being played: -60 dB of full scale.
pub(super) const AUDIBLE: f32 = 1e-6;
/// Frames of an utterance more than this below its loudest one are its pauses.
const PAUSE_DB: f32 = 25.0;
/// Band power is not told apart below this.
const FLOOR: f32 = 1e-9;

/// Loudness of one frame in each band, in decibels, and its power in all.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Frame {
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

/// Cuts sound into frames of loudness.
#[derive(Debug, Clone)]
pub(super) struct Bands([BandPass; BANDS]);

impl Bands {
    pub(super) fn new() -> Self {
        let ratio = (CENTRES.1 / CENTRES.0).powf(1.0 / (BANDS - 1) as f32);
        Self(std::array::from_fn(|n| BandPass::at(CENTRES.0 * ratio.powi(n as i32))))
    }

    /// One frame's loudness; the filters go on from the frame before.
    pub(super) fn frame(&mut self, sound: &[f32]) -> Frame {
        let count = sound.len().max(1) as f32;
        let power = sound.iter().map(|s| s * s).sum::<f32>() / count;
        let mut bands = [0.0; BANDS];
        for (band, filter) in bands.iter_mut().zip(&mut self.0) {
            let power = sound.iter().map(|s| filter.pass(*s).powi(2)).sum::<f32>() / count;
            *band = 10.0 * (power + FLOOR).log10();
        }
        Frame { bands, power }
    }
}

/// The delay is looked for in so many frames before an utterance, and believed from this correlation on; then the utterance is
/// compared at that delay only, give or take so many frames: somebody else's rhythm fits at one delay or another by chance.
const DELAY_FRAMES: usize = 600;
const DELAY_SURE: f32 = 0.5;
const DELAY_GIVE: usize = 2;

/// What was played and what came in, frame by frame.
#[derive(Debug)]
pub(super) struct Played {
    bands: Bands,
    frames: VecDeque<Frame>,
    heard_bands: Bands,
    heard: VecDeque<Frame>,
}

impl Played {
    pub(super) fn new() -> Self {
        let empty = || VecDeque::with_capacity(KEPT);
        Self { bands: Bands::new(), frames: empty(), heard_bands: Bands::new(), heard: empty() }
    }

    /// Takes one frame of what was played and what was heard, the echo still in it; whether something audible was played.
    pub(super) fn push(&mut self, played: &[f32], heard: &[f32]) -> bool {
        if self.frames.len() == KEPT {
            self.frames.pop_front();
            self.heard.pop_front();
        }
        let frame = self.bands.frame(played);
        self.frames.push_back(frame);
        self.heard.push_back(self.heard_bands.frame(heard));
        frame.power > AUDIBLE
    }

    /// How like what was played an utterance is that began `ago` samples before now: the highest correlation of loudness over the
    /// delays that the echo may have, 0 to 1; none where too little was being played meanwhile.
    pub(super) fn likeness(&self, sound: &[f32], ago: u64) -> Option<f32> {
        let mut bands = Bands::new();
        let heard: Vec<Frame> = sound.chunks_exact(FRAME).map(|frame| bands.frame(frame)).collect();
        let begin = self.frames.len() as i64 - (ago / FRAME as u64) as i64;
        let delays = match self.delay(begin) {
            Some(delay) => delay.saturating_sub(DELAY_GIVE)..=delay + DELAY_GIVE,
            None => 0..=LONGEST_DELAY,
        };
        delays.filter_map(|delay| self.alike(heard.iter(), begin, delay)).reduce(f32::max)
    }

    /// The echo's delay in frames, as it was heard up to `ago` samples before now, if it is known.
    pub(super) fn delay_before(&self, ago: u64) -> Option<usize> {
        self.delay(self.frames.len() as i64 - (ago / FRAME as u64) as i64)
    }

    /// The echo's delay in frames, as it was heard before the frame `end`.
    fn delay(&self, end: i64) -> Option<usize> {
        let end = usize::try_from(end).ok()?.min(self.heard.len());
        let begin = end.saturating_sub(DELAY_FRAMES);
        let at = |delay| Some((delay, self.alike(self.heard.range(begin..end), begin as i64, delay)?));
        let (delay, like) = (0..=LONGEST_DELAY).filter_map(at).max_by(|a, b| a.1.total_cmp(&b.1))?;
        (like >= DELAY_SURE).then_some(delay)
    }

    /// Correlation of frames that begin at `begin` with what was played `delay` frames earlier.
    fn alike<'f>(&self, heard: impl Iterator<Item = &'f Frame> + Clone, begin: i64, delay: usize) -> Option<f32> {
        let loudest = heard.clone().map(|f| f.power).fold(0.0, f32::max);
        let least = loudest * 10f32.powf(-PAUSE_DB / 10.0);
        let pairs: Vec<(&Frame, &Frame)> = heard
            .enumerate()
            .filter(|(_, f)| f.power > least)
            .filter_map(|(n, f)| Some((f, self.frames.get(usize::try_from(begin + n as i64 - delay as i64).ok()?)?)))
            .filter(|(_, played)| played.power > AUDIBLE)
            .collect();
        (pairs.len() >= LEAST_FRAMES).then(|| correlation(&pairs))
    }
}

/// Correlation of loudness over all frames and bands, each band around its own mean.
fn correlation(pairs: &[(&Frame, &Frame)]) -> f32 {
    let count = pairs.len() as f32;
    let (mut both, mut here, mut there) = (0.0, 0.0, 0.0);
    for band in 0..BANDS {
        let mean = |of: &dyn Fn(&(&Frame, &Frame)) -> f32| pairs.iter().map(of).sum::<f32>() / count;
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
