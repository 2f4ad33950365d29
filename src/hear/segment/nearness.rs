//! Tells the person at work from a distant voice: a radio at the back of the shop is much quieter.

use crate::hear::level::active_level;
use std::collections::VecDeque;

/// An utterance this many decibels below the recent answers is far away. Chosen, not fitted: in our measurements the radio is 10 dB below the
/// person, and one person's answers differ by less than 8 dB.
const FAR_DB: f32 = 8.0;
/// Answers needed before any utterance counts as far.
const KNOWN: usize = 2;
/// Number of latest answers that count.
const KEPT: usize = 5;

/// Levels of the latest answers. They are not stored beyond the walk.
#[derive(Debug, Default, Clone)]
pub struct Nearness {
    /// Active levels in decibels of full scale.
    levels: VecDeque<f32>,
}

fn decibels(sound: &[f32]) -> f32 {
    20.0 * active_level(sound).max(1e-6).log10()
}

impl Nearness {
    /// Whether the utterance is much quieter than the median of the latest answers. False until two answers are known.
    pub fn is_far(&self, sound: &[f32]) -> bool {
        let mut levels: Vec<f32> = self.levels.iter().copied().collect();
        levels.sort_by(f32::total_cmp);
        levels.len() >= KNOWN && decibels(sound) < levels[levels.len() / 2] - FAR_DB
    }

    /// Records an accepted answer of the person at work.
    pub fn answered(&mut self, sound: &[f32]) {
        self.levels.push_back(decibels(sound));
        if self.levels.len() > KEPT {
            self.levels.pop_front();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(decibels: f32) -> Vec<f32> {
        let level = 10f32.powf(decibels / 20.0) * 2f32.sqrt();
        (0..8_000).map(|i| level * (i as f32 * 0.3).sin()).collect()
    }

    #[test]
    fn a_radio_is_far_and_the_person_is_not() {
        let mut nearness = Nearness::default();
        assert!(!nearness.is_far(&at(-60.0)), "nobody is known yet");
        nearness.answered(&at(-24.0));
        assert!(!nearness.is_far(&at(-34.0)), "one answer is not enough");
        nearness.answered(&at(-26.0));
        assert!(nearness.is_far(&at(-34.5)));
        assert!(!nearness.is_far(&at(-31.0)) && !nearness.is_far(&at(-10.0)));
    }

    #[test]
    fn one_loud_answer_makes_nobody_far_and_who_steps_back_is_near_again() {
        let mut nearness = Nearness::default();
        [-30.0, -29.0, -12.0].into_iter().for_each(|level| nearness.answered(&at(level)));
        assert!(!nearness.is_far(&at(-31.0)));
        [-42.0; 3].into_iter().for_each(|level| {
            assert!(nearness.is_far(&at(level)));
            nearness.answered(&at(level));
        });
        assert!(!nearness.is_far(&at(-42.0)));
    }
}
