//! Checks what may be answered: phrases that cannot be told apart, limits that overlap or leave a gap, units that do not fit the quantity.
//!
//! Why it matters: the same words cannot lead two ways, and a listener that hears "dark" may have heard the beginning of "dark sometimes". A
//! reading that falls into no band leads nowhere; one that falls into two may lead the wrong way. A spoken unit is converted to the unit asked
//! for, which is impossible from volts to ohms.
//!
//! Example findings:
//! - ``"go back" is already the command `back` ``
//! - ``for the Borage Twin, the bands `low` and `good` leave a hole: one ends at 11.8, the next begins at 12``
//! - ``` `coil_ohms` is a resistance and cannot be in V ```

use super::findings::{Findings, Reserved};
use super::walks::Walks;
use crate::expression::{Expression, Scope, Template, evaluate_number, render};
use crate::procedure::{Ask, Choice, Meaning, Procedure, ReadingAsk, Step};
use crate::source::Diagnostic;
use crate::units::Unit;

/// Two limits closer than this share of their size are the same: doubles do not hold decimals exactly.
const SAME: f64 = 1e-9;

struct Said<'a> {
    words: String,
    template: &'a Template,
    choice: &'a str,
    means: Meaning,
    /// It is confirmed before it is taken.
    is_asked_back: bool,
}

/// Looks at phrases as `rendered`; of one step, or of all.
pub(super) fn phrases(
    procedure: &Procedure,
    reserved: &[Reserved],
    rendered: &dyn Fn(&Template) -> Option<String>,
    only: Option<&str>,
    found: &mut Findings,
) {
    for step in procedure.steps.iter().filter(|step| only.is_none_or(|id| *step.id == id)) {
        let said = said(step, rendered);
        said.iter().for_each(|phrase| check_plain(phrase, found));
        for (at, phrase) in said.iter().enumerate() {
            for earlier in &said[..at] {
                check_pair(phrase, earlier, found);
            }
            for taken in reserved {
                check_reserved(phrase, taken, found);
            }
        }
    }
}

/// As [`phrases`], for the phrases that are templates, as they come out on each walk.
pub(super) fn rendered_phrases(walks: &Walks<'_>, reserved: &[Reserved], found: &mut Findings) {
    for node in walks.own() {
        if let Ask::Choice(choices) | Ask::Watch { choices, .. } = &node.step.ask
            && choices.iter().any(|choice| phrases_of(choice).any(|phrase| phrase.contains('{')))
        {
            let come_out = |text: &Template| render(text, &node.scope).ok();
            phrases(walks.procedure(), reserved, &come_out, Some(&node.step.id), found);
        }
    }
}

fn phrases_of(choice: &Choice) -> impl Iterator<Item = &Template> {
    choice.phrases.iter().chain(&choice.ask_back)
}

fn said<'a>(step: &'a Step, rendered: &dyn Fn(&Template) -> Option<String>) -> Vec<Said<'a>> {
    let (Ask::Choice(choices) | Ask::Watch { choices, .. }) = &step.ask else { return Vec::new() };
    let all = choices.iter().flat_map(|choice| phrases_of(choice).map(move |template| (choice, template)));
    let said = all.filter_map(|(choice, template)| {
        let is_asked_back = choice.ask_back.iter().any(|other| std::ptr::eq(other, template));
        let words = rendered(template)?;
        Some(Said { words, template, choice: &choice.id, means: choice.means, is_asked_back })
    });
    said.filter(|said| !said.words.contains('{')).collect()
}

fn check_plain(phrase: &Said<'_>, found: &mut Findings) {
    let words = &phrase.words;
    let plain = words.chars().all(|c| (c.is_alphabetic() && !c.is_uppercase()) || c == '\'' || c == ' ');
    if !plain || words.trim() != words || words.contains("  ") || words.is_empty() {
        let message = format!("the phrase \"{words}\" is not plain lower-case words");
        let help = "Write it as it is said: lower case, numbers as words, no signs, single spaces.";
        found.add(Diagnostic::error(&phrase.template.place, "phrase", message).help(help));
    }
}

fn begins(short: &str, long: &str) -> bool {
    long.strip_prefix(short).is_some_and(|rest| rest.starts_with(' '))
}

fn check_pair(phrase: &Said<'_>, earlier: &Said<'_>, found: &mut Findings) {
    let place = &phrase.template.place;
    if phrase.words == earlier.words {
        let message = match phrase.choice == earlier.choice {
            true => format!("the phrase \"{}\" stands twice for `{}`", phrase.words, phrase.choice),
            false => format!("the phrase \"{}\" means both `{}` and `{}`", phrase.words, earlier.choice, phrase.choice),
        };
        found.add(Diagnostic::error(place, "same-answer", message).help("Keep one of the two."));
    } else if phrase.choice != earlier.choice {
        let (short, long) = match phrase.words.len() < earlier.words.len() {
            true => (phrase, earlier),
            false => (earlier, phrase),
        };
        if begins(&short.words, &long.words) {
            let message =
                format!("\"{}\" for `{}` begins \"{}\" for `{}`", short.words, short.choice, long.words, long.choice);
            found
                .add(Diagnostic::warning(place, "answer-begins", message).help("Begin one of them with another word."));
        }
    }
}

