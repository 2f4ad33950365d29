//! Checks how a procedure is written for the ear, on every text as it is spoken for a bike: length, number of actions, the side first, and
//! words that a voice stumbles on.
//!
//! Why it matters: with a probe in one hand nobody keeps three instructions in mind, and the answer does not say which of two actions was done.
//! The most expensive mistake is the right check on the wrong side, so the side comes first. A voice reads "12V" as "twelve vee" and skips a
//! slash.
//!
//! Example findings:
//! - ``the prompt of `fuel-off` takes about 15 s to say``
//! - ``the prompt of `fuel-off` asks for 3 actions: close, wipe, open``
//! - ``the prompt of `points-gap` does not begin with its side, "left"``
//! - ``a voice stumbles on "GN-WH" in the prompt of `feed` ``
//!
//! A question after an action is not a second action. The vocabulary's `writing` section says how the seconds were fitted to the real voice.

use super::findings::Findings;
use super::walks::Walks;
use crate::expression::{Scope, Template, render};
use crate::phrase::{Vocabulary, normalise};
use crate::procedure::{Ask, Procedure, Step};
use crate::source::{Diagnostic, Place};
use serde_json::Value;

/// Longest prompt, seconds (`procedures/FORMAT.md`).
const LONGEST: f64 = 12.0;

pub(super) fn check(walks: &Walks<'_>, found: &mut Findings) {
    let Some(words) = words_for(walks.procedure()) else { return };
    let all = spoken(walks);
    lengths(&all, words, found);
    actions(&all, words, found);
    sides(&all, found);
    stumbles(&all, words, found);
}

fn lengths(all: &[Spoken], words: &Vocabulary, found: &mut Findings) {
    for Spoken { what, of, text, place, .. } in all.iter().filter(|said| said.is_short()) {
        let seconds = words.seconds_to_say(text);
        if seconds > LONGEST {
            let message = format!("the {what} of `{of}` takes about {seconds:.0} s to say");
            let help = "Say one thing in at most 12 s, and move the rest to `more` or to another step.";
            found.add(Diagnostic::warning(place, "long-prompt", message).help(help));
        }
    }
}

fn actions(all: &[Spoken], words: &Vocabulary, found: &mut Findings) {
    for said in all.iter().filter(|said| said.is_prompt()) {
        let actions = words.actions_in(&said.text);
        if actions.len() > 1 {
            let message = format!(
                "the {} of `{}` asks for {} actions: {}",
                said.what,
                said.of,
                actions.len(),
                actions.join(", ")
            );
            let help =
                "Ask for one action in a step; make another step of the next, or move what explains it to `more`.";
            found.add(Diagnostic::warning(&said.place, "two-actions", message).help(help));
        }
    }
}

fn sides(all: &[Spoken], found: &mut Findings) {
    for said in all.iter().filter(|said| said.is_prompt() && !said.side.is_empty()) {
        let (words, side) = (normalise(&said.text), normalise(&said.side));
        if words != side && !words.starts_with(&format!("{side} ")) {
            let message = format!("the {} of `{}` does not begin with its side, \"{}\"", said.what, said.of, said.side);
            let help = "Begin it with `{{ NAME.side_words | capitalize }} side.`, NAME being the loop's item.";
            found.add(Diagnostic::warning(&said.place, "side-first", message).help(help));
        }
    }
}

fn stumbles(all: &[Spoken], words: &Vocabulary, found: &mut Findings) {
    for said in all {
        let Some((token, instead)) = words.stumbles_in(&said.text).into_iter().next() else { continue };
        let colours: Option<Vec<String>> = token.split('-').map(|code| words.colour(code)).collect();
        let instead = match colours {
            Some(_) => words.colour(&token).unwrap_or(instead),
            None => instead,
        };
        let message = format!("a voice stumbles on \"{token}\" in the {} of `{}`", said.what, said.of);
        found.add(Diagnostic::warning(&said.place, "stumbles", message).help(format!("Write {instead}.")));
    }
}

