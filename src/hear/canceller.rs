//! Takes out of the microphone's sound what the loudspeaker plays. The canceller finds the delay between the two by itself,
//! up to about half a second, learns the room in a second or so, and goes on learning.

use sonora::config::EchoCanceller;
use sonora::{AudioProcessing, Config, StreamConfig};

use super::ears::RATE;

/// Samples per step: 10 ms.
pub(super) const STEP: usize = RATE as usize / 100;

/// An echo canceller for mono sound at [`RATE`].
pub(super) struct Canceller {
    inner: AudioProcessing,
    /// What the canceller makes of the loudspeaker's sound, which nobody needs.
    unused: [f32; STEP],
}

impl Canceller {
    /// One that knows nothing of the room yet.
    pub(super) fn new() -> Self {
        let config = Config { echo_canceller: Some(EchoCanceller::default()), ..Config::default() };
        let mono = StreamConfig::new(RATE, 1);
        let inner = AudioProcessing::builder().config(config).capture_config(mono).render_config(mono).build();
        Self { inner, unused: [0.0; STEP] }
    }

    /// One step of what the microphone heard, without what was `played`. `played` may be handed over before its echo comes, never
    /// after. Should the canceller refuse the sound, it comes back as it was.
    pub(super) fn step(&mut self, heard: &[f32; STEP], played: &[f32; STEP]) -> [f32; STEP] {
        let mut clean = [0.0; STEP];
        let taken = self.inner.process_render_f32(&[&played[..]], &mut [&mut self.unused[..]]);
        // The canceller estimates the delay; zero is only where it begins to look.
        let told = self.inner.set_stream_delay_ms(0);
        let given = self.inner.process_capture_f32(&[&heard[..]], &mut [&mut clean[..]]);
        if taken.and(told).and(given).is_ok() && clean.iter().all(|s| s.is_finite()) { clean } else { *heard }
    }
}
