//! Takes out of the microphone's sound what the loudspeaker plays: a Kalman filter in the frequency domain that learns the way from the
//! loudspeaker to the microphone, partition by partition (Enzner and Vary, Signal Processing 86, 2006; Kuech, Mabande and Enzner, ICASSP
//! 2014). What it cannot explain counts as somebody's voice and slows its learning, so that a voice over a prompt is not unlearnt.

use realfft::num_complex::Complex;
use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use std::collections::VecDeque;
use std::sync::Arc;

/// Samples per step: 16 ms at 16 kHz, the same as a frame of voice activity.
pub(in crate::hear) const STEP: usize = crate::hear::segment::settings::FRAME;
/// Samples per transform, and the numbers that come out of one.
pub(in crate::hear) const WIDTH: usize = 2 * STEP;
pub(in crate::hear) const BINS: usize = STEP + 1;
/// Partitions of the filter: 12, so 192 ms of the room.
const PARTITIONS: usize = 12;
/// How far the room may be from what is known of it at first: an echo as loud as what is played, spread over the partitions.
const UNKNOWN: f32 = 1.0 / PARTITIONS as f32;
/// The room stays the same from step to step up to this share of its power; the rest is what it may have changed.
const SAME: f32 = 0.9985;
/// What is unexplained is followed down by this share per step, and up at once.
const UNEXPLAINED_FALLS: f32 = 0.3;
/// Least power of what is unexplained in a bin: -90 dB of full scale over a step.
const LEAST_POWER: f32 = 1e-9 * STEP as f32;

type Spectrum = Vec<Complex<f32>>;

/// Transforms of one width.
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

    /// The spectrum of `sound`, which is used up.
    pub(in crate::hear) fn spectrum(&self, sound: &mut [f32]) -> Spectrum {
        let mut out = self.forward.make_output_vec();
        // Both lengths are the plan's own.
        let _ = self.forward.process(sound, &mut out);
        out
    }

    /// The sound of `spectrum`, which is used up.
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

/// What the canceller makes of one step.
pub(in crate::hear) struct Cancelled {
    /// What is left when the echo as far as it is known is taken out.
    pub(in crate::hear) left: [f32; STEP],
    /// The echo as far as it is known.
    pub(in crate::hear) echo: [f32; STEP],
}

/// An echo canceller for mono sound at 16 kHz.
pub(in crate::hear) struct Canceller {
    transform: Transform,
    far_before: [f32; STEP],
    /// Latest first.
    far: VecDeque<Spectrum>,
    room: Vec<Spectrum>,
    unsure: Vec<[f32; BINS]>,
    unexplained: [f32; BINS],
}

impl Canceller {
    /// One that knows nothing of the room yet.
    pub(in crate::hear) fn new() -> Self {
        let silent = || vec![Complex::default(); BINS];
        Self {
            transform: Transform::new(WIDTH),
            far_before: [0.0; STEP],
            far: (0..PARTITIONS).map(|_| silent()).collect(),
            room: (0..PARTITIONS).map(|_| silent()).collect(),
            unsure: vec![[UNKNOWN; BINS]; PARTITIONS],
            unexplained: [LEAST_POWER; BINS],
        }
    }

    /// The way has changed: what is known of the room is forgotten.
    pub(in crate::hear) fn forget(&mut self) {
        *self = Self { transform: self.transform.clone(), ..Self::new() };
    }

    /// One step of what the microphone heard, without what was `played`: the latter at most 192 ms before its echo, never after.
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
            let slow = self.unexplained[bin] + UNEXPLAINED_FALLS * (now - self.unexplained[bin]);
            self.unexplained[bin] = slow.max(now).max(LEAST_POWER);
            let known: f32 = self.far.iter().zip(&self.unsure).map(|(x, p)| x[bin].norm_sqr() * p[bin]).sum();
            gain[bin] = 0.5 / (0.5 * known + self.unexplained[bin]);
        }
        for ((far, room), unsure) in self.far.iter().zip(&mut self.room).zip(&mut self.unsure) {
            let mut change = vec![Complex::default(); BINS];
            for bin in 0..BINS {
                let step = gain[bin] * unsure[bin];
                change[bin] = far[bin].conj() * left[bin] * step;
                unsure[bin] *= (1.0 - 0.5 * step * far[bin].norm_sqr()).max(0.0);
            }
            // Only the first half of a partition is the room's; the rest is the transform's wrapping round.
            let mut taps = self.transform.sound(&mut change);
            taps[STEP..].fill(0.0);
            let change = self.transform.spectrum(&mut taps);
            for bin in 0..BINS {
                room[bin] += change[bin];
                unsure[bin] = SAME * unsure[bin] + (1.0 - SAME) * room[bin].norm_sqr();
            }
        }
    }
}
