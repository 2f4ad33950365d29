//! The features of the logistic models in `score.rs`.

/// Number of features.
pub const FEATURES: usize = 12;

/// Names of the features, in order.
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
