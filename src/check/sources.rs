//! Checks that figures and limits say where they come from.
//!
//! Why it matters: "half a volt may be lost" is a claim. The reader of the report has to know whether a standard, the bike's maker or habit made
//! it.
//!
//! Example finding: ``the step `set-gap` says "0.4 millimetres", and not where that comes from``
//!
//! A figure in a template (`{{ ... }}`) comes from the bike's profile or from a reading and has its source there. A reading's limits have their
//! own `source`.

use super::findings::Findings;
use crate::expression::Template;
use crate::phrase::Vocabulary;
use crate::procedure::{Ask, Procedure};
use crate::source::Diagnostic;

/// Placeholders that are no source.
const EMPTY: [&str; 7] = ["", "?", "-", "todo", "unknown", "none", "n/a"];

pub(super) fn check(procedure: &Procedure, found: &mut Findings) {
    let Some(words) = super::ear::words_for(procedure) else { return };
    let mut look = Look { words, found };
    for caution in &procedure.cautions {
        look.texts("caution", &caution.id, &caution.source, [&caution.say, &caution.brief]);
    }
    for step in &procedure.steps {
        let mut texts: Vec<&Template> = [&step.say, &step.more].into_iter().chain(&step.brief).collect();
        let mut source = step.source.as_ref();
        match &step.ask {
            Ask::Choice(choices) | Ask::Watch { choices, .. } => texts.extend(choices.iter().map(|c| &c.echo)),
            Ask::Reading(reading) => {
                look.says_something(&reading.source);
                texts.extend(reading.bands.iter().filter_map(|band| band.say.as_ref()));
                source = source.or(Some(&reading.source));
            }
            Ask::Done(_) | Ask::Note(_) => {}
        }
        look.texts("step", &step.id, &source.cloned(), texts);
    }
    for conclusion in &procedure.conclusions {
        let lists = [&conclusion.rules_out, &conclusion.not_tested, &conclusion.recheck].into_iter().flatten();
        let texts = [&conclusion.cause, &conclusion.remedy].into_iter().chain(lists);
        look.texts("conclusion", &conclusion.id, &conclusion.source, texts);
    }
}

struct Look<'a> {
    words: &'static Vocabulary,
    found: &'a mut Findings,
}

impl Look<'_> {
    fn texts<'t>(
        &mut self,
        what: &str,
        id: &str,
        source: &Option<Template>,
        texts: impl IntoIterator<Item = &'t Template>,
    ) {
        if let Some(source) = source {
            return self.says_something(source);
        }
        for text in texts {
            if let Some(figure) = self.words.figures_in(&without_templates(text)).into_iter().next() {
                let message = format!("the {what} `{id}` says \"{figure}\", and not where that comes from");
                let help =
                    "Add `source:` with a standard, a handbook, \"this profile\", or \"common practice, no source\".";
                self.found.add(Diagnostic::warning(&text.place, "no-source", message).help(help));
                return;
            }
        }
    }

    fn says_something(&mut self, source: &Template) {
        if EMPTY.contains(&source.trim().to_lowercase().as_str()) {
            let message = format!("\"{}\" is no source", source.value);
            let help = "Name a standard, a handbook, the bike's profile, or write \"common practice, no source\".";
            self.found.add(Diagnostic::error(&source.place, "no-source", message).help(help));
        }
    }
}

/// The text without its templates. A separator keeps the text on both sides apart.
fn without_templates(text: &str) -> String {
    let mut out = String::new();
    let mut rest = text;
    while let Some(at) = [rest.find("{{"), rest.find("{%")].into_iter().flatten().min() {
        out.push_str(&rest[..at]);
        out.push_str(" ; ");
        let end = if rest[at..].starts_with("{{") { "}}" } else { "%}" };
        rest = rest[at..].find(end).map_or("", |length| &rest[at + length + end.len()..]);
    }
    out + rest
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_filled_in_is_no_figure() {
        assert_eq!(
            without_templates("{{ bike.volt }} volt, {% if x %}12{% endif %} A {{ open"),
            " ;  volt,  ; 12 ;  A  ; "
        );
        let figures = |text: &str| Vocabulary::english().figures_in(&without_templates(text));
        assert_eq!(figures("Use the {{ bike.volt }} volt lamp."), Vec::<String>::new());
        assert_eq!(figures("Cut it back 6 millimetres, turn two turns."), ["6 millimetres"]);
        assert_eq!(figures("Less than half a volt, at most point two volts."), ["half a volt", "two volts"]);
    }
}
