//! Loudness of prompts: follows the user's wish, except that cautions are never below the normal level.

use crate::walk::SayKind;

/// One step louder or quieter.
const STEP: f32 = 1.25;
/// The lower and upper limits.
const BOUNDS: (f32, f32) = (0.25, 4.0);
/// The level as synthesised.
const USUAL: f32 = 1.0;

/// A factor on the amplitude of speech.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Loudness(f32);

impl Default for Loudness {
    fn default() -> Self {
        Self(USUAL)
    }
}

impl Loudness {
    /// Goes one step louder or quieter.
    pub(super) fn change(&mut self, louder: bool) {
        let factor = if louder { STEP } else { 1.0 / STEP };
        self.0 = (self.0 * factor).clamp(BOUNDS.0, BOUNDS.1);
    }

    /// The factor for this kind of prompt.
    pub(super) fn of(self, kind: SayKind) -> f32 {
        if kind == SayKind::Caution { self.0.max(USUAL) } else { self.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quieter_is_for_everything_but_cautions() {
        let mut loudness = Loudness::default();
        (0..20).for_each(|_| loudness.change(false));
        assert_eq!((loudness.of(SayKind::Prompt), loudness.of(SayKind::Caution)), (0.25, 1.0));
        (0..20).for_each(|_| loudness.change(true));
        assert_eq!((loudness.of(SayKind::Prompt), loudness.of(SayKind::Caution)), (4.0, 4.0));
    }
}
