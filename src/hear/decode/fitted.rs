//! Coefficients of the logistic models, written by `tests/measure/hearing.rs fit`: 1651 trials of 10 development
//! voices, strangers weighted to 0.2 of all, features scaled by mean and spread.

use super::features::FEATURES;

/// Mean of each feature: margin, fillers, to free, letters, letters ahead, per token, adjusted, similar, pace, noise, answers, views agree.
pub(in crate::hear) const MEAN: [f32; FEATURES] =
    [2.9081, 1.6563, -1.8889, -2.4498, 1.2965, -2.3406, -0.8947, 0.5142, 1.8244, 23.8200, 3.6197, 0.6099];

/// Spread of each feature.
pub(in crate::hear) const SPREAD: [f32; FEATURES] =
    [1.2522, 3.0973, 1.5120, 1.4524, 3.0743, 2.1511, 3.8638, 0.3470, 0.4740, 15.8575, 0.4185, 0.4878];

/// Is the utterance outside the grammar: the models for a best answer that is a phrase, and that is a reading. The last is the constant.
pub(in crate::hear) const STRANGER: [[f32; FEATURES + 1]; 2] = [
    [-0.6430, -0.6149, -2.0364, -0.5566, -0.2008, 1.9420, -3.2693, 0.0301, -0.5500, 0.4641, -0.0441, -0.1688, -4.4996],
    [-0.0574, -1.0590, -0.9336, -0.1504, -0.7063, 1.5807, -2.5564, -0.1407, -1.5004, 0.5502, 0.0966, -0.7891, -3.4619],
];

/// Is the best answer right: the models for a best answer that is a phrase, and that is a reading. The last is the constant.
pub(in crate::hear) const RIGHT: [[f32; FEATURES + 1]; 2] = [
    [1.2663, -0.3339, -0.1260, 0.4593, 1.5258, 0.2634, 0.6318, -0.6858, 0.3500, -0.1835, -0.1448, 1.1171, 5.0344],
    [2.2512, 0.4282, 0.5789, 0.4005, 0.2068, -0.0862, 0.6166, 0.5799, -0.9149, 1.5905, 0.0888, -0.5372, 5.3979],
];
