//! How long what is played takes to come back: the cross-correlation of what was played and what was heard, each frequency weighed
//! alike (the phase transform; Knapp and Carter, IEEE Transactions on Acoustics, Speech and Signal Processing 24, 1976), summed over
//! the latest seconds in which something sounded.

use super::canceller::Transform;
use super::ears::RATE;
use super::likeness::AUDIBLE;
use realfft::num_complex::Complex;
use std::collections::VecDeque;

/// Samples compared at a time, 2 s; an echo comes at most this many samples after its sound, a second.
const WIDTH: usize = 32_768;
pub(super) const LONGEST: usize = RATE as usize;
/// Samples between comparisons: a quarter of a second.
const EVERY: usize = RATE as usize / 4;
/// What was compared before counts this much less each time.
const FADES: f32 = 0.85;
/// Bands compared, in hertz: where loudspeakers give sound and speech has some.
const HERTZ: (f32, f32) = (200.0, 4_000.0);
/// A peak this many times the root mean square of all lags is an echo. Of noise the highest of a second's lags is at 4 to 5.
const SURE: f32 = 9.0;
/// Peaks nearer than this are the same, in samples: 4 ms.
const SAME: usize = RATE as usize / 250;
/// The delay and how it drifts follow the peaks by these shares (an alpha-beta filter). A peak is of sound this old, in samples.
const FOLLOWS: (f64, f64) = (0.3, 0.03);
const OLD: f64 = 1.5 * RATE as f64;
/// Clocks differ by at most this: 300 millionths.
const MOST_DRIFT: f64 = 3e-4;
/// Where nothing is found in so many comparisons, nothing comes back.
const NOTHING_AFTER: u32 = 24;

/// What is known of the echo.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Echo {
    /// Too little was played.
    Unknown,
    /// It is below the noise: headphones.
    None,
    /// It comes after so many samples.
    After(usize),
}

/// Looks for the echo.
pub(super) struct DelayFinder {
    transform: Transform,
    heard: VecDeque<f32>,
    played: VecDeque<f32>,
    cross: Vec<Complex<f32>>,
    since: usize,
    /// The last peak, and comparisons in a row without one.
    peak: Option<usize>,
    without: u32,
    pub(super) found: Echo,
    /// The delay to a part of a sample, and by how much it grows per sample: two devices have two clocks.
    delay: f64,
    drift: f64,
    /// Samples since the last peak.
    since_peak: f64,
}

impl DelayFinder {
    pub(super) fn new() -> Self {
        Self {
            transform: Transform::new(WIDTH),
            heard: VecDeque::from(vec![0.0; WIDTH]),
            played: VecDeque::from(vec![0.0; WIDTH]),
            cross: vec![Complex::default(); WIDTH / 2 + 1],
            since: 0,
            peak: None,
            without: 0,
            found: Echo::Unknown,
            delay: 0.0,
            drift: 0.0,
            since_peak: 0.0,
        }
    }

    /// From here on what was played is paired with what was heard so many samples later than before.
    pub(super) fn shifted(&mut self, later: i64) {
        self.cross.fill(Complex::default());
        self.heard.iter_mut().for_each(|s| *s = 0.0);
        self.peak = None;
        if let Echo::After(delay) = self.found {
            self.delay -= later as f64;
            self.found = match usize::try_from((delay as i64).saturating_sub(later)) {
                Ok(delay) if delay < LONGEST => Echo::After(delay),
                _ => Echo::Unknown,
            };
        }
    }

