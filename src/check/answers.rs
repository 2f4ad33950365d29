//! Answers that cannot be told apart, or that begin one another.
//!
//! Why: the same words cannot lead two ways; and a listener that hears "dark" may have heard the beginning of "dark sometimes".
//!
//! Example: `phrases: ["go back"]`, which is the command to go back a step.

use super::walks::Walks;
use super::{Findings, Reserved};
use crate::procedure::{Ask, Procedure, Step, Template, render};
use crate::source::Diagnostic;

struct Said<'a> {
    words: String,
    template: &'a Template,
    choice: &'a str,
}

/// Looks at phrases as `rendered`; of one step, or of all.
pub(super) fn check(
    procedure: &Procedure,
    reserved: &[Reserved],
    rendered: &dyn Fn(&Template) -> Option<String>,
    only: Option<&str>,
    found: &mut Findings,
) {
    for step in procedure.steps.iter().filter(|step| only.is_none_or(|id| *step.id == id)) {
        let said = phrases(step, rendered);
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

/// As [`check`], for the phrases that are templates, as they come out on each walk.
pub(super) fn check_rendered(walks: &Walks<'_>, reserved: &[Reserved], found: &mut Findings) {
    for node in walks.own() {
        if let Ask::Choice(choices) | Ask::Watch { choices, .. } = &node.step.ask
            && choices.iter().any(|choice| choice.phrases.iter().any(|phrase| phrase.contains('{')))
        {
            let come_out = |text: &Template| render(text, &node.scope).ok();
            check(walks.procedure(), reserved, &come_out, Some(&node.step.id), found);
        }
    }
}

fn phrases<'a>(step: &'a Step, rendered: &dyn Fn(&Template) -> Option<String>) -> Vec<Said<'a>> {
    let (Ask::Choice(choices) | Ask::Watch { choices, .. }) = &step.ask else { return Vec::new() };
    let all = choices.iter().flat_map(|choice| choice.phrases.iter().map(move |template| (choice, template)));
    let said =
        all.filter_map(|(choice, template)| Some(Said { words: rendered(template)?, template, choice: &choice.id }));
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
        let message = format!("\"{}\" is already {}", phrase.words, taken.meaning);
        found.add(Diagnostic::error(place, "same-answer", message).help("Choose other words."));
    } else if taken.always && (begins(&phrase.words, &taken.words) || begins(&taken.words, &phrase.words)) {
        let message = format!("\"{}\" and \"{}\", {}, begin alike", phrase.words, taken.words, taken.meaning);
        found.add(Diagnostic::warning(place, "answer-begins", message).help("Begin with another word."));
    }
}
