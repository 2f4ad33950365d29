//! The lengths by which speech is cut out of sound, in samples.

use crate::hear::ears::RATE;

/// Samples per voice decision: 16 ms, half a step of the detector.
pub(in crate::hear) const FRAME: usize = 256;

/// Converts milliseconds to samples at [`RATE`].
pub(in crate::hear) const fn samples(ms: u64) -> u64 {
    ms * RATE as u64 / 1000
}

/// Segmentation settings. All lengths are in samples at [`RATE`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ActivitySettings {
    /// Sound kept before the first frame of voice, so that a soft first consonant is not lost.
    pub pre_roll: u64,
    /// Silence after which a preliminary utterance is reported, so that the recogniser can start during the rest of the silence.
    pub first_silence: u64,
    /// Silence after which the utterance is delivered early.
    pub short_silence: u64,
    /// Silence that ends an utterance.
    pub long_silence: u64,
    /// Sound kept after the last frame of voice.
    pub tail: u64,
    /// Speech needs at least this much voice; less is a click.
    pub least_voice: u64,
    /// Longest utterance; a longer one is cut here.
    pub longest: u64,
}

impl Default for ActivitySettings {
    fn default() -> Self {
        Self {
            pre_roll: samples(400),
            first_silence: samples(192),
            short_silence: samples(250),
            long_silence: samples(800),
            tail: samples(250),
            least_voice: samples(80),
            longest: samples(20_000),
        }
    }
}
