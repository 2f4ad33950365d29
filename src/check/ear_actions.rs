//! Prompts that ask for more than one action.
//!
//! Why: who has done the first has forgotten the third, and the answer does not say which of them was done.
//!
//! Example: "Close the fuel tap, wipe up any petrol, and open the doors." A question behind an action is no second action.

use super::Findings;
use super::ear::{spoken, words_for};
use super::walks::Walks;
use crate::source::Diagnostic;

pub(super) fn check(walks: &Walks<'_>, found: &mut Findings) {
    let Some(words) = words_for(walks.procedure()) else { return };
    for said in spoken(walks).into_iter().filter(|said| said.is_prompt()) {
        let actions = words.actions_in(&said.text);
        if actions.len() > 1 {
            let message = format!(
                "the {} of `{}` asks for {} actions: {}",
                said.what,
                said.of,
                actions.len(),
                actions.join(", ")
            );
            let help =
                "Ask for one action in a step; make another step of the next, or move what explains it to `more`.";
            found.add(Diagnostic::warning(&said.place, "two-actions", message).help(help));
        }
    }
}
