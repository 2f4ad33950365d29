//! Coefficients of the two logistic models, written by `tests/measure/hearing.rs fit`: 1404 trials of 6 development
//! voices, strangers weighted to 0.2 of all, features scaled by mean and spread.

use super::score::FEATURES;

/// Mean of each feature: margin, fillers, to free, per token, adjusted, similar, pace, noise, answers.
pub const MEAN: [f32; FEATURES] = [11.9111, 8.5908, -7.5923, -2.6127, 1.1546, 0.4539, 1.7409, 22.5716, 1.0682];

/// Spread of each feature.
pub const SPREAD: [f32; FEATURES] = [9.4467, 9.9781, 7.9119, 2.0842, 1.9687, 0.3335, 0.3675, 16.5603, 0.9467];

/// Was nothing of the grammar said? The last is the constant.
pub const STRANGER: [f32; FEATURES + 1] =
    [-0.0220, -0.1441, -0.5764, 0.1868, -3.3804, -0.7483, -0.5048, 0.4573, 0.1933, -2.3472];

/// Is the best answer the right one? The last is the constant.
pub const RIGHT: [f32; FEATURES + 1] =
    [0.3751, 0.0109, 1.0953, 0.1710, 2.1992, 1.0254, 0.3996, 0.8007, -0.9324, 2.4358];
