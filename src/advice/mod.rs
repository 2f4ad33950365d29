//! What the adviser answers: which faults are still suspected after an answer, and which part of the procedure comes next.
//!
//! These are plain values. The adviser (`diagnose`) works them out, the walker acts on them, the journal stores them and the review shows them.
//! How the weights are worked out is not known here.

use crate::bike::BikeState;
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

/// What comes next in a walk in best order, and why.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Chosen {
    /// What comes next.
    pub next: Next,
    /// Expected information, bits: by how much it reduces the entropy of the cause.
    pub bits: f64,
    /// Expected minutes, changes of set-up included.
    pub minutes: f64,
    /// Why this check. `None` where it was not asked for, and for anything but a check.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub why: Option<Why>,
    /// Whether the answers fit only a fault that comes and goes, or the user said so.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub comes_and_goes: bool,
}

/// Why a check comes next.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Why {
    /// Expected minutes for this check, or for it and the next one if it pays only together with that.
    pub minutes: f64,
    /// Expected minutes in which the best other checks would tell as much. `None` if no other tells anything.
    pub otherwise: Option<f64>,
    /// What its answers would mean, the most probable first.
    pub outcomes: Vec<Outcome>,
}

/// What an answer would mean.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Outcome {
    /// The answer in words.
    pub answer: String,
    /// The suspects that it would speak for, in words, the heaviest first.
    pub suspects: Vec<String>,
    /// The check that would come after it, as a short question. `None` if it would settle the matter.
    pub then: Option<String>,
}

/// What comes next.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Next {
    /// What is written.
    #[default]
    Written,
    /// Another check.
    Check(Box<Spot>),
    /// The walk ends: this was found.
    Found(Box<Found>),
    /// The walk ends: nothing is wrong.
    Sound,
}

/// A check of the walked procedure.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Spot {
    /// The step that it begins with.
    pub step: String,
    /// The loops that it stands in, outermost first, with the number of the round from 0.
    pub rounds: Vec<(String, usize)>,
    /// The state of the bike that the step's own changes start from.
    pub state: BikeState,
}

/// What was found: the cause, or several that nothing tells apart.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Found {
    /// The conclusion of the procedure that leads to the same remedy.
    pub conclusion: String,
    /// The item of its loop.
    pub round: Option<String>,
    /// The faults that it means, by their ids without a severity.
    pub means: Vec<String>,
    /// The parts that its remedy takes out or renews.
    pub condemns: Vec<String>,
    /// The cause in words.
    pub cause: String,
    /// The remedy in words.
    pub remedy: String,
    /// The cautions before the remedy, by id.
    pub cautions: Vec<String>,
    /// What is to be checked again after it.
    pub recheck: Vec<String>,
}
