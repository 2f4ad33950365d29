//! Takes out of the microphone's sound what the loudspeaker plays. The canceller finds the delay between the two by itself,
//! up to about half a second, learns the room in a second or so, and goes on learning.

use sonora_aec3::block::Block;
use sonora_aec3::block_processor::BlockProcessor;
use sonora_aec3::common::BLOCK_SIZE;
use sonora_aec3::config::EchoCanceller3Config;

use super::ears::RATE;

/// Samples per step: 20 ms, five of the canceller's blocks.
pub(super) const STEP: usize = RATE as usize / 50;
const _: () = assert!(STEP.is_multiple_of(BLOCK_SIZE));
/// The canceller counts samples as 16-bit numbers.
const SCALE: f32 = 32_768.0;

/// What the canceller makes of one step.
pub(super) struct Cancelled {
    /// What was learnt of the echo is subtracted: what is left of the prompt is still in it, and the answer is as it was.
    pub(super) subtracted: [f32; STEP],
    /// What is left of the prompt is suppressed too, and with it some of an answer over it.
    pub(super) suppressed: [f32; STEP],
}

/// An echo canceller for mono sound at [`RATE`].
pub(super) struct Canceller {
    inner: BlockProcessor,
}

impl Canceller {
    /// One that knows nothing of the room yet.
    pub(super) fn new() -> Self {
        let mut config = EchoCanceller3Config::default();
        config.filter.export_linear_aec_output = true;
        Self { inner: BlockProcessor::new(&config, RATE as usize, 1, 1) }
    }

    /// One step of what the microphone heard, without what was `played`. `played` may be handed over before its echo comes, never
    /// after.
    pub(super) fn step(&mut self, heard: &[f32; STEP], played: &[f32; STEP]) -> Cancelled {
        let mut out = Cancelled { subtracted: [0.0; STEP], suppressed: [0.0; STEP] };
        let (mut near, mut far, mut linear) = (Block::new(1, 1), Block::new(1, 1), Block::new(1, 1));
        let fill = |block: &mut Block, sound: &[f32]| {
            for (into, sample) in block.view_mut(0, 0).iter_mut().zip(sound) {
                *into = (sample * SCALE).clamp(-SCALE, SCALE - 1.0);
            }
        };
        let give = |block: &Block, sound: &mut [f32]| {
            for (into, sample) in sound.iter_mut().zip(block.view(0, 0)) {
                *into = if sample.is_finite() { sample / SCALE } else { 0.0 };
            }
        };
        for from in (0..STEP).step_by(BLOCK_SIZE) {
            let at = from..from + BLOCK_SIZE;
            fill(&mut far, &played[at.clone()]);
            fill(&mut near, &heard[at.clone()]);
            self.inner.buffer_render(&far);
            let saturated = heard[at.clone()].iter().any(|s| s.abs() >= 0.99);
            self.inner.process_capture(false, saturated, Some(&mut linear), &mut near);
            give(&linear, &mut out.subtracted[at.clone()]);
            give(&near, &mut out.suppressed[at]);
        }
        out
    }
}
