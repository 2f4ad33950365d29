//! Carries what the loudspeaker plays to the echo canceller: the output callback writes a lock-free ring, and the microphone's worker reads
//! it. A loudspeaker that is reopened brings a new ring.

use rtrb::{Consumer, Producer, RingBuffer};
use std::sync::mpsc;

/// Capacity of the ring in seconds; a worker that stalls for longer loses the rest.
const RING_SECONDS: usize = 4;

/// A ring and its sample rate.
type Opened = (Consumer<f32>, u32);

/// The loudspeaker's end.
#[derive(Debug)]
pub struct PlayedTo {
    rings: mpsc::Sender<Opened>,
}

/// The microphone's end.
#[derive(Debug)]
#[cfg_attr(not(feature = "sound"), expect(dead_code, reason = "a build without sound has no microphone"))]
pub struct Reference {
    pub(in crate::hear) rings: mpsc::Receiver<Opened>,
}

/// Both ends of the connection from a loudspeaker to a microphone.
pub fn reference() -> (PlayedTo, Reference) {
    let (to, rings) = mpsc::channel();
    (PlayedTo { rings: to }, Reference { rings })
}

impl PlayedTo {
    /// Opens a ring for a loudspeaker: it takes everything that is played, silence included, as mono at `rate` samples a second.
    pub fn opened(&self, rate: u32) -> Producer<f32> {
        let (into, out_of) = RingBuffer::new(rate as usize * RING_SECONDS);
        // Without a microphone nobody reads the ring.
        let _ = self.rings.send((out_of, rate));
        into
    }
}
