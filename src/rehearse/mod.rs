//! Rehearsing a procedure: every phrase of every step, said by several synthetic voices in several noises at several levels,
//! heard against that step's grammar by the real recogniser. What was taken for what, which pairs are too close, why, and what
//! else could be said, is the [`Report`]; its fields are the documentation of `probeside rehearse --json`.

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
