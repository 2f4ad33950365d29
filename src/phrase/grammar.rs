//! What the user may say at one point of a walk: phrases with their meanings, a number, or a free note.

use super::answer::Answer;
use crate::units::{Quantity, Unit};
use serde::{Deserialize, Serialize};

/// A spelling in plain lower-case words, and what it means.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Phrase {
    /// Lower-case words separated by single spaces.
    pub words: String,
    /// What the words mean.
    pub answer: Answer,
}

/// A request for a number.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NumberSlot {
    /// The quantity to measure.
    pub quantity: Quantity,
    /// The unit asked for. A number without a unit is in this one.
    pub unit: Unit,
    /// Lowest value in the grammar, in `unit`.
    pub low: f64,
    /// Highest value in the grammar, in `unit`.
    pub high: f64,
    /// Smallest step between values in the grammar, in `unit` (0.01 for a voltmeter that shows 12.45).
    pub resolution: f64,
}

/// The grammar of one listen.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Grammar {
    /// Fixed phrases: the step's choices, commands, escapes, and yes and no while a confirmation is pending.
    pub phrases: Vec<Phrase>,
    /// The number asked for, if any.
    pub number: Option<NumberSlot>,
    /// Any speech counts as a note. A phrase that matches completely still wins.
    pub note: bool,
    /// Answers that the user has just denied.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub denied: Vec<Answer>,
}
