//! Decoding: finds which spellings of a grammar an utterance supports, and turns their scores into calibrated probabilities.
//!
//! The way of an utterance: `expand` spells the grammar into tries of tokens; `views` encodes the sound at two speeds and runs `search` on
//! each over `network`, less the noise prior; `letters` spells the sound a second time and `rescore` adds that; `score` sums spellings per
//! answer and calibrates. This folder must not know whose voice it hears, where the sound comes from, or which engine asks.

pub(super) mod expand;
mod features;
mod fitted;
mod letters;
pub(super) mod network;
pub(super) mod noise_prior_cache;
pub(super) mod prior;
pub(super) mod rescore;
pub(super) mod score;
pub(super) mod search;
pub(super) mod tokenizer;
mod trie;
pub(super) mod views;

pub use features::{FEATURE_NAMES, FEATURES};
pub use score::{DecodingEvidence, Spelled, shaped};
