//! An answer of a walk, as the choice takes it.

use crate::diagnose::belief::fit::saw;
use crate::diagnose::{Asked, Seen};
use crate::procedure::Meaning;
use crate::walk::Saw;
use std::sync::Arc;

/// An answer of a walk.
pub struct Given {
    /// What was asked, in the state it was asked in.
    pub asked: Arc<Asked>,
    /// What was seen.
    pub saw: Saw,
    /// Probability of this answer if it is unrelated to what was to be seen.
    pub at_random: f64,
    /// Whether the user confirmed it.
    pub confirmed: bool,
    /// Whether it is only told: the check was made before the walk came to it.
    pub told: bool,
}

impl Given {
    /// An answer of a simulated walk.
    pub fn new(asked: Arc<Asked>, seen: Seen) -> Self {
        let saw = saw(&asked, seen);
        let at_random = saw.at_random(asked.choices().len(), asked.plausible);
        Self { asked, saw, at_random, confirmed: false, told: false }
    }

    /// Whether it was not as on a healthy bike.
    pub(super) fn is_bad(&self) -> bool {
        self.asked.meaning(&self.saw.name(&self.asked.question)) == Meaning::Bad
    }
}
