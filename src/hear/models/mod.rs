//! Model files: where they lie, whether they are the pinned ones, and the ONNX Runtime that runs them.
//!
//! This folder also owns the user's cache folder and the known recording with which a network is tested when it is loaded. It must not know what
//! a network computes.

pub(super) mod cache;
mod files;
pub(super) mod known_sound;
pub(super) mod pinned;
pub(super) mod runtime;

pub(crate) use files::user_data;
pub use files::{DetectorFiles, Models, find, find_detector};
#[cfg(feature = "vosk")]
pub(super) use files::{beginning, member};
