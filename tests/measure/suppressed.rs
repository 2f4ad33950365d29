//! An experiment with noise suppression before the recogniser: a recurrent network with 48 kHz frames (`nnnoiseless`, a port of RNNoise).

use crate::trials::Treatment;
use nnnoiseless::DenoiseState;
use probeside::hear::SAMPLE_RATE;
use probeside::hear::resample::resample;

const RATE: u32 = 48_000;
/// The network works on sixteen-bit values.
const SCALE: f32 = 32_767.0;

/// [`suppress`] as a treatment of trials.
pub const SUPPRESSED: Treatment = Treatment { more: 0, treat: suppress };

/// The sound without what the network takes for noise, at the same length.
fn suppress(sound: Vec<f32>) -> Vec<f32> {
    let wide: Vec<f32> = resample(&sound, SAMPLE_RATE as u32, RATE).iter().map(|x| x * SCALE).collect();
    let mut state = DenoiseState::new();
    let mut out = Vec::with_capacity(wide.len() + DenoiseState::FRAME_SIZE);
    let mut frame = [0.0; DenoiseState::FRAME_SIZE];
    for input in wide.chunks(DenoiseState::FRAME_SIZE) {
        let mut padded = [0.0; DenoiseState::FRAME_SIZE];
        padded[..input.len()].copy_from_slice(input);
        state.process_frame(&mut frame, &padded);
        out.extend(frame.iter().map(|x| x / SCALE));
    }
    let mut narrow = resample(&out, RATE, SAMPLE_RATE as u32);
    narrow.resize(sound.len(), 0.0);
    narrow
}
