//! Residual echo: how much of what the canceller leaves is still echo. The level of the rest is tracked per band, relative to the echo that
//! was removed. What stands clearly above it is a voice; everything else is suppressed, but only in the sound used to detect speech.

use super::canceller::{BINS, STEP, Transform, WIDTH};
use crate::hear::ears::RATE;

/// Number of bands, and the lower and upper edge of all of them in hertz.
const BANDS: usize = 20;
const HERTZ: (f32, f32) = (150.0, 7_000.0);
/// Share of an echo's power that is left after a step of 16 ms of reverberation: 60 dB in 0.7 s.
const DIES: f32 = 0.73;
/// Share by which the estimate moves towards a new value, both in decibels, and the largest deviation that counts: a voice over prompts
/// moves it little.
const FOLLOWS: f32 = 1.0 / 48.0;
const MOST_OFF_DB: f32 = 9.0;
/// A voice is told from the residual echo only if it stands this many decibels above the usual residual.
const MARGIN_DB: f32 = 9.0;
/// Initial estimate of the residual, in decibels relative to the echo.
const LEFT_AT_FIRST_DB: f32 = 0.0;
/// Mean square in a band from which there is an echo: -70 dB of full scale over all bands.
const LEAST_ECHO: f32 = 1e-7 / BANDS as f32;

/// Tracks and suppresses the residual echo.
pub(in crate::hear) struct Residual {
    transform: Transform,
    window: Vec<f32>,
    /// First bin of each band, and one past the last band.
    edges: Vec<usize>,
    left_before: [f32; STEP],
    echo_before: [f32; STEP],
    /// The echo's power in each band, with its reverberation.
    echo: [f32; BANDS],
    /// The usual residual in each band, in decibels relative to the echo.
    left_db: [f32; BANDS],
    half: [f32; STEP],
}

/// One step with the residual echo suppressed.
pub(in crate::hear) struct Suppressed {
    /// The suppressed sound, one step late.
    pub(in crate::hear) sound: [f32; STEP],
    /// Mean squares of the suppressed sound and of the residual echo expected in it.
    pub(in crate::hear) voice: f32,
    pub(in crate::hear) expected: f32,
}

impl Residual {
    pub(in crate::hear) fn new() -> Self {
        let bin = |hertz: f32| (hertz * WIDTH as f32 / RATE as f32).round() as usize;
        let mut edges: Vec<usize> = Vec::with_capacity(BANDS + 1);
        for n in 0..=BANDS {
            let at = bin(HERTZ.0 * (HERTZ.1 / HERTZ.0).powf(n as f32 / BANDS as f32));
            edges.push(at.max(edges.last().map_or(0, |e| e + 1)));
        }
        let window = (0..WIDTH).map(|n| (std::f32::consts::PI * (n as f32 + 0.5) / WIDTH as f32).sin()).collect();
        Self {
            transform: Transform::new(WIDTH),
            window,
            edges,
            left_before: [0.0; STEP],
            echo_before: [0.0; STEP],
            echo: [0.0; BANDS],
            left_db: [LEFT_AT_FIRST_DB; BANDS],
            half: [0.0; STEP],
        }
    }

    /// The canceller has restarted.
    pub(in crate::hear) fn forget(&mut self) {
        self.left_db = [LEFT_AT_FIRST_DB; BANDS];
    }

    fn spectrum(&self, before: &[f32; STEP], now: &[f32; STEP]) -> Vec<realfft::num_complex::Complex<f32>> {
        let mut both = [*before, *now].concat();
        both.iter_mut().zip(&self.window).for_each(|(s, w)| *s *= w);
        self.transform.spectrum(&mut both)
    }

    /// Takes one step of the canceller's output and of the echo that it removed. With `learn`, updates the residual estimate.
    pub(in crate::hear) fn step(&mut self, left: &[f32; STEP], echo: &[f32; STEP], learn: bool) -> Suppressed {
        let mut spectrum = self.spectrum(&self.left_before, left);
        let taken_out = self.spectrum(&self.echo_before, echo);
        (self.left_before, self.echo_before) = (*left, *echo);
        let scale = 2.0 / (WIDTH as f32 * STEP as f32);
        let (mut voice, mut expected_in_all) = (0.0, 0.0);
        for band in 0..BANDS {
            let bins = self.edges[band]..self.edges[band + 1];
            let power = |of: &[realfft::num_complex::Complex<f32>]| {
                of[bins.clone()].iter().map(|c| c.norm_sqr()).sum::<f32>() * scale
            };
            let (left, echo) = (power(&spectrum), power(&taken_out));
            self.echo[band] = echo.max(self.echo[band] * DIES);
            let mut expected = 0.0;
            if self.echo[band] > LEAST_ECHO {
                let off = 10.0 * (left.max(1e-14) / self.echo[band]).log10() - self.left_db[band];
                if learn {
                    self.left_db[band] += FOLLOWS * off.clamp(-MOST_OFF_DB, MOST_OFF_DB);
                }
                expected = self.echo[band] * 10f32.powf((self.left_db[band] + MARGIN_DB) / 10.0);
            }
            let share = (1.0 - expected / left.max(1e-14)).max(0.0);
            voice += left * share;
            expected_in_all += expected;
            for bin in bins {
                spectrum[bin] *= share.sqrt();
            }
        }
        spectrum[..self.edges[0]].fill(Default::default());
        spectrum[self.edges[BANDS].min(BINS)..].fill(Default::default());
        let sound = self.transform.sound(&mut spectrum);
        let mut out = Suppressed { sound: self.half, voice, expected: expected_in_all };
        for n in 0..STEP {
            out.sound[n] += sound[n] * self.window[n];
            self.half[n] = sound[STEP + n] * self.window[STEP + n];
        }
        out
    }
}
