//! What the loudspeaker plays, on its way to the microphone's ear: the mouth's audio callback writes it to a lock-free ring, the
//! microphone's worker reads it. A loudspeaker that is opened again brings a ring of its own.

use rtrb::{Consumer, Producer, RingBuffer};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, mpsc};

/// Sound that the ring holds, in seconds; a microphone that is away for longer loses the rest.
const RING_SECONDS: usize = 4;

/// A ring and the samples per second in it.
type Opened = (Consumer<f32>, u32);

/// The mouth's end.
#[derive(Debug)]
pub struct PlayedTo {
    rings: mpsc::Sender<Opened>,
    latency_us: Arc<AtomicU64>,
}

/// The ear's end.
#[derive(Debug)]
#[cfg_attr(not(feature = "sound"), expect(dead_code, reason = "a build without sound has no microphone"))]
pub struct Reference {
    pub(super) rings: mpsc::Receiver<Opened>,
    latency_us: Arc<AtomicU64>,
}

/// Both ends of one way from a loudspeaker to a microphone.
pub fn reference() -> (PlayedTo, Reference) {
    let (to, rings) = mpsc::channel();
    let latency_us = Arc::new(AtomicU64::new(0));
    (PlayedTo { rings: to, latency_us: Arc::clone(&latency_us) }, Reference { rings, latency_us })
}

impl PlayedTo {
    /// A loudspeaker opens: everything that it is given, silence too, mono at `rate` samples a second, goes into this ring.
    pub fn opened(&self, rate: u32) -> Producer<f32> {
        let (into, out_of) = RingBuffer::new(rate as usize * RING_SECONDS);
        // An ear that is gone needs nothing.
        let _ = self.rings.send((out_of, rate));
        into
    }

    /// What the loudspeaker holds back before it sounds, in microseconds.
    pub fn latency(&self, us: u64) {
        self.latency_us.store(us, Ordering::Relaxed);
    }
}

#[cfg(feature = "sound")]
impl Reference {
    /// What the loudspeaker holds back, in microseconds, as it was last told.
    pub(super) fn latency_us(&self) -> u64 {
        self.latency_us.load(Ordering::Relaxed)
    }
}
