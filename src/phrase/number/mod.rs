//! Numbers as mechanics say them, both ways: words -> [`Reading`](super::Reading)s ([`readings`]), values -> words ([`NumberWords::say_number`]), and
//! everything that may be said for a number that is asked for ([`spellings`]). The words come from the vocabulary.

mod decimal;
mod english;
mod lexicon;
mod number_words;
mod read;
mod say;
mod settle;
mod spell;
#[cfg(test)]
mod tests;
mod whole;

pub use english::spellings;
pub use number_words::NumberWords;
pub(super) use number_words::RawNumbers;
pub use read::readings;
pub use spell::spellings_in;
