//! What the adviser answers: which faults are still suspected after an answer, and which part of the procedure comes next.
//!
//! These are plain values. The adviser (`diagnose`) works them out, the walker acts on them, the journal stores them and the review shows them.
//! How the weights are worked out is not known here.

use serde::{Deserialize, Serialize};

/// The suspects after an answer. Weights are probabilities: those of `suspects`, `others` and `outside` together make 1.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Weighed {
    /// The heaviest first; a fault in several severities is one suspect.
    pub suspects: Vec<Suspect>,
    /// Probability of all other faults of the library together.
    pub others: f64,
    /// Probability of something outside the library: an intermittent fault, one that the wiring does not show, or no fault at all.
    pub outside: f64,
    /// How many suspects weigh a hundredth or more.
    pub left: u32,
    /// Set if no single fault explains all answers: the answer that is most likely a slip.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub doubtful: Option<Doubtful>,
}

/// One suspect.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Suspect {
    /// Its id in the fault library, without a severity: `KIND:PLACE`.
    pub fault: String,
    /// In words.
    pub words: String,
    /// The parts of which one would be at fault.
    pub parts: Vec<String>,
    /// Its probability, 0 to 1.
    pub weight: f64,
    /// The answers with the most evidence for it.
    pub because: Vec<Because>,
}

/// An answer that speaks for a suspect.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Because {
    /// Step.
    pub step: String,
    /// Loop item.
    pub round: Option<String>,
    /// The answer in words.
    pub answer: String,
    /// Weight of evidence: base-10 logarithm of how much more likely the answer is under this suspect than under all others.
    pub evidence: f64,
}

/// An answer that may have been a slip.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Doubtful {
    /// Its number among the answers, from 0.
    pub number: usize,
    /// Step.
    pub step: String,
    /// Loop item.
    pub round: Option<String>,
    /// The answer in words.
    pub answer: String,
    /// Probability that it was a slip.
    pub weight: f64,
}

/// The part of the procedure that comes next, and why.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Chosen {
    /// Its id.
    pub part: String,
    /// Expected information, bits: how much it and the parts that it opens reduce the entropy of the conclusion.
    pub bits: f64,
    /// Expected minutes for all of them.
    pub minutes: f64,
}
