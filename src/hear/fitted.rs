//! Coefficients of the two logistic models, written by `tests/measure/hearing.rs fit`: 1880 trials of 6 development
//! voices, strangers weighted to 0.2 of all, features scaled by mean and spread.

use super::score::FEATURES;

/// Mean of each feature: margin, fillers, to free, per token, adjusted, similar, pace, noise, answers.
pub const MEAN: [f32; FEATURES] = [9.9208, 7.5456, -8.0854, -2.6077, 1.1040, 0.4391, 1.7602, 22.0617, 1.3507];

/// Spread of each feature.
pub const SPREAD: [f32; FEATURES] = [8.8039, 9.6944, 8.0533, 1.9965, 1.9437, 0.3329, 0.3633, 16.7502, 1.0115];

/// Was nothing of the grammar said? The last is the constant.
pub const STRANGER: [[f32; FEATURES + 1]; 2] = [
    [-0.1247, -1.0147, -0.1472, -0.2716, -3.5594, -0.8097, -0.3241, 0.4281, 0.2306, -2.5450],
    [-0.1247, -1.0147, -0.1472, -0.2716, -3.5594, -0.8097, -0.3241, 0.4281, 0.2306, -2.5450],
];

/// Is the best answer the right one? The last is the constant.
pub const RIGHT: [[f32; FEATURES + 1]; 2] = [
    [0.8149, 0.1937, 0.1974, 0.2096, 2.5682, 0.6621, -0.3604, 1.0652, -0.7582, 2.9690],
    [0.8149, 0.1937, 0.1974, 0.2096, 2.5682, 0.6621, -0.3604, 1.0652, -0.7582, 2.9690],
];