    /// Takes equally long stretches of what was heard and played. Whether something else was found than before.
    pub(super) fn push(&mut self, heard: &[f32], played: &[f32]) -> bool {
        for (ring, new) in [(&mut self.heard, heard), (&mut self.played, played)] {
            ring.drain(..new.len());
            ring.extend(new);
        }
        self.since += heard.len();
        self.since_peak += heard.len() as f64;
        self.delay = (self.delay + self.drift * heard.len() as f64).clamp(0.0, LONGEST as f64);
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
        if played.iter().map(|s| s * s).sum::<f32>() < AUDIBLE * part as f32 / 2.0 {
            return false;
        }
        let mut heard: Vec<f32> = self.heard.iter().copied().collect();
        let new = self.cross_of(&mut heard, &mut played);
        for (all, new) in self.cross.iter_mut().zip(new) {
            *all = *all * FADES + new;
        }
        let lags = self.transform.sound(&mut self.cross.clone());
        let mean = (lags[..LONGEST].iter().map(|s| s * s).sum::<f32>() / LONGEST as f32).sqrt();
        let best = (0..LONGEST).max_by(|a, b| lags[*a].abs().total_cmp(&lags[*b].abs()));
        let best = best.filter(|at| lags[*at].abs() > SURE * mean.max(1e-12));
        tracing::trace!(?best, sure = best.map(|at| lags[at].abs() / mean), "echo");
        let before = std::mem::replace(&mut self.peak, best);
        let found = match (best, before) {
            (Some(now), Some(then)) if now.abs_diff(then) <= SAME => Echo::After(now),
            (Some(_), _) => self.found,
            (None, _) if self.found == Echo::Unknown && self.without >= NOTHING_AFTER => Echo::None,
            (None, _) => self.found,
        };
        self.without = if best.is_some() { 0 } else { self.without + 1 };
        let moved = match (found, self.found) {
            (Echo::After(now), Echo::After(_)) => (now as f64 - self.delay).abs() > SAME as f64,
            (now, then) => now != then,
        };
        if let (Echo::After(at), Some(_)) = (found, best) {
            self.follow(between(&lags, at), moved);
        }
        self.found = found;
        moved
    }

    /// How far the highest lag stands above all between what was played lately and a stretch that ends now, at whatever delay: what is
    /// left of an echo whose delay has just jumped stands out, somebody's voice does not.
    pub(super) fn stands_out(&self, sound: &[f32]) -> f32 {
        let sound = &sound[sound.len().saturating_sub(WIDTH - LONGEST)..];
        let mut here = vec![0.0; WIDTH - sound.len()];
        here.extend_from_slice(sound);
        let mut there: Vec<f32> = self.played.iter().copied().collect();
        there[..WIDTH - LONGEST - sound.len()].fill(0.0);
        let mut cross = self.cross_of(&mut here, &mut there);
        let lags = self.transform.sound(&mut cross);
        let mean = (lags[..LONGEST].iter().map(|s| s * s).sum::<f32>() / LONGEST as f32).sqrt();
        lags[..LONGEST].iter().fold(0.0, |most: f32, lag| most.max(lag.abs())) / mean.max(1e-12)
    }

    /// Every frequency's phase between two sounds, weighed alike.
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

    /// Follows a peak, or begins anew with it.
    fn follow(&mut self, peak: f64, anew: bool) {
        let since = std::mem::take(&mut self.since_peak).max(EVERY as f64);
        if anew {
            (self.delay, self.drift) = (peak, 0.0);
            return;
        }
        let off = peak - (self.delay - self.drift * OLD);
        self.delay += FOLLOWS.0 * off;
        self.drift = (self.drift + FOLLOWS.1 * off / since).clamp(-MOST_DRIFT, MOST_DRIFT);
    }

    /// The delay to a part of a sample.
    pub(super) fn delay(&self) -> f64 {
        self.delay
    }
}

/// Where the peak at or beside `at` is, by the parabola through three points.
fn between(lags: &[f32], at: usize) -> f64 {
    let point = |n: usize| f64::from(lags[n].abs());
    if at == 0 || at + 1 >= lags.len() {
        return at as f64;
    }
    let (a, b, c) = (point(at - 1), point(at), point(at + 1));
    let bend = a - 2.0 * b + c;
    at as f64 + if bend < 0.0 { (0.5 * (a - c) / bend).clamp(-0.5, 0.5) } else { 0.0 }
}
