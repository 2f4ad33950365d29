//! Coefficients of the logistic models, written by `tests/measure/hearing.rs fit`: 2618 trials of 10 development
//! voices, strangers weighted to 0.2 of all, features scaled by mean and spread.

use super::score::FEATURES;

/// Mean of each feature: margin, fillers, to free, per token, adjusted, similar, pace, noise, answers, views agree.
pub const MEAN: [f32; FEATURES] = [2.7940, 1.7130, -1.7770, -2.1067, 1.3304, 0.5292, 1.9089, 23.9134, 1.3481, 0.6642];

/// Spread of each feature.
pub const SPREAD: [f32; FEATURES] = [1.1476, 2.6267, 1.4976, 2.0636, 1.9210, 0.3530, 0.4391, 15.8500, 1.2076, 0.4723];

/// Was nothing of the grammar said, where the best answer is a phrase, and where it is a reading. The last is the constant.
pub const STRANGER: [[f32; FEATURES + 1]; 2] = [
    [0.1834, -1.0271, -1.3788, 1.4821, -2.6040, -1.5135, -0.3285, 0.3521, 0.1353, 0.3269, -4.0412],
    [0.2144, -1.6316, -1.6508, 0.9221, -0.9841, -0.8078, -0.9733, 0.7034, 0.7890, -0.4712, -4.4973],
];

/// Is the best answer the right one, where the best answer is a phrase, and where it is a reading. The last is the constant.
pub const RIGHT: [[f32; FEATURES + 1]; 2] = [
    [0.4742, 0.8220, -0.5538, -0.8518, 2.5480, 1.6338, -0.8435, 0.2152, 0.3735, 0.6721, 4.5260],
    [1.4207, -0.7710, 0.3126, -0.0181, 0.7760, 0.2344, 0.3844, 0.1574, -0.0742, 0.7008, 3.6273],
];
