//! Sound waiting to be written: how much may wait in memory, and the gap left when more arrived and was dropped.

use super::clip::CLIP_RATE;
use super::header::Remark;
use super::limits;
use std::cell::Cell;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Counts the sound that waits, at the end that hands it over.
#[derive(Debug, Default)]
pub(super) struct Backlog {
    samples: Arc<AtomicUsize>,
    gap: Cell<Option<Gap>>,
}

/// Sound that waits to be written; it counts until it is dropped.
pub(super) struct Waiting {
    /// The sound, at [`CLIP_RATE`].
    pub sound: Vec<f32>,
    all: Arc<AtomicUsize>,
}

impl Drop for Waiting {
    fn drop(&mut self) {
        self.all.fetch_sub(self.sound.len(), Ordering::Relaxed);
    }
}

/// Sound that was not kept: session times of its beginning and its end, and how much it was.
#[derive(Debug, Clone, Copy)]
pub(super) struct Gap {
    from_ms: u64,
    to_ms: u64,
    samples: u64,
}

impl Gap {
    /// What the journal says of it.
    pub fn remark(self) -> Remark {
        let clock = |ms: u64| format!("{}:{:02}:{:02}", ms / 3_600_000, ms / 60_000 % 60, ms / 1000 % 60);
        let (seconds, from, to) = (self.samples / u64::from(CLIP_RATE), clock(self.from_ms), clock(self.to_ms));
        Remark::own(format!("sound of {seconds} s, from {from} to {to} of the session, is missing: the disk took none"))
    }
}

impl Backlog {
    /// Takes sound that ended at a session time; nothing comes back where too much waits already, and the gap grows by it. A gap that has
    /// begun goes on until half of what may wait is written: a short piece that would just fit ends no gap.
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

    /// The gap that is over, once.
    pub fn gap(&self) -> Option<Gap> {
        self.gap.take()
    }

    /// Samples that wait.
    pub fn samples(&self) -> usize {
        self.samples.load(Ordering::Relaxed)
    }
}
