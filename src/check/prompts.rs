//! What takes longer than 12 seconds to say.
//!
//! Why: with a probe in one hand nobody keeps three instructions in mind; one action or question is enough.
//!
//! Example: a `say` of forty words. The seconds are those of the real voice: the vocabulary's `writing` says how they were fitted.

use super::Findings;
use super::ear::{Spoken, words_for};
use super::walks::Walks;
use crate::source::Diagnostic;

/// Longest prompt, second (`procedures/FORMAT.md`).
const LONGEST: f64 = 12.0;

pub(super) fn check(walks: &Walks<'_>, found: &mut Findings) {
    let Some(words) = words_for(walks.procedure()) else { return };
    for Spoken { what, of, text, place, .. } in super::ear::spoken(walks).into_iter().filter(|said| said.is_short()) {
        let seconds = words.seconds_to_say(&text);
        if seconds > LONGEST {
            let message = format!("the {what} of `{of}` takes about {seconds:.0} s to say");
            let help = "Say one thing in at most 12 s, and move the rest to `more` or to another step.";
            found.add(Diagnostic::warning(&place, "long-prompt", message).help(help));
        }
    }
}
