//! Pairs what was heard with what was played, sample by sample. Both come at their own device's pace; they are paired by counting,
//! so that an echo never stands before its sound. Only where one device has lost sound, or their clocks have drifted apart, are they
//! paired anew, in silence if possible.

use super::ears::RATE;
use super::likeness::AUDIBLE;
use super::played::Reference;
use super::resample::Resampler;
use rtrb::Consumer;
use std::collections::VecDeque;

/// Callbacks come in bursts, so one device is ahead of the other for moments. What it is ahead by throughout so many samples (2 s), if
/// it is more than so many (40 ms), has been lost by the other.
const WATCHED: usize = 2 * RATE as usize;
const SLACK: usize = RATE as usize / 25;
/// The microphone waits for the loudspeaker's count at most so long (half a second), the loudspeaker's for the microphone's a second.
const LONGEST_WAIT: usize = RATE as usize / 2;
const MOST_AHEAD: usize = RATE as usize;
/// Silence, for this purpose: half a second.
const SILENCE: usize = RATE as usize / 2;
/// A loudspeaker that holds back more than this gets its sound paired later by what is more: the canceller looks for the rest.
const USUAL_LATENCY_US: u64 = 150_000;
/// The loudspeaker's word about its latency wavers: smaller changes than this, in samples, are let be.
const LAG_CHANGES: usize = RATE as usize / 20;

/// The state of pairing.
pub(super) struct Pairing {
    reference: Reference,
    line: Option<(Consumer<f32>, Resampler)>,
    near: VecDeque<f32>,
    far: VecDeque<f32>,
    /// What was played is paired later by so many samples.
    lag: usize,
    /// Samples of silence at the end of `far` and before.
    silent: usize,
    fresh: Vec<f32>,
    /// Samples watched, and the least that `near` and `far` were ahead meanwhile.
    watched: usize,
    ahead: (usize, usize),
}

impl std::fmt::Debug for Pairing {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Pairing").field("near", &self.near.len()).field("far", &self.far.len()).finish_non_exhaustive()
    }
}

impl Pairing {
    pub(super) fn new(reference: Reference) -> Self {
        Self {
            reference,
            line: None,
            near: VecDeque::new(),
            far: VecDeque::new(),
            lag: 0,
            silent: SILENCE,
            fresh: Vec::new(),
            watched: 0,
            ahead: (usize::MAX, usize::MAX),
        }
    }

    /// Takes what was heard at [`RATE`]; appends equally long stretches of both that belong together.
    pub(super) fn push(&mut self, heard: &[f32], near: &mut Vec<f32>, far: &mut Vec<f32>) {
        self.near.extend(heard);
        self.take_played();
        if self.line.is_none() && self.far.len() < self.near.len() {
            self.far.resize(self.near.len(), 0.0);
        }
        self.follow_latency();
        let both = self.near.len().min(self.far.len());
        near.extend(self.near.drain(..both));
        far.extend(self.far.drain(..both));
        self.keep_together(heard.len());
    }

    fn take_played(&mut self) {
        while let Ok((ring, rate)) = self.reference.rings.try_recv() {
            self.line = Some((ring, Resampler::new(rate, RATE)));
            self.far.clear();
            self.lag = 0;
        }
        let Some((ring, resampler)) = &mut self.line else { return };
        let over = ring.is_abandoned();
        self.fresh.clear();
        if let Ok(chunk) = ring.read_chunk(ring.slots()) {
            let (first, second) = chunk.as_slices();
            resampler.push(first, &mut self.fresh);
            resampler.push(second, &mut self.fresh);
            chunk.commit_all();
        }
        if over {
            self.line = None;
        }
        match self.fresh.iter().rposition(|s| s * s > AUDIBLE) {
            Some(last) => self.silent = self.fresh.len() - 1 - last,
            None => self.silent += self.fresh.len(),
        }
        self.far.extend(&self.fresh);
    }

    fn follow_latency(&mut self) {
        let quiet = self.silent >= SILENCE + self.far.len();
        let wanted = self.reference.latency_us().saturating_sub(USUAL_LATENCY_US) as usize * RATE as usize / 1_000_000;
        if quiet && wanted.abs_diff(self.lag) > LAG_CHANGES {
            self.lag = wanted;
            self.far.resize(self.near.len() + wanted, 0.0);
        }
    }

