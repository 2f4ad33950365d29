//! Finds the echo's delay by generalised cross-correlation with the phase transform (GCC-PHAT; Knapp and Carter, IEEE Transactions on
//! Acoustics, Speech and Signal Processing 24, 1976), accumulated over the latest seconds in which something was played.

use super::canceller::Transform;
use super::likeness::AUDIBLE;
use crate::hear::ears::RATE;
use crate::hear::level::{power, rms};
use realfft::num_complex::Complex;
use std::collections::VecDeque;

/// Samples of one comparison (2 s), and the longest delay (1 s).
const WIDTH: usize = 32_768;
pub(in crate::hear) const LONGEST: usize = RATE as usize;
/// Samples between comparisons: a quarter of a second.
const EVERY: usize = RATE as usize / 4;
/// Weight of the earlier comparisons at each new one.
const DECAY: f32 = 0.85;
/// Frequencies compared, in hertz: where loudspeakers radiate and speech has power.
const HERTZ: (f32, f32) = (200.0, 4_000.0);
/// A peak this many times the root mean square of all lags is an echo. Noise peaks at 4 to 5 over a second of lags.
const SURE: f32 = 9.0;
/// Peak that suffices in a single comparison, near a known delay.
const FAIRLY_SURE: f32 = 5.0;
/// Peaks closer than this are the same, in samples: 4 ms.
const SAME: usize = RATE as usize / 250;
/// Mean age of the samples of one comparison.
const OLD: f64 = 1.5 * RATE as f64;
/// Weight of the earlier peaks at each new one; after 8 s of sound little is left.
const PEAK_DECAY: f64 = 0.97;
/// Regularises the drift towards zero while there are few peaks; it weighs as much as one peak that lies one second off the mean.
const HELD: f64 = RATE as f64 * RATE as f64;
/// Largest clock drift followed: 300 parts per million.
const MOST_DRIFT: f64 = 3e-4;
/// After this many comparisons without a peak there is no echo.
const NOTHING_AFTER: u32 = 24;

/// What is known about the echo.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::hear) enum EchoPath {
    /// Too little has been played to tell.
    Unknown,
    /// The echo is below the noise: headphones.
    None,
    /// The echo lags by this many samples.
    After(usize),
}

/// Finds and follows the echo's delay.
pub(in crate::hear) struct DelayFinder {
    transform: Transform,
    heard: VecDeque<f32>,
    played: VecDeque<f32>,
    cross: Vec<Complex<f32>>,
    since: usize,
    /// The last peak, and the number of comparisons since without one.
    peak: Option<usize>,
    without: u32,
    pub(in crate::hear) found: EchoPath,
    /// Samples so far.
    now: f64,
    trend: DelayTrend,
}

/// A regression line through the delays of the latest peaks over time, since two devices have two clocks.
#[derive(Default)]
struct DelayTrend {
    weight: f64,
    /// Means of time and delay in samples, and the sums of the squares and products of their deviations.
    at: f64,
    delay: f64,
    squares: f64,
    products: f64,
}

impl DelayTrend {
    fn add(&mut self, at: f64, delay: f64) {
        self.weight = self.weight * PEAK_DECAY + 1.0;
        let (off_at, off_delay) = (at - self.at, delay - self.delay);
        self.at += off_at / self.weight;
        self.delay += off_delay / self.weight;
        self.squares = self.squares * PEAK_DECAY + off_at * (at - self.at);
        self.products = self.products * PEAK_DECAY + off_at * (delay - self.delay);
    }

    fn delay(&self, at: f64) -> f64 {
        let drift = (self.products / (self.squares + HELD)).clamp(-MOST_DRIFT, MOST_DRIFT);
        (self.delay + drift * (at - self.at)).clamp(0.0, LONGEST as f64)
    }
}

impl DelayFinder {
    pub(in crate::hear) fn new() -> Self {
        Self {
            transform: Transform::new(WIDTH),
            heard: VecDeque::from(vec![0.0; WIDTH]),
            played: VecDeque::from(vec![0.0; WIDTH]),
            cross: vec![Complex::default(); WIDTH / 2 + 1],
            since: 0,
            peak: None,
            without: 0,
            found: EchoPath::Unknown,
            now: 0.0,
            trend: DelayTrend::default(),
        }
    }

    /// The pairing has shifted: from here on what was played is paired this many samples later.
    pub(in crate::hear) fn shifted(&mut self, later: i64) {
        self.cross.fill(Complex::default());
        self.heard.iter_mut().for_each(|s| *s = 0.0);
        self.peak = None;
        if let EchoPath::After(delay) = self.found {
            self.trend.delay -= later as f64;
            self.found = match usize::try_from((delay as i64).saturating_sub(later)) {
                Ok(delay) if delay < LONGEST => EchoPath::After(delay),
                _ => EchoPath::Unknown,
            };
        }
    }

    /// Takes equally long stretches of both signals. True when the echo path has changed.
    pub(in crate::hear) fn push(&mut self, heard: &[f32], played: &[f32]) -> bool {
        for (ring, new) in [(&mut self.heard, heard), (&mut self.played, played)] {
            ring.drain(..new.len());
            ring.extend(new);
        }
        self.since += heard.len();
        self.now += heard.len() as f64;
        if self.since < EVERY {
            return false;
        }
        self.since = 0;
        self.look()
    }