/// A text as it is spoken.
struct Spoken {
    /// "prompt", "short prompt", "explanation", "caution" ...
    what: &'static str,
    /// The id of the step, caution or conclusion.
    of: String,
    /// The text for this bike and round.
    text: String,
    /// Where it is written.
    place: Place,
    /// "left", "right" in a round over something that has a side; else empty.
    side: String,
}

impl Spoken {
    /// The listener has to keep it in mind at once. Explanations and conclusions need not be.
    fn is_short(&self) -> bool {
        !matches!(self.what, "explanation" | "cause" | "remedy")
    }

    /// It is the step's own prompt, in full or in brief.
    fn is_prompt(&self) -> bool {
        matches!(self.what, "prompt" | "short prompt")
    }
}

/// The vocabulary with the writing rules of the procedure's language, if there is one.
pub(super) fn words_for(procedure: &Procedure) -> Option<&'static Vocabulary> {
    let words = Vocabulary::english();
    (procedure.language.split('-').next() == Some(words.language())).then_some(words)
}

/// The side of the innermost loop item that has a side and that `step` names, in its prompt or in the state it needs.
fn side(step: &Step, scope: &Scope) -> String {
    let state = &step.state;
    let pairs = state.fit.iter().flat_map(|(name, [first, second])| [name, first, second]);
    let leads = state.instrument.iter().flat_map(|(_, first, second)| [first, second]);
    let points = state.points.iter().map(|(set, _)| set);
    let parts = state.unplug.iter().chain(&state.plug_in).chain(&state.remove);
    let texts: Vec<&Template> = [&step.say].into_iter().chain(pairs).chain(leads).chain(points).chain(parts).collect();
    let speaks_of = |name: &str| texts.iter().any(|text| text.contains(&format!("{name}.")));
    let items = scope.names().filter(|(name, _)| !matches!(*name, "bike" | "seen") && speaks_of(name));
    let sides = items.filter_map(|(_, item)| item.get("side_words").and_then(Value::as_str));
    sides.filter(|side| !side.is_empty()).last().unwrap_or_default().to_owned()
}

/// Everything that the checked procedure says on these walks.
fn spoken(walks: &Walks<'_>) -> Vec<Spoken> {
    let mut all = Vec::new();
    let mut add = |what, of: &str, template: &Template, scope: &Scope, side: &str| {
        // Another check reports a template that does not render.
        if let Ok(text) = render(template, scope) {
            all.push(Spoken { what, of: of.to_owned(), text, place: template.place.clone(), side: side.to_owned() });
        }
    };
    let procedure = walks.procedure();
    if let Some(first) = walks.nodes.first() {
        for line in [&procedure.title].into_iter().chain(&procedure.opening) {
            add("opening", &procedure.id, line, &first.scope, "");
        }
        for caution in &procedure.cautions {
            add("caution", &caution.id, &caution.say, &first.scope, "");
            add("caution", &caution.id, &caution.brief, &first.scope, "");
        }
    }
    for node in walks.own() {
        let (step, scope) = (node.step, &*node.scope);
        let side = side(step, scope);
        add("prompt", &step.id, &step.say, scope, &side);
        if let Some(brief) = &step.brief {
            add("short prompt", &step.id, brief, scope, &side);
        }
        add("explanation", &step.id, &step.more, scope, &side);
        match &step.ask {
            Ask::Choice(choices) | Ask::Watch { choices, .. } => {
                choices.iter().for_each(|choice| add("echo", &step.id, &choice.echo, scope, &side));
            }
            Ask::Reading(reading) => {
                reading
                    .bands
                    .iter()
                    .filter_map(|band| band.say.as_ref())
                    .for_each(|say| add("remark", &step.id, say, scope, &side));
            }
            Ask::Done(_) | Ask::Note(_) => {}
        }
    }
    for end in walks.concluded.iter().filter(|end| end.procedure == 0) {
        add("cause", &end.conclusion.id, &end.conclusion.cause, &end.scope, "");
        add("remedy", &end.conclusion.id, &end.conclusion.remedy, &end.scope, "");
    }
    all
}
