//! The language of a walk: grammars, spoken numbers and units, and commands. Turns text into answers and answers into words.

mod answer;
mod built_in;
mod grammar;
pub mod number;
mod policy;
mod sentence;
pub mod sound;
mod state_words;
mod typed;
mod vocabulary;
mod vocabulary_file;
pub mod words;
mod writing;

pub use answer::{Answer, Command, Escape, Hypotheses, Hypothesis, Reading, ReadingKind, Stakes, Verdict};
pub use grammar::{Grammar, NumberSlot, Phrase};
pub use policy::{decide, verdict, verdict_far, verdict_over};
pub use sentence::SentenceError;
pub use typed::understand;
pub use vocabulary::Vocabulary;
pub use words::normalise;
pub use writing::Named;
