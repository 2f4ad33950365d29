//! Recognisers: the trait [`Recogniser`] and one engine per file (Moonshine in this process, Vosk in a process of its own), opened by name.
//!
//! This folder owns the choice of engine and what is particular to each one. It must not know where an utterance comes from, which step asks,
//! or what an answer leads to.

mod known_clip;
mod moonshine;
mod open;
mod recogniser;
#[cfg(feature = "vosk")]
mod vosk;

pub use moonshine::Moonshine;
pub use open::{ENGINES, EngineChoice, open, open_for};
pub use recogniser::Recogniser;
#[cfg(feature = "vosk")]
pub use vosk::Vosk;
