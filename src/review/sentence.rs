//! Puts a record into words.

use super::{as_told, place};
use crate::advice::{Next, Weighed};
use crate::phrase::{Answer, Reading, ReadingKind};
use crate::session::Record;
use crate::units::Unit;

/// A reading in its usual notation: `12.4 V`, `about 12 V`, `over range`, `nothing shown`.
pub(crate) fn shown(reading: &Reading, unit: Unit) -> String {
    let unit = if reading.unit.quantity() == unit.quantity() { reading.unit } else { unit };
    let number = with_unit(reading.value, unit);
    match reading.kind {
        ReadingKind::Plain => number,
        ReadingKind::About => format!("about {number}"),
        ReadingKind::OverRange => "over range".to_owned(),
        ReadingKind::NoReading => "nothing shown".to_owned(),
    }
}

fn with_unit(value: f64, unit: Unit) -> String {
    match unit {
        Unit::One => format!("{value}"),
        unit => format!("{value} {unit}"),
    }
}

/// Limits in words: "good from 12.36 V". `None` without limits.
pub(crate) fn limits(low: Option<f64>, high: Option<f64>, unit: &str) -> Option<String> {
    Some(match (low, high) {
        (Some(low), Some(high)) => format!("good from {} to {} {unit}", short(low), short(high)),
        (Some(low), None) => format!("good from {} {unit}", short(low)),
        (None, Some(high)) => format!("good up to {} {unit}", short(high)),
        (None, None) => return None,
    })
}

/// A number of at most four significant figures.
pub(crate) fn short(value: f64) -> String {
    const LARGE: f64 = 1e6;
    if value == 0.0 || !value.is_finite() || value.abs() >= LARGE {
        return value.to_string();
    }
    let places = (3 - value.abs().log10().floor() as i32).clamp(0, 6);
    let text = format!("{value:.*}", places as usize);
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// The name of an answer: the choice's id, `done`, or the escape's name.
pub(super) fn answer_name(answer: &Answer) -> String {
    match answer {
        Answer::Choice(id) => id.clone(),
        Answer::Reading(reading) => shown(reading, reading.unit),
        Answer::Done => "done".to_owned(),
        Answer::PowerOff => "power off".to_owned(),
        Answer::Yes => "yes".to_owned(),
        Answer::No => "no".to_owned(),
        Answer::Command(command) => command.name().to_owned(),
        Answer::Escape(escape) => escape.name().to_owned(),
        Answer::Note(_) => "note".to_owned(),
        Answer::Sum(name) => name.clone(),
    }
}

/// A share as a percentage: `37 %`.
pub(super) fn percent(share: f64) -> String {
    match share * 100.0 {
        small if small < 1.0 => "under 1 %".to_owned(),
        large => format!("{:.0} %", large),
    }
}

/// The suspects on one line.
fn left(weighed: &Weighed) -> String {
    let first = weighed.suspects.first();
    let first =
        first.map_or_else(|| "nothing".to_owned(), |s| format!("{} ({}, {})", s.words, s.fault, percent(s.weight)));
    let doubt = weighed.doubtful.as_ref().map_or(String::new(), |d| {
        format!(
            "; the answers do not fit together, most doubtful is {}: {} ({})",
            place(&d.step, &d.round),
            d.answer,
            percent(d.weight)
        )
    });
    format!("{} suspects left, first: {first}; outside the library {}{doubt}", weighed.left, percent(weighed.outside))
}

/// Kind, step, loop item and words of a record.
pub(super) fn sentence(record: &Record) -> (&'static str, Option<String>, Option<String>, String) {
    let at = |step: &String, round: &Option<String>| (Some(step.clone()), round.clone());
    let (kind, (step, round), what) = match record {
        Record::Entered { step, round, asked, .. } => ("entered", at(step, round), format!("asked: {asked}")),
        Record::Acknowledged { step, round, caution, signal, printed, .. } => {
            let printed = if *printed { ", printed only: the loudspeaker was lost" } else { "" };
            ("acknowledged", at(step, round), format!("{signal} {caution} acknowledged{printed}"))
        }
        Record::Answered { step, round, answer, words, means, confirmed, told, .. } => {
            let asked_back = if *confirmed { ", asked back" } else { "" };
            (
                "answered",
                at(step, round),
                format!("{} ({means}{}{asked_back}), heard: {words}", answer_name(answer), as_told(*told)),
            )
        }
        Record::Read { step, round, number, name, reading, unit, verdict, amends, told, .. } => {
            let amends = amends.map_or(String::new(), |before| match before == *number {
                true => ", corrected".to_owned(),
                false => format!(", amends reading {before}"),
            });
            (
                "read",
                at(step, round),
                format!("reading {number}, {name}: {} ({verdict}{}{amends})", shown(reading, *unit), as_told(*told)),
            )
        }
        Record::Escaped { step, round, escape, .. } => ("escaped", at(step, round), format!("answered: {escape}")),
        Record::Untested { step, round, why } => ("untested", at(step, round), format!("left out: {why}")),
        Record::Noted { step, round, text, .. } => ("noted", at(step, round), format!("note: {text}")),
        Record::Reckoned { step, round, sum, inputs, value, unit, .. } => {
            let given: Vec<String> =
                inputs.iter().map(|(name, value, unit)| format!("{name} {}", with_unit(*value, *unit))).collect();
            let result = with_unit(*value, *unit);
            ("reckoned", at(step, round), format!("reckoned {sum}: {result} from {}", given.join(", ")))
        }
        Record::Controlled { step, command } => {
            ("controlled", (Some(step.clone()), None), format!("command: {command}"))
        }
        Record::NoAnswer { step, why, free, .. } => {
            let heard = free.as_ref().map_or(String::new(), |free| format!(", perhaps: {free}"));
            ("not-taken", (Some(step.clone()), None), format!("not taken ({}{heard})", why.words()))
        }
        Record::State { step, told, .. } => {
            ("state", (Some(step.clone()), None), format!("bike made ready: {}", told.join("; ")))
        }
        Record::Interrupted { step, what, detail } => {
            let detail = if detail.is_empty() { String::new() } else { format!(": {detail}") };
            ("interrupted", (Some(step.clone()), None), format!("{what}{detail}"))
        }
        Record::PowerOff { step, confirmed, by } => {
            let what = if *confirmed {
                format!("power off, confirmed by {by}")
            } else {
                "power off: not confirmed".to_owned()
            };
            ("power-off", (Some(step.clone()), None), what)
        }
        Record::Weighed { step, round, weighed } => ("weighed", at(step, round), left(weighed)),
        Record::Chosen { step, chosen } => {
            let what = match &chosen.next {
                Next::Written => "as it is written".to_owned(),
                Next::Check(_) => {
                    let outcomes =
                        chosen.why.iter().flat_map(|why| &why.outcomes).filter(|one| !one.suspects.is_empty());
                    let outcomes = outcomes.map(|one| format!("; if {}: {}", one.answer, one.suspects.join(", or ")));
                    let (bits, minutes) = (chosen.bits, chosen.minutes);
                    let outcomes = outcomes.collect::<String>();
                    format!("the check that tells most: {bits:.2} bits in {minutes:.1} minutes{outcomes}")
                }
                Next::Found(found) => format!("nothing is left but: {}", found.cause),
                Next::Sound => "nothing is left that could be wrong".to_owned(),
            };
            ("chosen", (Some(step.clone()), None), format!("next: {what}"))
        }
        Record::Concluded { conclusion, round, cause, .. } => {
            ("concluded", (None, round.clone()), format!("concluded {conclusion}: {cause}"))
        }
    };
    (kind, step, round, what)
}