fn check_reserved(phrase: &Said<'_>, taken: &Reserved, found: &mut Findings) {
    let place = &phrase.template.place;
    if phrase.words == taken.words {
        let (message, help) = match taken.always {
            true => (format!("\"{}\" is already {}", phrase.words, taken.meaning), "Choose other words."),
            // While a confirmation is pending, yes and no mean that confirmation, so an answer may use the same words.
            false if phrase.is_asked_back || phrase.means != Meaning::Good => return,
            false => (
                format!("a bare \"{}\" for the good answer `{}` may be a slip", phrase.words, phrase.choice),
                "Put it under `ask-back`: it is confirmed then.",
            ),
        };
        found.add(Diagnostic::error(place, "same-answer", message).help(help));
    } else if taken.always
        && !phrase.is_asked_back
        && (begins(&phrase.words, &taken.words) || begins(&taken.words, &phrase.words))
    {
        let message = format!("\"{}\" and \"{}\", {}, begin alike", phrase.words, taken.words, taken.meaning);
        found.add(Diagnostic::warning(place, "answer-begins", message).help("Begin with another word."));
    }
}

/// Limits that overlap, leave a gap or stand the wrong way round.
pub(super) fn limits(walks: &Walks<'_>, found: &mut Findings) {
    for node in walks.own() {
        if let Ask::Reading(reading) = &node.step.ask {
            check_reading(reading, &node.scope, &walks.bike.name, found);
        }
    }
}

fn check_reading(reading: &ReadingAsk, scope: &Scope, bike: &str, found: &mut Findings) {
    let value = |limit: &Expression| evaluate_number(limit, scope).ok();
    let mut fault = |place, message: String, help: &str| {
        found.add(Diagnostic::error(place, "limits", message).help(help));
    };
    if let (Some(low), Some(high)) = (value(&reading.low), value(&reading.high))
        && low >= high
    {
        let message = format!("for the {bike}, the plausible range runs from {low} to {high}");
        fault(&reading.low.place, message, "Write the lower one first.");
    }
    let last = reading.bands.len().saturating_sub(1);
    for (at, band) in reading.bands.iter().enumerate() {
        let name = band.id.as_str();
        match (&band.from, at) {
            (Some(from), 0) => fault(
                &from.place,
                format!("the lowest band `{name}` has a `from`: what is below leads nowhere"),
                "Leave its `from` out.",
            ),
            (None, 1..) => fault(
                &band.id.place,
                format!("the band `{name}` has no `from`, and is not the lowest"),
                "Begin it where the band before it ends.",
            ),
            _ => {}
        }
        match &band.below {
            Some(below) if at == last => fault(
                &below.place,
                format!("the highest band `{name}` has a `below`: what is above leads nowhere"),
                "Leave its `below` out.",
            ),
            None if at < last => fault(
                &band.id.place,
                format!("the band `{name}` has no `below`, and is not the highest"),
                "End it where the next band begins.",
            ),
            _ => {}
        }
        if let (Some(from), Some(below)) = (&band.from, &band.below)
            && let (Some(low), Some(high)) = (value(from), value(below))
            && low >= high
        {
            fault(
                &from.place,
                format!("for the {bike}, the band `{name}` runs from {low} to {high}"),
                "Its `from` must lie below its `below`.",
            );
        }
    }
    for pair in reading.bands.windows(2) {
        if let (Some(below), Some(from)) = (&pair[0].below, &pair[1].from)
            && let (Some(end), Some(begin)) = (value(below), value(from))
            && (end - begin).abs() > SAME * end.abs().max(begin.abs())
        {
            let what = if end < begin { "leave a hole" } else { "overlap" };
            let message = format!(
                "for the {bike}, the bands `{}` and `{}` {what}: one ends at {end}, the next begins at {begin}",
                *pair[0].id, *pair[1].id
            );
            fault(&from.place, message, "Begin the one exactly where the other ends.");
        }
    }
}

/// Units that do not belong to the quantity.
pub(super) fn units(procedure: &Procedure, found: &mut Findings) {
    for step in &procedure.steps {
        let Ask::Reading(reading) = &step.ask else { continue };
        if reading.unit.quantity() != reading.quantity {
            let fitting = Unit::ALL.iter().filter(|unit| unit.quantity() == reading.quantity).map(|unit| unit.name());
            let help = format!("Units of {}: {}.", reading.quantity, fitting.collect::<Vec<_>>().join(", "));
            let message = format!("`{}` is a {} and cannot be in {}", *reading.name, reading.quantity, reading.unit);
            found.add(Diagnostic::error(&reading.name.place, "unit", message).help(help));
        }
    }
}
