//! The recognisers.

mod known_clip;
mod moonshine;
mod open;
mod recogniser;
#[cfg(feature = "vosk")]
mod vosk;

pub use moonshine::Moonshine;
pub use open::{DEFAULT_ENGINE, ENGINES, Wanted, open, open_for};
pub use recogniser::Recogniser;
#[cfg(feature = "vosk")]
pub use vosk::Vosk;
