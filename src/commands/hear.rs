//! `probeside hear`: what the recogniser understands in sound files, and with what confidence.

use super::engine::EngineArgs;
use crate::hear::{self, Activity};
use crate::phrase::{self, Answer, Grammar, NumberSlot, Phrase, ReadingKind, Stakes, Verdict, Vocabulary, normalise};
use crate::run::unheard;
use crate::run::{Failure, Outcome, load};
use crate::units::{Quantity, Unit};
use serde_json::json;
use std::path::{Path, PathBuf};
use std::time::Instant;

/// Placeholder for a number in `--expect`.
const NUMBER: &str = "NUMBER";

/// Arguments of `hear`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Name sound files with one answer each
    #[arg(required = true, value_name = "FILE.wav")]
    files: Vec<PathBuf>,
    /// List what may have been said: 'light on|light off|NUMBER volt'
    #[arg(long)]
    expect: String,
    #[command(flatten)]
    engine: EngineArgs,
    /// Use this vocabulary for units: a file, or a shipped one
    #[arg(long, default_value = "en", value_name = "FILE")]
    words: PathBuf,
    /// Print a line of JSON for each file
    #[arg(long)]
    json: bool,
}

/// Runs the command.
pub fn run(args: &Args) -> Outcome {
    let vocabulary = load::vocabulary(&args.words)?;
    let grammar = expected(&args.expect, &vocabulary)?;
    let mut engine = args.engine.open(vocabulary.language())?;
    engine.use_words(&vocabulary, &[]);
    let mut activity = Activity::usual().map_err(unheard)?;
    let mut code = 0;
    for file in args.files.iter().take_while(|_| !crate::terminal::is_gone()) {
        match hear::read_wav(file) {
            Ok(sound) => one(file, &sound, &mut activity, &grammar, engine.as_mut(), args.json)?,
            Err(why) => {
                crate::terminal::errln!("{why}");
                code = 1;
            }
        }
    }
    Ok(code)
}

fn one(
    file: &Path,
    sound: &[f32],
    activity: &mut Activity,
    grammar: &Grammar,
    engine: &mut dyn hear::Recogniser,
    as_json: bool,
) -> Result<(), Failure> {
    let began = Instant::now();
    let hypotheses = match activity.speech_in(sound) {
        Some(speech) => engine.hear(speech, grammar).map_err(|e| match e.is_machine() {
            true => Failure::Lacks(e.to_string()),
            false => Failure::Input(format!("{}: {e}", file.display())),
        })?,
        None => phrase::Hypotheses { stranger: 1.0, ..Default::default() },
    };
    let ms = began.elapsed().as_secs_f64() * 1e3;
    let (verdict, best) = match phrase::decide(&hypotheses, Stakes::Low) {
        Verdict::Accept { heard } => ("accept", Some(heard)),
        Verdict::Confirm { heard, .. } => ("confirm", Some(heard)),
        Verdict::Reject { .. } => ("reject", None),
    };
    let reading = match best.as_ref().map(|b| &b.answer) {
        Some(Answer::Reading(reading)) => Some(reading),
        _ => None,
    };
    let number = reading.filter(|r| matches!(r.kind, ReadingKind::Plain | ReadingKind::About));
    if as_json {
        let line = json!({
            "file": file.display().to_string(),
            "answer": best.as_ref().map(|b| &b.words),
            "value": number.map(|r| r.value),
            "unit": number.map(|r| r.unit.name()),
            "confidence": best.as_ref().map_or(0.0, |b| b.probability),
            "verdict": verdict,
            "ms": (ms * 10.0).round() / 10.0,
        });
        crate::terminal::say_json(&format!("{line}\n"));
    } else {
        let words = best.as_ref().map_or("(nothing of it)", |b| b.words.as_str());
        let sure = best.as_ref().map_or(0.0, |b| b.probability);
        let value = number.map(|r| format!(" = {} {}", r.value, r.unit)).unwrap_or_default();
        crate::terminal::outln!("{}: {verdict}: {words}{value} ({:.0} %, {ms:.0} ms)", file.display(), sure * 100.0);
    }
    Ok(())
}

/// The grammar that `--expect` describes: phrases separated by `|`, and NUMBER with a unit.
pub fn expected(text: &str, vocabulary: &Vocabulary) -> Result<Grammar, Failure> {
    let mut grammar = Grammar::default();
    for part in text.split('|').map(str::trim) {
        if let Some(unit) = part.strip_prefix(NUMBER) {
            if grammar.number.is_some() {
                return Err(Failure::Usage("--expect takes NUMBER once".into()));
            }
            let unit = unit_of(unit.trim(), vocabulary)?;
            let (low, high, resolution) = usual_range(unit);
            grammar.number = Some(NumberSlot { quantity: unit.quantity(), unit, low, high, resolution });
            continue;
        }
        let words = normalise(part);
        if words.is_empty() {
            return Err(Failure::Usage(
                "--expect has an empty phrase; write it like: --expect 'light on|light off|NUMBER volt'".into(),
            ));
        }
        grammar.phrases.push(Phrase { answer: Answer::Choice(words.clone()), words });
    }
    Ok(grammar)
}

fn unit_of(text: &str, vocabulary: &Vocabulary) -> Result<Unit, Failure> {
    if text.is_empty() {
        return Ok(Unit::One);
    }
    let known =
        |u: &&Unit| u.name() == text || [true, false].iter().any(|one| vocabulary.numbers().unit(**u, *one) == text);
    Unit::ALL.iter().find(known).copied().ok_or_else(|| {
        let all: Vec<&str> = Unit::ALL.iter().map(|u| u.name()).collect();
        Failure::Usage(format!("--expect: \"{text}\" is no unit; use a spoken one or one of {}", all.join(" ")))
    })
}

/// The range and resolution to listen for if no step sets them.
fn usual_range(unit: Unit) -> (f64, f64, f64) {
    match unit {
        Unit::One => (0.0, 1000.0, 1.0),
        Unit::Millivolt | Unit::Milliampere => (0.0, 2000.0, 1.0),
        Unit::Kilohm => (0.0, 100.0, 0.1),
        Unit::Millimetre => (0.0, 10.0, 0.01),
        _ => match unit.quantity() {
            Quantity::Voltage | Quantity::Current => (0.0, 20.0, 0.01),
            Quantity::Resistance => (0.0, 100.0, 0.1),
            Quantity::Capacitance => (0.0, 1.0, 0.01),
            Quantity::Speed => (0.0, 12_000.0, 10.0),
            Quantity::Mileage => (0.0, 200_000.0, 100.0),
            _ => (0.0, 400.0, 1.0),
        },
    }
}
