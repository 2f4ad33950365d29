//! Hearing while the loudspeaker sounds: what is played is taken out of what is heard, speech is looked for in the rest with a
//! stricter bar, and every utterance that overlaps a prompt is compared with it. Samples in, findings out; no device, no clock.

use super::activity::{Activity, ActivitySettings, Bar, Voiced, samples};
use super::canceller::{Canceller, STEP};
use super::ears::RATE;
use super::likeness::{FRAME, Played};
use std::collections::VecDeque;

/// The room and the delay keep a prompt alive so long after its last sample was handed over; until then the bar is stricter.
const ECHO_SAMPLES: u64 = RATE as u64 * 6 / 10;
/// The canceller works so long after the last audible sample; after that there is nothing to take out.
const CANCEL_SAMPLES: u64 = RATE as u64 * 2;
/// Of the sound before the first frame of voice, so much is surely not voice: what is kept there, less 80 ms.
const BEFORE_VOICE: u64 = samples(250 - 80);
/// Sound that is kept for the recogniser: the longest utterance and some more.
const KEPT: usize = RATE as usize * 24;

/// A microphone's ear that knows what is being played.
pub struct Duplex {
    canceller: Option<Canceller>,
    activity: Activity,
    played: Played,
    /// Less than a step of each, equally long.
    heard: Vec<f32>,
    far: Vec<f32>,
    /// What came in with the echo subtracted and nothing suppressed, the latest [`KEPT`] samples: what the recogniser gets.
    subtracted: VecDeque<f32>,
    /// Samples since something audible was played.
    since: u64,
}

impl std::fmt::Debug for Duplex {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Duplex").field("activity", &self.activity).field("since", &self.since).finish_non_exhaustive()
    }
}

impl Duplex {
    /// An ear that knows nothing of the room yet.
    pub fn new(settings: ActivitySettings) -> Self {
        Self { canceller: Some(Canceller::new()), ..Self::uncancelled(settings) }
    }

    /// One that takes nothing out of what it hears and only compares: how far that alone reaches, should the canceller fail.
    pub fn uncancelled(settings: ActivitySettings) -> Self {
        Self {
            canceller: None,
            activity: Activity::new(settings),
            played: Played::new(),
            heard: Vec::with_capacity(STEP),
            far: Vec::with_capacity(STEP),
            subtracted: VecDeque::with_capacity(KEPT + STEP),
            since: u64::MAX / 2,
        }
    }

    /// Takes equally long stretches of what was heard and what was played, both mono at [`RATE`], the latter at its own time of
    /// handing over or up to half a second later. With `open`, what was found is appended to `out`; else the canceller only learns.
    pub fn push(&mut self, heard: &[f32], played: &[f32], open: bool, out: &mut Vec<Voiced>) {
        for (near, far) in heard.iter().zip(played) {
            self.heard.push(*near);
            self.far.push(*far);
            if self.heard.len() == STEP {
                self.step(open, out);
            }
        }
    }

    /// Drops the utterance under way and the sound before it.
    pub fn forget(&mut self) {
        self.activity.forget();
    }

    /// The noise floor: mean square of the quiet frames, full scale 1.
    pub fn noise_floor(&self) -> f32 {
        self.activity.noise_floor()
    }

    fn step(&mut self, open: bool, out: &mut Vec<Voiced>) {
        let near: [f32; STEP] = std::array::from_fn(|n| self.heard[n]);
        let far: [f32; STEP] = std::array::from_fn(|n| self.far[n]);
        self.heard.clear();
        self.far.clear();
        self.since += STEP as u64;
        for (far, near) in far.chunks(FRAME).zip(near.chunks(FRAME)) {
            if self.played.push(far, near) {
                self.since = 0;
            }
        }
        let (sound, subtracted) = match &mut self.canceller {
            Some(canceller) if self.since < CANCEL_SAMPLES => {
                let out = canceller.step(&near, &far);
                (out.suppressed, out.subtracted)
            }
            _ => (near, near),
        };
        self.subtracted.extend(subtracted);
        self.subtracted.drain(..self.subtracted.len().saturating_sub(KEPT));
        if !open {
            return self.activity.skip(STEP as u64);
        }
        self.activity.set_bar(if self.since < ECHO_SAMPLES { Bar::OverPrompt } else { Bar::Usual });
        let from = out.len();
        self.activity.push(&sound, out);
        let now = self.activity.position();
        for found in &mut out[from..] {
            if let Voiced::Utterance(utterance) = found {
                let ago = now.saturating_sub(utterance.begin);
                let ago = ago + self.activity.pending() as u64;
                utterance.likeness = self.played.likeness(&utterance.sound, ago);
                tracing::debug!(likeness = utterance.likeness, delay = self.played.delay_before(ago), "over a prompt");
                if let Some(begin) = self.subtracted.len().checked_sub(ago as usize) {
                    // Before the voice only what is left of the prompt would be heard: there the suppressed sound stays.
                    let quiet = utterance.sound.len().min(BEFORE_VOICE as usize);
                    let rest = self.subtracted.range(begin + quiet..begin + utterance.sound.len());
                    utterance.sound = utterance.sound[..quiet].iter().chain(rest).copied().collect();
                }
            }
        }
    }
}
