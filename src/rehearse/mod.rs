//! Rehearses a procedure: several synthetic voices say every phrase of every step, in several noises at several levels, and the real
//! recogniser hears them with that step's grammar. The [`Report`] says what was mistaken for what, which pairs are too close and why, and
//! what else could be said. Its fields document `probeside rehearse --json`.

mod noise;
mod pairs;
mod perform;
mod report;
mod stage;

pub use noise::{Noise, mixed};
pub use pairs::{Pair, Suggestion};
pub use perform::{Cast, Outcome, Rehearsal, RehearseError, Trial, usual_cast};
pub use report::{Counts, Head, HeardAs, Level, PhraseReport, Report, StageReport};
pub use stage::{Stage, answer_name, stages};
