//! The queue of prompts and tones between a mouth and its threads, and how the driver cancels what is queued.
//!
//! Cancellation is two counters, of cuts and of interruptions. Each queued sound stores their values, and is cancelled once a counter has moved
//! on. The threads only read the counters, so cancelling needs no queue and no lock.

use super::say::{Say, Tone};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, mpsc};

/// Counters that the driver advances and the threads watch.
#[derive(Debug, Default)]
pub(super) struct PromptCancellation {
    cuts: AtomicU64,
    interrupts: AtomicU64,
    /// Output latency of the loudspeaker in microseconds; set by the player.
    #[cfg(feature = "sound")]
    pub(super) latency_us: AtomicU64,
}

impl PromptCancellation {
    pub(super) fn cut(&self) {
        self.cuts.fetch_add(1, Ordering::Relaxed);
    }

    pub(super) fn interrupt(&self) {
        self.interrupts.fetch_add(1, Ordering::Relaxed);
    }
}

/// A prompt or tone in the queue, with the counters at the time it was queued.
#[derive(Debug)]
pub(super) struct QueuedSound {
    pub(super) what: PromptOrTone,
    cuts: u64,
    interrupts: u64,
}

/// What a mouth can play.
#[derive(Debug)]
pub(super) enum PromptOrTone {
    /// A prompt.
    Say(Say),
    /// A tone.
    #[cfg_attr(not(feature = "sound"), expect(dead_code, reason = "the system's voice has no tones"))]
    Tone(Tone),
}

impl QueuedSound {
    pub(super) fn new(what: PromptOrTone, cancellation: &PromptCancellation) -> Self {
        Self {
            what,
            cuts: cancellation.cuts.load(Ordering::Relaxed),
            interrupts: cancellation.interrupts.load(Ordering::Relaxed),
        }
    }

    pub(super) fn is_cancelled(&self, cancellation: &PromptCancellation) -> bool {
        let may_be_interrupted = match &self.what {
            PromptOrTone::Say(say) => say.interruptible,
            PromptOrTone::Tone(_) => true,
        };
        self.cuts != cancellation.cuts.load(Ordering::Relaxed)
            || may_be_interrupted && self.interrupts != cancellation.interrupts.load(Ordering::Relaxed)
    }
}

/// The driver's end of a mouth that plays on threads of its own.
#[derive(Debug)]
pub(super) struct PromptQueue {
    sounds: Option<mpsc::Sender<QueuedSound>>,
    pub(super) cancellation: Arc<PromptCancellation>,
}

impl PromptQueue {
    /// Creates a queue; the receiver is the threads' end.
    pub(super) fn new() -> (Self, mpsc::Receiver<QueuedSound>) {
        let (sounds, asked) = mpsc::channel();
        (Self { sounds: Some(sounds), cancellation: Arc::default() }, asked)
    }

    /// Queues a prompt.
    pub(super) fn say(&self, say: Say) {
        self.ask(PromptOrTone::Say(say));
    }

    /// Queues a tone.
    pub(super) fn tone(&self, tone: Tone) {
        self.ask(PromptOrTone::Tone(tone));
    }

    /// Drops everything queued and ends the threads.
    pub(super) fn close(&mut self) {
        self.cancellation.cut();
        self.sounds = None;
    }

    fn ask(&self, what: PromptOrTone) {
        if let Some(sounds) = &self.sounds {
            // A thread that ended has told why.
            let _ = sounds.send(QueuedSound::new(what, &self.cancellation));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_interruption_spares_cautions_and_what_is_asked_for_later_and_a_cut_spares_nothing_before_it() {
        let cancellation = PromptCancellation::default();
        let prompt = QueuedSound::new(PromptOrTone::Say(Say::new(1, "prompt")), &cancellation);
        let caution =
            QueuedSound::new(PromptOrTone::Say(Say { interruptible: false, ..Say::new(2, "caution") }), &cancellation);
        cancellation.interrupt();
        let later = QueuedSound::new(PromptOrTone::Tone(Tone::Accepted), &cancellation);
        assert_eq!([&prompt, &caution, &later].map(|sound| sound.is_cancelled(&cancellation)), [true, false, false]);
        cancellation.cut();
        assert_eq!([&prompt, &caution, &later].map(|sound| sound.is_cancelled(&cancellation)), [true, true, true]);
    }
}
