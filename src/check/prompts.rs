//! Prompts that take longer than 12 seconds to say.
//!
//! Why: with a probe in one hand nobody keeps three instructions in mind; one action or question is enough.
//!
//! Example: a `say` of forty words.

use super::Findings;
use super::walks::Walks;
use crate::procedure::render;
use crate::written::Diagnostic;

/// Longest prompt, second (`procedures/FORMAT.md`).
const LONGEST: f64 = 12.0;
/// Words a second at an ordinary speaking rate: about 155 a minute (common practice, no source).
const RATE: f64 = 2.6;

pub(super) fn check(walks: &Walks<'_>, found: &mut Findings) {
    for node in walks.own() {
        let Ok(text) = render(&node.step.say, &node.scope) else { continue };
        let seconds = text.split_whitespace().count() as f64 / RATE;
        if seconds > LONGEST {
            let message = format!("the prompt of `{}` takes about {seconds:.0} s to say", *node.step.id);
            let help = "Say one thing in at most 12 s, and move the rest to `more` or to another step.";
            found.add(Diagnostic::warning(&node.step.say.place, "long-prompt", message).help(help));
        }
    }
}
