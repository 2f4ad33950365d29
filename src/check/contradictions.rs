//! Cautions that their own steps, or other procedures, contradict.
//!
//! Why: a warning of a thing that is not there teaches people not to listen, and a step that calls for what a caution forbids undoes it.
//!
//! Example: a caution about a strobe before a step that uses none and lists none; "warm the coil with a hair dryer" where a caution of any
//! procedure in the folder says "no hair dryer".
//!
//! It sees words, not meanings: the vocabulary lists the things a caution may warn of (`writing: things`), those that are forbidden everywhere
//! once a caution forbids them (`writing: bans`), and the words that forbid what follows them in a clause (`writing: forbids`). A thing that is
//! on neither list, or is called something else, passes unseen.

use super::Findings;
use super::ear::words_for;
use super::surroundings::Surroundings;
use crate::phrase::Named;
use crate::procedure::{Ask, Caution, Procedure, Step, Template};
use crate::source::Diagnostic;
use std::collections::BTreeMap;

pub(super) fn check(procedure: &Procedure, around: &Surroundings<'_>, found: &mut Findings) {
    let Some(words) = words_for(procedure) else { return };
    let named = |text: &str| words.things_named_in(text);
    for caution in &procedure.cautions {
        let before: Vec<&Step> =
            procedure.steps.iter().filter(|step| step.cautions.iter().any(|id| **id == *caution.id)).collect();
        let ends = procedure.conclusions.iter().filter(|end| end.cautions.iter().any(|id| **id == *caution.id));
        let remedies: Vec<&Template> = ends.map(|end| &end.remedy).collect();
        if before.is_empty() && remedies.is_empty() {
            continue;
        }
        let tools = procedure.tools.iter().flat_map(|tool| named(tool));
        let told = before.iter().flat_map(|step| texts(step)).chain(remedies).flat_map(|text| named(&text.value));
        let fitted = before.iter().flat_map(|step| &step.state.fit).flat_map(|(name, _)| named(&name.value));
        let used: Vec<String> = tools.chain(told).chain(fitted).map(|named| named.thing).collect();
        for Named { thing, forbidden, .. } in spoken(caution).flat_map(|text| named(&text.value)) {
            if !forbidden && !used.contains(&thing) {
                let message = format!(
                    "the caution `{}` warns of a {thing}, and no step that it stands before uses one or lists it as a tool",
                    *caution.id
                );
                let help = "Warn of what is there, or list the thing under `tools`.";
                found.add(Diagnostic::error(&caution.say.place, "caution-of-nothing", message).help(help));
                break;
            }
        }
    }
    let mut bans: BTreeMap<String, String> = BTreeMap::new();
    let library = around.library.iter().map(|beside| &**beside);
    for owner in [procedure].into_iter().chain(library.filter(|beside| beside.language == procedure.language)) {
        for caution in &owner.cautions {
            for Named { thing, forbidden, banned } in spoken(caution).flat_map(|text| named(&text.value)) {
                if forbidden && banned {
                    bans.entry(thing).or_insert_with(|| format!("`{}` of `{}`", *caution.id, owner.id));
                }
            }
        }
    }
    let ends = procedure.conclusions.iter().map(|end| (&end.id, &end.remedy));
    let steps = procedure.steps.iter().flat_map(|step| texts(step).map(move |text| (&step.id, text)));
    for (id, text) in steps.chain(ends) {
        for Named { thing, forbidden, .. } in named(&text.value) {
            if let Some(caution) = bans.get(&thing).filter(|_| !forbidden) {
                let message = format!("`{}` calls for a {thing}, and the caution {caution} forbids it", **id);
                let help = "Say another way of doing it, or forbid it here as well.";
                found.add(Diagnostic::error(&text.place, "forbidden-elsewhere", message).help(help));
            }
        }
    }
}

fn spoken(caution: &Caution) -> impl Iterator<Item = &Template> {
    [&caution.say, &caution.brief].into_iter()
}

/// What a step tells to do.
fn texts(step: &Step) -> impl Iterator<Item = &Template> {
    let choices = match &step.ask {
        Ask::Choice(choices) | Ask::Watch { choices, .. } => &choices[..],
        Ask::Reading(_) | Ask::Done(_) | Ask::Note(_) => &[],
    };
    let echoes = choices.iter().map(|choice| &choice.echo);
    [&step.say, &step.more].into_iter().chain(&step.brief).chain(echoes)
}
