//! What a walk under some faults came to: its end, and the answers on the way there.

use super::said::Said;
use super::{Asked, Seen};
use crate::advice::Spot;
use std::collections::BTreeSet;
use std::sync::Arc;

/// One answer on a way.
pub struct Sighting {
    /// What was asked, in the state it was asked in.
    pub asked: Arc<Asked>,
    /// Where a walk can come back to for it; the bike's state is the one agreed for it.
    pub spot: Option<Spot>,
    /// What was seen.
    pub seen: Seen,
    /// What was answered, by its short name.
    pub answer: String,
    /// The answer was a wrong one.
    pub slipped: bool,
    /// The sighting before.
    pub before: Option<Arc<Sighting>>,
}

/// A wrong observation: what was there and what was said.
#[derive(Debug, Clone, PartialEq)]
pub struct Slip {
    /// `points-turn left`.
    pub place: String,
    /// The right answer.
    pub right: String,
    /// The one given.
    pub given: String,
    /// The same, as it was seen.
    pub seen: Seen,
    /// What came of it when the question was put once more.
    pub again: Again,
}

/// Whether a wrong observation was made again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Again {
    /// The question was not put again.
    NotAsked,
    /// It was, and answered rightly.
    Right,
    /// It was, and answered as wrongly each time: the same person misplaces the same probe.
    Wrong,
}

/// How a walk ended.
#[derive(Debug, Clone)]
pub struct Reached {
    /// Procedure.
    pub procedure: String,
    /// Conclusion.
    pub conclusion: String,
    /// Round.
    pub round: Option<String>,
    /// What it condemns.
    pub condemns: Vec<String>,
    /// The faults that it names.
    pub means: Vec<String>,
    /// It says that nothing is wrong.
    pub healthy: bool,
}

impl Reached {
    /// The conclusion with its round: `coil-bad left`.
    pub fn name(&self) -> String {
        self.round.as_ref().map_or_else(|| self.conclusion.clone(), |r| format!("{} {r}", self.conclusion))
    }
}

/// What came of one case.
#[derive(Clone)]
pub struct Outcome {
    /// How it ended.
    pub reached: Reached,
    /// What was mended on the way, as the procedure's steps say.
    pub mended: BTreeSet<String>,
    /// Questions asked.
    pub steps: usize,
    /// Working minutes.
    pub minutes: f64,
    /// Minutes for changes of side, of plugs and switches, and of the instrument between them.
    pub set_up: f64,
    /// How much was said, if the walker spoke.
    pub said: Said,
    /// The last answer; the others hang on it.
    pub last: Option<Arc<Sighting>>,
    /// The wrong observation, if there was one.
    pub slip: Option<Slip>,
}
