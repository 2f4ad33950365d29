//! Loads a procedure from its YAML file and checks everything that the file alone decides: fields, types, the syntax of templates and
//! expressions, and routes that end. `check` verifies the names it uses and where it leads.

use super::decode::{TARGET_WORDS, decode};
use super::shape::PROCEDURE;
use super::{Ask, Procedure, Route, StateTemplate, Step};
use crate::expression::{self, Template};
use crate::source::tree::{self, Node};
use crate::source::{Diagnostic, read_text, template};
use std::path::Path;

/// Loads the procedure in `path`.
///
/// # Errors
/// Every error in the file, each with its place.
pub fn load(path: &Path) -> Result<Procedure, Vec<Diagnostic>> {
    let text = read_text(path).map_err(|error| vec![error])?;
    parse_named(&text, path)
}

/// Parses a procedure from the `text` of the file `path`, which must carry the procedure's name.
///
/// # Errors
/// As [`load`].
pub fn parse_named(text: &str, path: &Path) -> Result<Procedure, Vec<Diagnostic>> {
    let procedure = parse(text, &path.to_string_lossy())?;
    let stem = path.file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default();
    if stem != procedure.id {
        let message = format!("the procedure calls itself `{}` and its file is named `{stem}`", procedure.id);
        let help = "Give both the same name: calls find a procedure by its file.";
        return Err(vec![Diagnostic::error(&procedure.place, "name", message).help(help)]);
    }
    Ok(procedure)
}

/// Parses a procedure from `text`. `file` is the name used in places.
///
/// # Errors
/// As [`load`].
pub fn parse(text: &str, file: &str) -> Result<Procedure, Vec<Diagnostic>> {
    from_tree(&tree::parse(text, file)?)
}

/// Decodes a procedure from its tree.
///
/// # Errors
/// As [`load`].
pub fn from_tree(root: &Node) -> Result<Procedure, Vec<Diagnostic>> {
    let mut findings = Vec::new();
    PROCEDURE.check(root, "the file", &mut findings);
    if !findings.is_empty() {
        return Err(findings);
    }
    let procedure = decode(root);
    let mut reader = Reader { findings };
    reader.procedure(&procedure);
    if reader.findings.is_empty() { Ok(procedure) } else { Err(reader.findings) }
}

struct Reader {
    findings: Vec<Diagnostic>,
}

impl Reader {
    fn procedure(&mut self, procedure: &Procedure) {
        self.templates([&procedure.title].into_iter().chain(&procedure.opening).chain(&procedure.tools));
        self.templates(procedure.covers.iter().flatten());
        self.expressions(
            procedure.applies.iter().map(|one| &one.when).chain(procedure.works.iter().map(|one| &one.of)),
        );
        self.templates(procedure.applies.iter().filter_map(|one| one.otherwise.as_ref()));
        for caution in &procedure.cautions {
            self.templates([&caution.say, &caution.brief]);
        }
        for each in &procedure.loops {
            self.expressions([&each.over]);
            self.route(&each.then);
        }
        procedure.steps.iter().for_each(|step| self.step(step));
        for conclusion in &procedure.conclusions {
            let lists = [
                &conclusion.condemns,
                &conclusion.means,
                &conclusion.rules_out,
                &conclusion.not_tested,
                &conclusion.recheck,
            ];
            self.templates([&conclusion.cause, &conclusion.remedy].into_iter().chain(lists.into_iter().flatten()));
        }
        procedure.escapes.values().for_each(|route| self.route(route));
    }

    fn step(&mut self, step: &Step) {
        if TARGET_WORDS.contains(&step.id.as_str()) {
            let message = format!("a step cannot be named `{}`: the word stands for a target", *step.id);
            self.findings.push(Diagnostic::error(&step.id.place, "name", message).help("Choose another name."));
        }
        self.templates([&step.say, &step.more].into_iter().chain(&step.brief).chain(&step.mends));
        self.templates(step.observe.iter().flat_map(|observe| observe.templates()));
        self.state(&step.state);
        self.state(&step.assumes);
        self.expressions(&step.when);
        match (&step.when, &step.otherwise) {
            (Some(when), None) => self.findings.push(
                Diagnostic::error(&when.place, "missing-field", "a step with `when` needs `otherwise`")
                    .help("Say where it leads when the condition does not hold."),
            ),
            (None, Some(_)) => self.findings.push(
                Diagnostic::error(
                    &step.id.place,
                    "missing-field",
                    format!("the step `{}` has `otherwise` without `when`", *step.id),
                )
                .help("Add the condition or leave `otherwise` out."),
            ),
            _ => {}
        }
        self.routes(step.otherwise.iter().chain([&step.untested]));
        match &step.ask {
            Ask::Choice(choices) | Ask::Watch { choices, .. } => {
                for choice in choices {
                    self.templates(choice.phrases.iter().chain([&choice.echo]).chain(&choice.shows));
                    self.route(&choice.go);
                }
            }
            Ask::Reading(reading) => {
                self.templates([&reading.source]);
                self.expressions([&reading.low, &reading.high]);
                for band in &reading.bands {
                    self.expressions(band.from.iter().chain(&band.below));
                    self.templates(&band.say);
                    self.route(&band.go);
                }
                self.routes(&reading.over_range);
            }
            Ask::Done(route) | Ask::Note(route) => self.route(route),
        }
    }

    fn state(&mut self, state: &StateTemplate) {
        self.expressions(&state.crank);
        let pairs = state.switches.iter().flat_map(|(name, position)| [name, position]);
        let fitted = state.fit.iter().flat_map(|(name, between)| [name, &between[0], &between[1]]);
        let leads = state.instrument.iter().flat_map(|(_, first, second)| [first, second]);
        let points = state.points.iter().map(|(set, _)| set);
        let lists = [&state.unplug, &state.plug_in, &state.remove].into_iter().flatten();
        self.templates(pairs.chain(fitted).chain(leads).chain(points).chain(lists));
    }

    fn routes<'a>(&mut self, routes: impl IntoIterator<Item = &'a Route>) {
        routes.into_iter().for_each(|route| self.route(route));
    }

    fn route(&mut self, Route(conditions): &Route) {
        let last = conditions.len().saturating_sub(1);
        for (at, condition) in conditions.iter().enumerate() {
            self.expressions(&condition.when);
            let place = super::route::place(&condition.to);
            match &condition.when {
                Some(when) if at == last => self.findings.push(
                    Diagnostic::error(&when.place, "route", "the last condition of a route has a `when`")
                        .help("End with a `to` alone, so that the route always leads somewhere."),
                ),
                None if at < last => self.findings.push(
                    Diagnostic::error(place, "route", "a condition without `when` stands before the last one")
                        .help("Move it to the end, or give it a `when`."),
                ),
                _ => {}
            }
        }
    }

    fn templates<'a>(&mut self, templates: impl IntoIterator<Item = &'a Template>) {
        self.findings.extend(templates.into_iter().filter_map(|each| template::check_syntax(each).err()));
    }

    fn expressions<'a>(&mut self, expressions: impl IntoIterator<Item = &'a crate::expression::Expression>) {
        self.findings.extend(expressions.into_iter().filter_map(|each| expression::check_syntax(each).err()));
    }
}
