//! What the loudspeaker plays, taken out of what the microphone hears.

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
