//! The stages of a rehearsal: each distinct grammar in a procedure's steps for a bike, with the lines to speak.

use crate::check::stops;
use crate::phrase::{Answer, Command, Grammar, NumberSlot, Phrase, Reading, ReadingKind, Vocabulary, sound};
use crate::walk::{World, asked};

/// A spoken command this close to one of a step's own answers is also spoken at that step. Others are spoken only once, at no step.
const NEAR: f64 = 3.0;
/// Positions within a reading's range at which numbers are taken.
const NUMBERS_AT: [f64; 4] = [0.17, 0.42, 0.61, 0.88];

/// One grammar, the steps that use it, and the lines spoken against it.
#[derive(Debug, Clone)]
pub struct Stage {
    /// Steps with this grammar. Empty for phrases allowed at any step, or while a confirmation is pending.
    pub steps: Vec<String>,
    /// Its name in reports.
    pub name: String,
    /// The grammar.
    pub grammar: Grammar,
    /// Answers with high stakes.
    pub high: Vec<Answer>,
    /// The lines to speak, with their meanings.
    pub lines: Vec<Phrase>,
}

impl Stage {
    /// Its steps, or its own name if it has none.
    pub fn names(&self) -> Vec<String> {
        if self.steps.is_empty() { vec![self.name.clone()] } else { self.steps.clone() }
    }
}

/// Every distinct grammar of the procedures in `world` for its bike, or only those of the steps in `only` if any are named. With `all`,
/// every spoken command is spoken at every step.
///
/// # Errors
/// A phrase or limit that cannot be evaluated, or an unknown step in `only`.
pub fn stages(world: &World, only: &[String], all: bool) -> Result<Vec<Stage>, String> {
    let main = &world.procedures[&world.main];
    let others = world.procedures.values().filter(|p| p.id != main.id);
    let stops = stops([main].into_iter().chain(others).collect(), &world.bike, &world.vocabulary);
    let words = &world.vocabulary;
    let mut found: Vec<Stage> = if only.is_empty() { common(words) } else { Vec::new() };
    let first_step = found.len();
    for stop in &stops {
        let id = &stop.step.id.value;
        if !only.is_empty() && !only.contains(id) {
            continue;
        }
        let (grammar, high) = asked(world, stop.procedure, stop.step, &stop.scope)
            .map_err(|why| format!("step {id}: {why}; 'probeside check' says more."))?;
        let same = found[first_step..].iter_mut().find(|s| s.grammar == grammar && s.high == high);
        match same {
            Some(stage) if stage.steps.contains(id) => {}
            Some(stage) => stage.steps.push(id.clone()),
            None => {
                let lines = lines(&grammar, words, all);
                found.push(Stage { steps: vec![id.clone()], name: id.clone(), grammar, high, lines });
            }
        }
    }
    if let Some(missing) = only.iter().find(|id| stops.iter().all(|s| s.step.id.value != **id)) {
        return Err(format!("{}: no step `{missing}` is come to on this bike.", main.place.file));
    }
    Ok(found)
}

/// Phrases allowed at any step, and while a confirmation is pending.
fn common(words: &Vocabulary) -> Vec<Stage> {
    let mut commands = words.command_phrases();
    commands.retain(|p| p.answer != Answer::Command(Command::Resume));
    let stage = |name: &str, first: Vec<Phrase>, then: Vec<Phrase>| {
        let phrases: Vec<Phrase> = first.into_iter().chain(commands.clone()).chain(then).collect();
        let grammar = Grammar { phrases: phrases.clone(), ..Grammar::default() };
        Stage { steps: Vec::new(), name: name.to_owned(), grammar, high: Vec::new(), lines: phrases }
    };
    let mut asked = stage("a confirmation", words.yes_no_phrases(), Vec::new());
    asked.lines.retain(|p| matches!(p.answer, Answer::Yes | Answer::No));
    vec![stage("any step", words.done_phrases(), words.escape_phrases()), asked]
}

/// A step's own answers, numbers outside its range, and the spoken commands close to its answers.
fn lines(grammar: &Grammar, words: &Vocabulary, all: bool) -> Vec<Phrase> {
    let shared = |p: &Phrase| matches!(p.answer, Answer::Command(_) | Answer::Escape(_) | Answer::Done);
    let language = words.language();
    let (controls, mut own): (Vec<&Phrase>, Vec<&Phrase>) = grammar.phrases.iter().partition(|p| shared(p));
    let near = |control: &&Phrase| all || own.iter().any(|p| sound::apart(&p.words, &control.words, language) < NEAR);
    let near: Vec<&Phrase> = controls.into_iter().filter(near).collect();
    own.extend(near);
    let mut lines: Vec<Phrase> = own.into_iter().cloned().collect();
    lines.extend(grammar.number.iter().flat_map(|slot| numbers(slot, words)));
    lines
}

/// A few values of a slot, as spoken.
fn numbers(slot: &NumberSlot, words: &Vocabulary) -> Vec<Phrase> {
    let step = if slot.resolution > 0.0 { slot.resolution } else { 1.0 };
    let mut found: Vec<Phrase> = Vec::new();
    for share in NUMBERS_AT {
        let value = ((slot.low + share * (slot.high - slot.low)) / step).round() * step;
        let reading = Reading { kind: ReadingKind::Plain, value, unit: slot.unit, said_unit: None };
        let said = words.say_number(value, slot.unit, slot.resolution);
        if value.is_finite() && found.iter().all(|p| p.words != said) {
            found.push(Phrase { words: said, answer: Answer::Reading(reading) });
        }
    }
    found
}

/// An answer's name in reports: a choice's id, "command repeat", "escape flickers", "12.4 V".
pub fn answer_name(answer: &Answer) -> String {
    match answer {
        Answer::Choice(id) => id.clone(),
        Answer::Reading(r) => match r.kind {
            ReadingKind::Plain | ReadingKind::About => format!("{} {}", (r.value * 1e6).round() / 1e6, r.unit),
            ReadingKind::OverRange => "over range".to_owned(),
            ReadingKind::NoReading => "no reading".to_owned(),
        },
        Answer::Done => "done".to_owned(),
        Answer::PowerOff => "power off".to_owned(),
        Answer::Yes => "yes".to_owned(),
        Answer::No => "no".to_owned(),
        Answer::Command(command) => format!("command {}", command.name()),
        Answer::Escape(escape) => format!("escape {}", escape.name()),
        Answer::Note(_) => "note".to_owned(),
        Answer::Sum(name) => format!("sum {name}"),
    }
}
