//! Pairs the microphone's signal with the loudspeaker's, sample by sample.
//!
//! Each device runs at its own pace. The signals are paired by count, so that an echo never precedes its sound. They are realigned only at
//! the start, while a device fills its buffers, and when a device has lost much sound; the delay finder follows smaller shifts.

use super::played::Reference;
use crate::hear::ears::RATE;
use crate::hear::resample::Resampler;
use rtrb::Consumer;
use std::collections::VecDeque;

/// Callbacks come in bursts, so one device leads the other for moments. A lead that lasts for [`WATCHED`] samples (2 s) and exceeds the slack
/// (40 ms at first, later 250 ms) means that the other device has lost that much.
const WATCHED: usize = 2 * RATE as usize;
const SLACK_AT_FIRST: usize = RATE as usize / 25;
const SLACK: usize = RATE as usize / 4;
/// Longest lead that is waited for: 500 ms of the microphone, 1 s of the loudspeaker.
const LONGEST_WAIT: usize = RATE as usize / 2;
const MOST_AHEAD: usize = RATE as usize;

/// Pairs the two signals.
pub(in crate::hear) struct Pairing {
    reference: Reference,
    line: Option<(Consumer<f32>, Resampler)>,
    near: VecDeque<f32>,
    far: VecDeque<f32>,
    fresh: Vec<f32>,
    /// The loudspeaker was opened recently.
    first: bool,
    /// Samples watched, and the least lead of `near` and of `far` over them.
    watched: usize,
    ahead: (usize, usize),
}

impl std::fmt::Debug for Pairing {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Pairing").field("near", &self.near.len()).field("far", &self.far.len()).finish_non_exhaustive()
    }
}

impl Pairing {
    pub(in crate::hear) fn new(reference: Reference) -> Self {
        Self {
            reference,
            line: None,
            near: VecDeque::new(),
            far: VecDeque::new(),
            fresh: Vec::new(),
            first: true,
            watched: 0,
            ahead: (usize::MAX, usize::MAX),
        }
    }

    /// Takes microphone sound at [`RATE`] and appends equally long, paired stretches of both signals. Returns by how many samples the pairing
    /// shifts after them: positive when what was played is paired later. `i64::MAX` means that the old pairing says nothing.
    pub(in crate::hear) fn push(&mut self, heard: &[f32], near: &mut Vec<f32>, far: &mut Vec<f32>) -> i64 {
        self.near.extend(heard);
        let anew = self.take_played();
        if self.line.is_none() && self.far.len() < self.near.len() {
            self.far.resize(self.near.len(), 0.0);
        }
        let both = self.near.len().min(self.far.len());
        near.extend(self.near.drain(..both));
        far.extend(self.far.drain(..both));
        let later = self.keep_together(heard.len());
        if anew { i64::MAX } else { later }
    }

    /// Reads what was played. True when another loudspeaker was opened.
    fn take_played(&mut self) -> bool {
        let mut anew = false;
        while let Ok((ring, rate)) = self.reference.rings.try_recv() {
            self.line = Some((ring, Resampler::new(rate, RATE)));
            self.far.clear();
            (self.first, anew) = (true, true);
            (self.watched, self.ahead) = (0, (usize::MAX, usize::MAX));
        }
        let Some((ring, resampler)) = &mut self.line else { return anew };
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
        self.far.extend(&self.fresh);
        anew
    }

    /// Realigns the signals when one device has lost sound. Called when everything that has a partner has been handed on.
    fn keep_together(&mut self, new: usize) -> i64 {
        let (near, far) = (self.near.len(), self.far.len());
        self.watched += new;
        self.ahead = (self.ahead.0.min(near), self.ahead.1.min(far));
        let over = self.watched >= WATCHED;
        let slack = if self.first { SLACK_AT_FIRST } else { SLACK };
        let mut later = 0;
        if near > LONGEST_WAIT || (over && self.ahead.0 > slack) {
            let lost = if near > LONGEST_WAIT { near } else { self.ahead.0 };
            tracing::debug!(lost, "the loudspeaker's count is behind");
            self.far.resize(self.far.len() + lost, 0.0);
            later = lost as i64;
        } else if far > MOST_AHEAD || (over && self.ahead.1 > slack) {
            let lost = if far > MOST_AHEAD { far } else { self.ahead.1 };
            tracing::debug!(lost, "the microphone's count is behind");
            self.far.drain(..lost);
            later = -(lost as i64);
        }
        if over {
            (self.watched, self.ahead) = (0, (usize::MAX, usize::MAX));
            self.first = false;
        }
        later
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hear::echo::reference;

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
}
