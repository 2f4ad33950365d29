//! Every way to say a number in English.

use super::super::answer::Reading;
use super::super::grammar::NumberSlot;
use super::super::vocabulary::Vocabulary;
use super::spell::spellings_in;

/// Every way to say the number asked for in English; see [`spellings_in`](super::spellings_in).
///
/// ```
/// use probeside::phrase::{NumberSlot, number::spellings};
/// use probeside::units::{Quantity, Unit};
/// let slot = NumberSlot { quantity: Quantity::Voltage, unit: Unit::Volt, low: 0.0, high: 15.0, resolution: 0.1 };
/// let said = spellings(&slot);
/// assert!(said.iter().any(|(words, reading)| words == "twelve point four" && reading.value == 12.4));
/// assert!(said.iter().any(|(words, reading)| words == "two hundred millivolts" && reading.value == 0.2));
/// ```
pub fn spellings(slot: &NumberSlot) -> Vec<(String, Reading)> {
    spellings_in(slot, Vocabulary::english().numbers())
}
