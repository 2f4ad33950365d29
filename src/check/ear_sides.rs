//! Prompts of a step that repeats over sides, and does not begin with the side.
//!
//! Why: the one mistake that costs an afternoon is the right check on the wrong side; the first word decides where the hand goes.
//!
//! Example: `say: "Touch the lamp to the points."` in a loop over `bike.points`.

use super::Findings;
use super::ear::{spoken, words_for};
use super::walks::Walks;
use crate::phrase::normalise;
use crate::source::Diagnostic;

pub(super) fn check(walks: &Walks<'_>, found: &mut Findings) {
    if words_for(walks.procedure()).is_none() {
        return;
    }
    for said in spoken(walks).into_iter().filter(|said| said.is_prompt() && !said.side.is_empty()) {
        let (words, side) = (normalise(&said.text), normalise(&said.side));
        if words != side && !words.starts_with(&format!("{side} ")) {
            let message = format!("the {} of `{}` does not begin with its side, \"{}\"", said.what, said.of, said.side);
            let help = "Begin it with `{{ NAME.side_words | capitalize }} side.`, NAME being the loop's item.";
            found.add(Diagnostic::warning(&said.place, "side-first", message).help(help));
        }
    }
}