    fn look(&mut self) -> bool {
        let part = WIDTH - LONGEST;
        let mut played: Vec<f32> = self.played.iter().copied().collect();
        played[part..].fill(0.0);
        if power(&played[..part]) < AUDIBLE / 2.0 {
            return false;
        }
        let mut heard: Vec<f32> = self.heard.iter().copied().collect();
        let mut new = self.cross_of(&mut heard, &mut played);
        for (all, new) in self.cross.iter_mut().zip(&new) {
            *all = *all * DECAY + new;
        }
        let lags = self.transform.sound(&mut self.cross.clone());
        let mean = rms(&lags[..LONGEST]);
        let best = highest(&lags, 0..LONGEST).filter(|at| lags[*at].abs() > SURE * mean.max(1e-12));
        tracing::trace!(?best, sure = best.map(|at| lags[at].abs() / mean), "echo");
        let before = std::mem::replace(&mut self.peak, best);
        let found = match (best, before) {
            (Some(now), Some(then)) if now.abs_diff(then) <= SAME => EchoPath::After(now),
            (Some(_), _) => self.found,
            (None, _) if self.found == EchoPath::Unknown && self.without >= NOTHING_AFTER => EchoPath::None,
            (None, _) => self.found,
        };
        self.without = if best.is_some() { 0 } else { self.without + 1 };
        let at = self.now - OLD;
        let moved = match (found, self.found) {
            (EchoPath::After(now), EchoPath::After(_)) => (now as f64 - self.trend.delay(at)).abs() > SAME as f64,
            (now, then) => now != then,
        };
        if moved {
            self.trend = DelayTrend::default();
        }
        if let (EchoPath::After(near), Some(_)) = (found, best) {
            // The latest comparison alone locates the peak: the accumulated ones are older.
            let lags = self.transform.sound(&mut new);
            let around = near.saturating_sub(SAME)..(near + SAME).min(LONGEST);
            if let Some(peak) = highest(&lags, around).filter(|p| lags[*p].abs() > FAIRLY_SURE * rms(&lags[..LONGEST]))
            {
                self.trend.add(at, between(&lags, peak));
            } else if moved {
                self.trend.add(at, near as f64);
            }
        }
        self.found = found;
        moved
    }

    /// The phase between two signals at each frequency, with unit weight.
    fn cross_of(&self, heard: &mut [f32], played: &mut [f32]) -> Vec<Complex<f32>> {
        let (played, heard) = (self.transform.spectrum(played), self.transform.spectrum(heard));
        let bin = |hertz: f32| (hertz * WIDTH as f32 / RATE as f32) as usize;
        let mut cross = vec![Complex::default(); WIDTH / 2 + 1];
        for n in bin(HERTZ.0)..bin(HERTZ.1) {
            let both = heard[n] * played[n].conj();
            let size = both.norm();
            if size > 1e-12 {
                cross[n] = both / size;
            }
        }
        cross
    }

    /// The delay now, with a fraction of a sample.
    pub(in crate::hear) fn delay(&self) -> f64 {
        self.trend.delay(self.now)
    }
}

/// The lag with the largest magnitude.
fn highest(lags: &[f32], of: std::ops::Range<usize>) -> Option<usize> {
    of.max_by(|a, b| lags[*a].abs().total_cmp(&lags[*b].abs()))
}

/// Interpolates the peak beside `at` with a parabola through three points.
fn between(lags: &[f32], at: usize) -> f64 {
    let point = |n: usize| f64::from(lags[n].abs());
    if at == 0 || at + 1 >= lags.len() {
        return at as f64;
    }
    let (a, b, c) = (point(at - 1), point(at), point(at + 1));
    let bend = a - 2.0 * b + c;
    at as f64 + if bend < 0.0 { (0.5 * (a - c) / bend).clamp(-0.5, 0.5) } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::TAU;

    const SEED: u64 = 20_261_128;

    /// A sound defined between samples too, in stretches of 1.2 s with pauses of 0.4 s, so that the true delay is exact. That the clocks of two
    /// devices differ by some tens of parts per million is common practice, without a source.
    struct Sound(Vec<(f64, f64)>);

    impl Sound {
        fn at(&self, sample: f64) -> f32 {
            let seconds = sample / f64::from(RATE);
            if seconds < 0.0 || seconds % 1.6 > 1.2 {
                return 0.0;
            }
            self.0.iter().map(|(hertz, phase)| (TAU * hertz * seconds + phase).sin() as f32 * 0.02).sum()
        }
    }

    #[test]
    fn the_delay_is_followed_while_clocks_drift_and_through_a_pause() {
        println!("seed {SEED}");
        let mut random = fastrand::Rng::with_seed(SEED);
        let sound = Sound((0..150).map(|_| (200.0 + 3_800.0 * random.f64(), TAU * random.f64())).collect());
        for drift in [0.0, 25e-6, -60e-6] {
            let delay = |sample: f64| 1_200.0 + drift * sample;
            let mut finder = DelayFinder::new();
            let mut off = Vec::new();
            for step in 0..20 * RATE as usize / 160 {
                let times = (0..160).map(|n| (step * 160 + n) as f64);
                // The last 3 s are silent.
                let part = if step < 17 * RATE as usize / 160 { 1.0 } else { 0.0 };
                let played: Vec<f32> = times.clone().map(|t| part * sound.at(t)).collect();
                let heard: Vec<f32> =
                    times.map(|t| sound.at(t - delay(t)) * 0.25 + 0.002 * (random.f32() - 0.5)).collect();
                finder.push(&heard, &played);
                if step >= 10 * RATE as usize / 160 {
                    off.push((finder.delay() - delay(finder.now)).abs());
                }
            }
            let most = off.iter().copied().fold(0.0, f64::max);
            println!("drift {drift}: at most {most:.2} samples off");
            assert!(most < 0.25, "drift {drift}: {most}");
        }
    }
}
