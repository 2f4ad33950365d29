//! What may be said: grammars, spoken numbers and units, commands; text to answers and answers to words.

mod answer;
mod grammar;
pub mod number;
mod policy;

pub use answer::{Answer, Command, Escape, Hypotheses, Hypothesis, Reading, ReadingKind, Stakes, Verdict};
pub use grammar::{Grammar, NumberSlot, Phrase};
pub use policy::decide;
