//! Numbers as mechanics say them. [`readings`] turns words into [`Reading`](super::Reading)s, [`NumberWords::say_number`] turns values into
//! words, and [`spellings`] lists every way to say the number asked for. The words come from the vocabulary.

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
