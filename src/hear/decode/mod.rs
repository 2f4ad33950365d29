//! One utterance against one grammar.

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
pub use score::{Evidence, Spelled, shaped};
