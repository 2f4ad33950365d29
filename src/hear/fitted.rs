//! Coefficients of the two logistic models, written by `tests/measure/hearing.rs fit`.

use super::score::FEATURES;

/// Mean of each feature.
pub const MEAN: [f32; FEATURES] = [0.0; FEATURES];
/// Spread of each feature.
pub const SPREAD: [f32; FEATURES] = [1.0; FEATURES];
/// Is nothing of the grammar said? The last is the constant.
pub const STRANGER: [f32; FEATURES + 1] = [0.0, -0.3, -0.3, 0.0, 0.0, -3.0, 0.0, 0.0, 0.0, 0.0];
/// Is the best answer right? The last is the constant.
pub const RIGHT: [f32; FEATURES + 1] = [0.5, 0.0, 0.0, 0.0, 0.0, 3.0, 0.0, 0.0, 0.0, 0.0];
