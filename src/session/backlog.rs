//! Limits the audio that waits in memory to be written, and records the gap where more arrived and was dropped.

use super::clip::CLIP_RATE;
use super::header::Remark;
use super::limits;
use std::cell::Cell;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Counts the waiting audio on the sender's side.
#[derive(Debug, Default)]
pub(super) struct Backlog {
    samples: Arc<AtomicUsize>,
    gap: Cell<Option<Gap>>,
}

/// Audio waiting to be written. It counts as waiting until it is dropped.
pub(super) struct Waiting {
    /// The audio, at [`CLIP_RATE`].
    pub sound: Vec<f32>,
    all: Arc<AtomicUsize>,
}

impl Drop for Waiting {
    fn drop(&mut self) {
        self.all.fetch_sub(self.sound.len(), Ordering::Relaxed);
    }
}

/// Audio that was lost: the session times of its start and end, and its length.
#[derive(Debug, Clone, Copy)]
pub(super) struct Gap {
    from_ms: u64,
    to_ms: u64,
    samples: u64,
}

impl Gap {
    /// The journal's remark about the gap.
    pub fn remark(self) -> Remark {
        let clock = |ms: u64| format!("{}:{:02}:{:02}", ms / 3_600_000, ms / 60_000 % 60, ms / 1000 % 60);
        let (seconds, from, to) = (self.samples / u64::from(CLIP_RATE), clock(self.from_ms), clock(self.to_ms));
        Remark::own(format!("sound of {seconds} s, from {from} to {to} of the session, is missing: the disk took none"))
    }
}

impl Backlog {
    /// Accepts audio that ended at a session time. Returns nothing if too much is already waiting; the gap then grows by this audio. A gap
    /// lasts until half of the allowed backlog is written, so that a short piece that just fits does not end it.
    pub(super) fn take_in(&self, sound: Vec<f32>, now_ms: u64) -> Option<Waiting> {
        let samples = sound.len();
        let most = if self.gap.get().is_some() { limits::WAITING_SOUND / 2 } else { limits::WAITING_SOUND };
        if self.samples() + samples > most {
            let length_ms = samples as u64 * 1000 / u64::from(CLIP_RATE);
            let new = Gap { from_ms: now_ms.saturating_sub(length_ms), to_ms: now_ms, samples: 0 };
            let gap = self.gap.get().unwrap_or(new);
            self.gap.set(Some(Gap { to_ms: now_ms, samples: gap.samples + samples as u64, ..gap }));
            return None;
        }
        self.samples.fetch_add(samples, Ordering::Relaxed);
        Some(Waiting { sound, all: self.samples.clone() })
    }

    /// The finished gap. Returned once.
    pub fn gap(&self) -> Option<Gap> {
        self.gap.take()
    }

    /// Number of waiting samples.
    pub fn samples(&self) -> usize {
        self.samples.load(Ordering::Relaxed)
    }
}