    /// After all that has a partner is gone: pairs anew what has lost its partner.
    fn keep_together(&mut self, new: usize) {
        let (near, far) = (self.near.len(), self.far.len().saturating_sub(self.lag));
        self.watched += new;
        self.ahead = (self.ahead.0.min(near), self.ahead.1.min(far));
        let over = self.watched >= WATCHED;
        if near > LONGEST_WAIT || (over && self.ahead.0 > SLACK) {
            let lost = if near > LONGEST_WAIT { near } else { self.ahead.0 };
            tracing::debug!(lost, "the loudspeaker's count is behind");
            self.far.resize(self.far.len() + lost, 0.0);
        } else if far > MOST_AHEAD || (over && self.ahead.1 > SLACK) {
            let lost = if far > MOST_AHEAD { far } else { self.ahead.1 };
            tracing::debug!(lost, "the microphone's count is behind");
            self.far.drain(..lost);
        }
        if over {
            (self.watched, self.ahead) = (0, (usize::MAX, usize::MAX));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::played::reference;
    use super::*;

    fn give(into: &mut rtrb::Producer<f32>, sound: &[f32]) {
        let chunk = into.write_chunk_uninit(sound.len()).expect("room");
        chunk.fill_from_iter(sound.iter().copied());
    }

    #[test]
    fn sound_is_paired_by_count_and_paired_anew_where_some_was_lost() {
        let (to, from) = reference();
        let mut pairing = Pairing::new(from);
        let (mut near, mut far) = (Vec::new(), Vec::new());
        pairing.push(&[0.5; 100], &mut near, &mut far);
        assert_eq!((near.len(), far.clone()), (100, vec![0.0; 100]), "without a loudspeaker nothing is played");
        let mut ring = to.opened(RATE);
        near.clear();
        far.clear();
        give(&mut ring, &[0.25; 320]);
        pairing.push(&[0.5; 640], &mut near, &mut far);
        assert_eq!(far, vec![0.25; 320], "the rest waits for its partner");
        give(&mut ring, &[0.25; 320]);
        pairing.push(&[], &mut near, &mut far);
        assert_eq!((near.len(), far.len()), (640, 640));
        // The microphone loses more than a second.
        give(&mut ring, &[0.25; 20_000]);
        far.clear();
        pairing.push(&[0.5; 160], &mut near, &mut far);
        assert_eq!((far.len(), pairing.far.len()), (160, 0), "what was lost has no partner");
        // It is 100 ms behind, then it has caught up: nothing was lost.
        give(&mut ring, &[0.25; 3_200]);
        for _ in 0..9 {
            pairing.push(&[0.5; 160], &mut near, &mut far);
        }
        pairing.push(&[0.5; 1_760], &mut near, &mut far);
        assert_eq!((pairing.near.len(), pairing.far.len()), (0, 0));
        // The loudspeaker stops asking.
        far.clear();
        pairing.push(&[0.5; 16_000], &mut near, &mut far);
        pairing.push(&[], &mut near, &mut far);
        assert_eq!(far.len(), 16_000, "the microphone goes on alone");
        drop(ring);
        far.clear();
        pairing.push(&[0.5; 10], &mut near, &mut far);
        pairing.push(&[0.5; 10], &mut near, &mut far);
        assert_eq!(far.len(), 20);
    }

    #[test]
    fn a_loudspeaker_that_holds_much_back_is_paired_later() {
        let (to, from) = reference();
        let mut pairing = Pairing::new(from);
        to.latency(400_000);
        let mut ring = to.opened(RATE);
        let (mut near, mut far) = (Vec::new(), Vec::new());
        for block in 0..200 {
            let sound = if block < 100 { 0.0 } else { 0.25 };
            give(&mut ring, &[sound; 160]);
            pairing.push(&[0.5; 160], &mut near, &mut far);
        }
        assert_eq!(near.len(), far.len());
        let began = far.iter().position(|s| *s > 0.0).expect("it is played");
        assert!(began.abs_diff(16_000 + 4_000) <= 1_600, "handed over at 16000, paired at {began}");
    }
}
