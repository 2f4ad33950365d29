//! Adaptive echo canceller: a partitioned-block frequency-domain Kalman filter that learns the path from the loudspeaker to the microphone
//! (Enzner and Vary, Signal Processing 86, 2006; Kuech, Mabande and Enzner, ICASSP 2014). Residual power counts as near-end speech and
//! slows adaptation, so that a voice over a prompt does not spoil the filter.

use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use std::collections::VecDeque;
use std::sync::Arc;

/// Samples per step: 16 ms at 16 kHz, one frame of voice activity.
pub(in crate::hear) const STEP: usize = crate::hear::segment::settings::FRAME;
/// Samples per transform, and bins of its spectrum.
pub(in crate::hear) const WIDTH: usize = 2 * STEP;
pub(in crate::hear) const BINS: usize = STEP + 1;
/// Partitions of the filter: 192 ms of the room's response.
const PARTITIONS: usize = 12;
/// Initial uncertainty: an echo as loud as the played sound, spread over the partitions.
const UNKNOWN: f32 = 1.0 / PARTITIONS as f32;
/// Share of the response's power that stays the same from step to step; the rest may have changed.
const SAME: f32 = 0.9985;
/// Share per step by which the residual power estimate falls; it rises at once.
const RESIDUAL_FALLS: f32 = 0.3;
/// Lowest residual power in a bin: -90 dB of full scale over a step.
const LEAST_POWER: f32 = 1e-9 * STEP as f32;

type Spectrum = Vec<Complex<f32>>;

/// Fourier transforms of one width.
#[derive(Clone)]
pub(in crate::hear) struct Transform {
    forward: Arc<dyn RealToComplex<f32>>,
    inverse: Arc<dyn ComplexToReal<f32>>,
}

impl Transform {
    pub(in crate::hear) fn new(width: usize) -> Self {
        let mut planner = RealFftPlanner::new();
        Self { forward: planner.plan_fft_forward(width), inverse: planner.plan_fft_inverse(width) }
    }

    /// The spectrum of `sound`, which serves as scratch space.
    pub(in crate::hear) fn spectrum(&self, sound: &mut [f32]) -> Spectrum {
        let mut out = self.forward.make_output_vec();
        // Cannot fail: both lengths come from the plan.
        let _ = self.forward.process(sound, &mut out);
        out
    }

    /// The sound of `spectrum`, which serves as scratch space.
    pub(in crate::hear) fn sound(&self, spectrum: &mut Spectrum) -> Vec<f32> {
        let mut out = self.inverse.make_output_vec();
        spectrum[0].im = 0.0;
        if let Some(last) = spectrum.last_mut() {
            last.im = 0.0;
        }
        let _ = self.inverse.process(spectrum, &mut out);
        let scale = 1.0 / out.len() as f32;
        out.iter_mut().for_each(|s| *s *= scale);
        out
    }
}

/// One step, cancelled.
pub(in crate::hear) struct Cancelled {
    /// What was heard less the estimated echo.
    pub(in crate::hear) left: [f32; STEP],
    /// The estimated echo.
    pub(in crate::hear) echo: [f32; STEP],
}

/// Echo canceller for mono sound at 16 kHz.
pub(in crate::hear) struct Canceller {
    transform: Transform,
    far_before: [f32; STEP],
    /// Spectra of what was played, latest first.
    far: VecDeque<Spectrum>,
    room: Vec<Spectrum>,
    uncertainty: Vec<[f32; BINS]>,
    residual_power: [f32; BINS],
}

impl Canceller {
    /// Starts without any knowledge of the room.
    pub(in crate::hear) fn new() -> Self {
        let silent = || vec![Complex::default(); BINS];
        Self {
            transform: Transform::new(WIDTH),
            far_before: [0.0; STEP],
            far: (0..PARTITIONS).map(|_| silent()).collect(),
            room: (0..PARTITIONS).map(|_| silent()).collect(),
            uncertainty: vec![[UNKNOWN; BINS]; PARTITIONS],
            residual_power: [LEAST_POWER; BINS],
        }
    }

    /// Restarts, since the echo path has changed.
    pub(in crate::hear) fn forget(&mut self) {
        *self = Self { transform: self.transform.clone(), ..Self::new() };
    }

    /// Cancels the echo of `played` in one step of what was heard. `played` must precede its echo by at most 192 ms.
    pub(in crate::hear) fn step(&mut self, heard: &[f32; STEP], played: &[f32; STEP]) -> Cancelled {
        let mut both = [self.far_before, *played].concat();
        self.far_before = *played;
        self.far.rotate_right(1);
        self.far[0] = self.transform.spectrum(&mut both);
        let mut sum = vec![Complex::default(); BINS];
        for (far, room) in self.far.iter().zip(&self.room) {
            for ((sum, x), w) in sum.iter_mut().zip(far).zip(room) {
                *sum += x * w;
            }
        }
        let sound = self.transform.sound(&mut sum);
        let mut out = Cancelled { left: [0.0; STEP], echo: [0.0; STEP] };
        for n in 0..STEP {
            out.echo[n] = sound[STEP + n];
            out.left[n] = heard[n] - out.echo[n];
        }
        self.learn(&out.left);
        out
    }

    fn learn(&mut self, left: &[f32; STEP]) {
        let mut padded = [[0.0; STEP], *left].concat();
        let left = self.transform.spectrum(&mut padded);
        let mut gain = [0.0; BINS];
        for bin in 0..BINS {
            let now = left[bin].norm_sqr();
            let slow = self.residual_power[bin] + RESIDUAL_FALLS * (now - self.residual_power[bin]);
            self.residual_power[bin] = slow.max(now).max(LEAST_POWER);
            let known: f32 = self.far.iter().zip(&self.uncertainty).map(|(x, p)| x[bin].norm_sqr() * p[bin]).sum();
            gain[bin] = 0.5 / (0.5 * known + self.residual_power[bin]);
        }
        for ((far, room), uncertainty) in self.far.iter().zip(&mut self.room).zip(&mut self.uncertainty) {
            let mut change = vec![Complex::default(); BINS];
            for bin in 0..BINS {
                let step = gain[bin] * uncertainty[bin];
                change[bin] = far[bin].conj() * left[bin] * step;
                uncertainty[bin] *= (1.0 - 0.5 * step * far[bin].norm_sqr()).max(0.0);
            }
            // Only the first half holds the response; the rest is circular wrap-around.
            let mut taps = self.transform.sound(&mut change);
            taps[STEP..].fill(0.0);
            let change = self.transform.spectrum(&mut taps);
            for bin in 0..BINS {
                room[bin] += change[bin];
                uncertainty[bin] = SAME * uncertainty[bin] + (1.0 - SAME) * room[bin].norm_sqr();
            }
        }
    }
}
