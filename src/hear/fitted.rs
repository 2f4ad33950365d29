//! Coefficients of the logistic models, written by `tests/measure/hearing.rs fit`: 582 trials of 10 development
//! voices, strangers weighted to 0.2 of all, features scaled by mean and spread.

use super::score::FEATURES;

/// Mean of each feature: margin, fillers, to free, per token, adjusted, similar, pace, noise, answers.
pub const MEAN: [f32; FEATURES] = [2.6664, 1.8895, -1.6354, -1.9127, 1.7015, 0.5197, 1.9186, 24.2839, 1.2821];

/// Spread of each feature.
pub const SPREAD: [f32; FEATURES] = [1.1380, 2.4429, 1.4689, 1.6834, 1.7493, 0.3463, 0.4078, 15.6585, 1.0678];

/// Was nothing of the grammar said, where the best answer is a phrase, and where it is a reading. The last is the constant.
pub const STRANGER: [[f32; FEATURES + 1]; 2] = [
    [-0.4268, -0.7529, -1.1538, -0.5221, -1.2980, -1.1405, 0.0887, 0.1543, -0.4106, -4.3003],
    [0.1668, -2.1347, 0.2960, -0.9745, -2.5770, -2.4516, 0.0036, 1.5045, 0.4920, -6.3573],
];

/// Is the best answer the right one, where the best answer is a phrase, and where it is a reading. The last is the constant.
pub const RIGHT: [[f32; FEATURES + 1]; 2] = [
    [2.3657, 1.3491, 1.1502, 1.2240, 2.6918, 0.4828, -0.8777, 0.6829, 0.1747, 5.6213],
    [2.6056, 0.0163, 0.8471, 0.7243, 0.7724, -0.6554, -0.2505, 0.7928, -1.2494, 6.4558],
];
