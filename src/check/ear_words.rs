//! Abbreviations, signs and colour codes in what is spoken.
//!
//! Why: a voice reads "12V" as "twelve vee", "GN-WH" letter by letter, and skips a slash.
//!
//! Example: "Measure 0.4mm at the GN-WH wire."

use super::Findings;
use super::ear::{spoken, words_for};
use super::walks::Walks;
use crate::source::Diagnostic;

pub(super) fn check(walks: &Walks<'_>, found: &mut Findings) {
    let Some(words) = words_for(walks.procedure()) else { return };
    for said in spoken(walks) {
        let Some((token, instead)) = words.stumbles_in(&said.text).into_iter().next() else { continue };
        let colours: Option<Vec<String>> = token.split('-').map(|code| words.colour(code)).collect();
        let instead = match colours {
            Some(_) => words.colour(&token).unwrap_or(instead),
            None => instead,
        };
        let message = format!("a voice stumbles on \"{token}\" in the {} of `{}`", said.what, said.of);
        found.add(Diagnostic::warning(&said.place, "stumbles", message).help(format!("Write {instead}.")));
    }
}
