//! What may be said at one moment of a walk: phrases with their meaning, a number slot, or a free note.

use super::answer::Answer;
use crate::units::{Quantity, Unit};
use serde::{Deserialize, Serialize};

/// A spelling in plain lower-case words, and what it means.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Phrase {
    /// Lower-case words separated by single spaces.
    pub words: String,
    /// Their meaning.
    pub answer: Answer,
}

/// A number that is asked for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NumberSlot {
    /// What is measured.
    pub quantity: Quantity,
    /// The unit asked for; a number without a unit is in this one.
    pub unit: Unit,
    /// Lowest value worth listening for, in `unit`.
    pub low: f64,
    /// Highest value worth listening for, in `unit`.
    pub high: f64,
    /// Smallest step between values that is listened for, in `unit` (0.01 for a voltmeter that shows 12.45).
    pub resolution: f64,
}

/// The grammar of one listen.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Grammar {
    /// Fixed phrases: the step's choices, commands, escapes, yes and no where a confirmation is pending.
    pub phrases: Vec<Phrase>,
    /// A number, where one is asked for.
    pub number: Option<NumberSlot>,
    /// Anything said is a note; phrases still win when they fit whole.
    pub note: bool,
    /// What the person has just said not to have said.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub denied: Vec<Answer>,
}
