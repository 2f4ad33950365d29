//! Echo cancellation: removes what the loudspeaker plays from what the microphone hears.
//!
//! This folder owns the way from the loudspeaker's callback to the microphone's worker, the pairing of both signals, the echo's delay, the
//! adaptive filter, what the filter leaves, and how like the played sound a stretch is. It works on samples. It must not know any device,
//! and it does not decide what counts as speech.

#[cfg(feature = "sound")]
pub(super) mod canceller;
#[cfg(feature = "sound")]
pub(super) mod delay;
#[cfg(feature = "sound")]
pub(super) mod likeness;
#[cfg(feature = "sound")]
pub(super) mod pairing;
mod played;
#[cfg(feature = "sound")]
pub(super) mod residual;

pub use played::{PlayedTo, Reference, reference};
