//! Everything of a procedure that is spoken, as it comes out for a bike: what the checks on writing for the ear look at.

use super::walks::Walks;
use crate::phrase::Vocabulary;
use crate::procedure::{Ask, Procedure, Scope, Step, Template, render};
use crate::source::Place;
use serde_json::Value;

/// A text as it is spoken.
pub(super) struct Spoken {
    /// "prompt", "short prompt", "explanation", "caution" ...
    pub what: &'static str,
    /// The id of the step, caution or conclusion.
    pub of: String,
    /// The text for this bike and round.
    pub text: String,
    /// Where it is written.
    pub place: Place,
    /// "left", "right" in a round over something that has a side; else empty.
    pub side: String,
}

impl Spoken {
    /// It belongs to what has to be kept in mind at once; explanations and conclusions are listened to.
    pub fn is_short(&self) -> bool {
        !matches!(self.what, "explanation" | "cause" | "remedy")
    }

    /// It is the step's own prompt, in full or in brief.
    pub fn is_prompt(&self) -> bool {
        matches!(self.what, "prompt" | "short prompt")
    }
}

/// The words of the language that `procedure` is written in, where it has rules of writing here.
pub(super) fn words_for(procedure: &Procedure) -> Option<&'static Vocabulary> {
    let words = Vocabulary::english();
    (procedure.language.split('-').next() == Some(words.language())).then_some(words)
}

/// The side of the innermost item that has one and that `step` speaks of, in its prompt or in the state it needs.
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

/// All that the procedure that is checked says on these walks.
pub(super) fn spoken(walks: &Walks<'_>) -> Vec<Spoken> {
    let mut all = Vec::new();
    let mut add = |what, of: &str, template: &Template, scope: &Scope, side: &str| {
        // What does not come out is told by another check.
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
