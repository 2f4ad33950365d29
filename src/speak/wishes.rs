//! What the driver wants of prompts already asked for: counts of cuts and interruptions, compared with the counts at the time
//! that each prompt was asked for. The threads only read them, so a wish needs no queue and no lock.

use super::say::{Say, Tone};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, mpsc};

/// What the driver changes and the threads watch.
#[derive(Debug, Default)]
pub(super) struct Wishes {
    cuts: AtomicU64,
    interrupts: AtomicU64,
    /// What the loudspeaker holds back, in microseconds; set by the player.
    #[cfg(feature = "sound")]
    pub(super) latency_us: AtomicU64,
}

impl Wishes {
    pub(super) fn cut(&self) {
        self.cuts.fetch_add(1, Ordering::Relaxed);
    }

    pub(super) fn interrupt(&self) {
        self.interrupts.fetch_add(1, Ordering::Relaxed);
    }
}

/// Something to sound, with the wishes' counts at the time it was asked for.
#[derive(Debug)]
pub(super) struct Job {
    pub(super) what: What,
    cuts: u64,
    interrupts: u64,
}

/// What there is to sound.
#[derive(Debug)]
pub(super) enum What {
    /// A prompt.
    Say(Say),
    /// A tone.
    #[cfg_attr(not(feature = "sound"), expect(dead_code, reason = "the system's voice has no tones"))]
    Tone(Tone),
}

impl Job {
    pub(super) fn new(what: What, wishes: &Wishes) -> Self {
        Self { what, cuts: wishes.cuts.load(Ordering::Relaxed), interrupts: wishes.interrupts.load(Ordering::Relaxed) }
    }

    pub(super) fn is_unwanted(&self, wishes: &Wishes) -> bool {
        let may_be_interrupted = match &self.what {
            What::Say(say) => say.interruptible,
            What::Tone(_) => true,
        };
        self.cuts != wishes.cuts.load(Ordering::Relaxed)
            || may_be_interrupted && self.interrupts != wishes.interrupts.load(Ordering::Relaxed)
    }
}

/// The asking end of a mouth whose threads do the sounding.
#[derive(Debug)]
pub(super) struct Queue {
    jobs: Option<mpsc::Sender<Job>>,
    pub(super) wishes: Arc<Wishes>,
}

impl Queue {
    /// A queue and the end that the threads read.
    pub(super) fn new() -> (Self, mpsc::Receiver<Job>) {
        let (jobs, asked) = mpsc::channel();
        (Self { jobs: Some(jobs), wishes: Arc::default() }, asked)
    }

    /// Asks for a prompt.
    pub(super) fn say(&self, say: Say) {
        self.ask(What::Say(say));
    }

    /// Asks for a tone.
    pub(super) fn tone(&self, tone: Tone) {
        self.ask(What::Tone(tone));
    }

    /// Drops everything asked for and ends the threads.
    pub(super) fn close(&mut self) {
        self.wishes.cut();
        self.jobs = None;
    }

    fn ask(&self, what: What) {
        if let Some(jobs) = &self.jobs {
            // A thread that ended has told why.
            let _ = jobs.send(Job::new(what, &self.wishes));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_interruption_spares_cautions_and_what_is_asked_for_later_and_a_cut_spares_nothing_before_it() {
        let wishes = Wishes::default();
        let prompt = Job::new(What::Say(Say::new(1, "prompt")), &wishes);
        let caution = Job::new(What::Say(Say { interruptible: false, ..Say::new(2, "caution") }), &wishes);
        wishes.interrupt();
        let later = Job::new(What::Tone(Tone::Taken), &wishes);
        assert_eq!([&prompt, &caution, &later].map(|j| j.is_unwanted(&wishes)), [true, false, false]);
        wishes.cut();
        assert_eq!([&prompt, &caution, &later].map(|j| j.is_unwanted(&wishes)), [true, true, true]);
    }
}
