//! Adaptation to one person: takes of phrases in that person's voice, their files, and the bias that they give to the search's scores.
//!
//! This folder must not know which engine asks, nor how takes are recorded and judged (see `checkup`).

mod personal;
pub(super) mod speaker_bias;

pub use personal::{PersonalVoice, Take, file_of, forget, names, voice_of};
