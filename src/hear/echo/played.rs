//! What the loudspeaker plays, on its way to the microphone's ear: the mouth's audio callback writes it to a lock-free ring, the
//! microphone's worker reads it. A loudspeaker that is opened again brings a ring of its own.

use rtrb::{Consumer, Producer, RingBuffer};
use std::sync::mpsc;

/// Sound that the ring holds, in seconds; a microphone that is away for longer loses the rest.
const RING_SECONDS: usize = 4;

/// A ring and the samples per second in it.
type Opened = (Consumer<f32>, u32);

/// The mouth's end.
#[derive(Debug)]
pub struct PlayedTo {
    rings: mpsc::Sender<Opened>,
}

/// The ear's end.
#[derive(Debug)]
#[cfg_attr(not(feature = "sound"), expect(dead_code, reason = "a build without sound has no microphone"))]
pub struct Reference {
    pub(in crate::hear) rings: mpsc::Receiver<Opened>,
}

/// Both ends of one way from a loudspeaker to a microphone.
pub fn reference() -> (PlayedTo, Reference) {
    let (to, rings) = mpsc::channel();
    (PlayedTo { rings: to }, Reference { rings })
}

impl PlayedTo {
    /// A loudspeaker opens: everything that it is given, silence too, mono at `rate` samples a second, goes into this ring.
    pub fn opened(&self, rate: u32) -> Producer<f32> {
        let (into, out_of) = RingBuffer::new(rate as usize * RING_SECONDS);
        // An ear that is gone needs nothing.
        let _ = self.rings.send((out_of, rate));
        into
    }
}
