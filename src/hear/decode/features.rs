//! What the logistic models of `score.rs` look at.

/// How many features there are.
pub const FEATURES: usize = 12;

/// Their names, in order.
pub const FEATURE_NAMES: [&str; FEATURES] = [
    "margin",
    "fillers",
    "to free",
    "letters",
    "letters ahead",
    "per token",
    "adjusted",
    "similar",
    "pace",
    "noise",
    "answers",
    "views agree",
];
