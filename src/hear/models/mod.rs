//! The models' files.

pub(super) mod cache;
mod files;
pub(super) mod known_sound;
pub(super) mod pinned;
pub(super) mod runtime;

pub(crate) use files::user_data;
pub use files::{DetectorFiles, MODELS_VARIABLE, Models, find, find_detector};
#[cfg(feature = "vosk")]
pub(super) use files::{beginning, member};
