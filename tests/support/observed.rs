//! What a mechanic says who sees what the circuit computes.

use probeside::diagnose::{Asked, Seen};
use probeside::phrase::{Answer, Escape, Reading, ReadingKind};
use probeside::procedure::Ask;

/// The answer to a question, from what is seen.
pub fn spoken(asked: &Asked, seen: Seen) -> Answer {
    match (seen, asked.unit()) {
        (Seen::Choice(at), _) => Answer::Choice(asked.choices()[at].id.value.clone()),
        (Seen::Value(value), Some((unit, _))) => {
            Answer::Reading(Reading { kind: ReadingKind::Plain, value, unit, said_unit: None })
        }
        (Seen::OverRange, Some((unit, _))) => {
            Answer::Reading(Reading { kind: ReadingKind::OverRange, value: 0.0, unit, said_unit: None })
        }
        (Seen::Done, _) if matches!(asked.step().ask, Ask::Note(_)) => Answer::Note(String::new()),
        (Seen::Done, _) => Answer::Done,
        _ => Answer::Escape(Escape::CannotReach),
    }
}
