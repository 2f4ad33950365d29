//! How speech is cut out of sound: the lengths, in samples.

use crate::hear::ears::RATE;

/// Samples per decision, 16 ms: half a step of the detector.
pub const FRAME: usize = 256;

/// Samples in a number of milliseconds at [`RATE`].
pub const fn samples(ms: u64) -> u64 {
    ms * RATE as u64 / 1000
}

/// How speech is cut out of sound. All lengths in samples at [`RATE`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ActivitySettings {
    /// Sound kept from before the first frame of voice, so that a soft first consonant is not lost.
    pub pre_roll: u64,
    /// Silence after which an utterance is told beforehand, so that it can be understood while the rest of the silence is waited for.
    pub first_silence: u64,
    /// Silence after which an utterance is handed over early.
    pub short_silence: u64,
    /// Silence after which an utterance is over.
    pub long_silence: u64,
    /// Sound kept after the last frame of voice.
    pub tail: u64,
    /// Less voice than this is a click.
    pub least_voice: u64,
    /// An utterance is cut at this length.
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
