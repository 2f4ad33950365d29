//! `probeside enrol`: learns one person's voice, live or from WAV files, and forgets it again.

use crate::hear::{self, Activity, PersonalVoice};
use crate::phrase::Answer;
use crate::rehearse::stages;
use crate::run::enrolment::Learning;
use crate::run::{Failure, Outcome, load, unheard, unvoiced};
use crate::terminal::say;
use std::path::PathBuf;

/// Most takes of a phrase.
const MOST_TAKES: u64 = 12;

/// Arguments of `enrol`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Name the person
    name: String,
    /// Learn from the WAV files in this folder, named like stays-dark_1.wav (phrase, take)
    #[arg(long, value_name = "DIR", conflicts_with = "forget")]
    from: Option<PathBuf>,
    /// Learn this procedure's answers too: a file, or a shipped one
    #[arg(long, value_name = "PROCEDURE", conflicts_with_all = ["forget", "from"])]
    procedure: Option<PathBuf>,
    /// Take the procedure's words for this bike: a file, or a shipped one
    #[arg(long, value_name = "FILE", requires = "procedure")]
    bike: Option<PathBuf>,
    /// Record each phrase this many times
    #[arg(long, default_value_t = 3, value_parser = clap::value_parser!(u64).range(1..=MOST_TAKES))]
    takes: u64,
    /// Learn every way to say an answer, not only the first
    #[arg(long)]
    every: bool,
    /// Delete the voice
    #[arg(long)]
    forget: bool,
    /// Use this recogniser [default: moonshine]
    #[arg(long, value_name = "NAME")]
    engine: Option<String>,
    /// Use this vocabulary: a file, or a shipped one
    #[arg(long, default_value = "en", value_name = "FILE")]
    words: PathBuf,
}

/// Runs the command.
pub fn run(args: &Args) -> Outcome {
    let file = hear::file_of(&args.name).map_err(unvoiced)?;
    if args.forget {
        let gone = hear::forget(&args.name).map_err(unvoiced)?;
        if !gone {
            return Err(Failure::Input(format!("there is no voice of \"{}\" to forget", args.name)));
        }
        say(&format!("The voice of {} is deleted.\n", args.name));
        return Ok(0);
    }
    let phrases = if args.from.is_some() { Vec::new() } else { phrases(args)? };
    let mut engine = hear::open(args.engine.as_deref()).map_err(unheard)?;
    // A recogniser that cannot learn voices fails here, before anybody speaks.
    engine.shape(&[0.0; hear::RATE as usize / 2]).map_err(unheard)?;
    let voice = match file.exists() {
        true => PersonalVoice::read(&file).map_err(unvoiced)?,
        false => PersonalVoice::new(&args.name, engine.model()),
    };
    if voice.model() != engine.model() {
        return Err(Failure::Input(format!(
            "{}: this voice was learnt with the recogniser {}; delete it first: probeside enrol \"{}\" --forget",
            file.display(),
            voice.model(),
            args.name
        )));
    }
    let mut learning = Learning::new(Activity::usual().map_err(unheard)?, engine, voice, file);
    let code = match &args.from {
        Some(folder) => learning.files(folder)?,
        None => learning.live(&phrases, args.takes as usize)?,
    };
    say(&format!(
        "{} takes of {} phrases are kept in {}.\nUse them with: --voice-of \"{}\". Nothing of them leaves this machine; \
         'probeside enrol \"{}\" --forget' deletes them.\n",
        learning.kept(),
        learning.phrases(),
        learning.file().display(),
        args.name,
        args.name,
    ));
    Ok(code)
}

/// The phrases to learn: the vocabulary's controls, escapes, yes and no, and a procedure's answers, each in its taught wording or in all.
fn phrases(args: &Args) -> Result<Vec<String>, Failure> {
    let shipped = load::shipped();
    let words = load::find(&args.words, &shipped.join("vocabulary"));
    let vocabulary = load::vocabulary(&words)?;
    let mut all = vocabulary.done_phrases();
    all.extend(vocabulary.yes_no_phrases());
    all.extend(vocabulary.command_phrases());
    all.extend(vocabulary.escape_phrases());
    let mut found: Vec<(Option<String>, Answer, String)> = Vec::new();
    let mut keep = |step: Option<&String>, answer: &Answer, words: &String| {
        let known = found.iter().any(|(_, _, w)| w == words);
        let taught = found.iter().any(|(s, a, _)| s.as_ref() == step && a == answer);
        if !known && (args.every || !taught) {
            found.push((step.cloned(), answer.clone(), words.clone()));
        }
    };
    all.iter().for_each(|p| keep(None, &p.answer, &p.words));
    if let Some(procedure) = &args.procedure {
        let procedure = load::find(procedure, &shipped);
        let world = match &args.bike {
            Some(bike) => load::world(&procedure, &load::find(bike, &shipped.join("bikes")), &words)?,
            None => load::first_that_applies(&procedure, &words)?,
        }
        .world;
        for stage in stages(&world, &[], false).map_err(Failure::Input)? {
            for line in stage.lines.iter().filter(|l| matches!(l.answer, Answer::Choice(_))) {
                keep(stage.steps.first(), &line.answer, &line.words);
            }
        }
    }
    Ok(found.into_iter().map(|(_, _, words)| words).collect())
}
