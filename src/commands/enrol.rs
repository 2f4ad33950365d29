//! `probeside enrol`: learns one person's voice, live or from WAV files, and forgets it again.

use super::engine::{unheard, unvoiced};
use crate::hear::takes::{TakeFault, examine, grammar_of, phrase_of};
use crate::hear::{self, Activity, EarEvent, Ears, Mic, PersonalVoice, Recogniser, Take};
use crate::phrase::{Answer, Grammar};
use crate::rehearse::stages;
use crate::run::{Failure, Outcome, load};
use crate::terminal::say;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};
use tokio::sync::mpsc::{UnboundedReceiver, unbounded_channel};

/// How long somebody may take to begin to speak.
const PATIENCE: Duration = Duration::from_secs(10);
/// Tries at one take before the phrase is left as it is.
const MOST_TRIES: usize = 3;
/// Silences one after another after which nobody seems to be there.
const MOST_SILENCES: usize = 3;
/// Takes of a phrase at most.
const MOST_TAKES: u64 = 12;

/// Arguments of `enrol`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Whose voice
    name: String,
    /// Learn from WAV files in this folder, named PHRASE_TAKE.wav with spaces as "-": stays-dark_1.wav
    #[arg(long, value_name = "DIR", conflicts_with = "forget")]
    from: Option<PathBuf>,
    /// Learn this procedure's answers too: a file, or the name of a shipped one
    #[arg(long, value_name = "PROCEDURE", conflicts_with_all = ["forget", "from"])]
    procedure: Option<PathBuf>,
    /// The bike for the procedure's phrases: a file, or the name of a shipped one
    #[arg(long, value_name = "FILE", requires = "procedure")]
    bike: Option<PathBuf>,
    /// Takes of each phrase
    #[arg(long, default_value_t = 3, value_parser = clap::value_parser!(u64).range(1..=MOST_TAKES))]
    takes: u64,
    /// Learn every wording, not only the one that is taught
    #[arg(long)]
    every: bool,
    /// Delete the voice
    #[arg(long)]
    forget: bool,
    /// The recogniser [default: moonshine]
    #[arg(long, value_name = "NAME")]
    engine: Option<String>,
    /// The vocabulary: a file, or the name of a shipped one
    #[arg(long, default_value = "en", value_name = "FILE")]
    words: PathBuf,
}

/// Runs the command.
pub fn run(args: &Args) -> Outcome {
    let file = hear::file_of(&args.name).map_err(unvoiced)?;
    if args.forget {
        let gone = hear::forget(&args.name).map_err(unvoiced)?;
        if !gone {
            return Err(Failure::Input(format!("There is no voice of \"{}\" to forget.", args.name)));
        }
        say(&format!("The voice of {} is deleted.\n", args.name));
        return Ok(0);
    }
    let phrases = if args.from.is_some() { Vec::new() } else { phrases(args)? };
    let mut engine = hear::open(args.engine.as_deref()).map_err(unheard)?;
    // A recogniser that cannot learn voices says so before anybody speaks.
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
    let mut learning =
        Learning { activity: Activity::usual().map_err(unheard)?, engine, voice, file, kept: 0, phrases: 0 };
    let code = match &args.from {
        Some(folder) => learning.files(folder)?,
        None => learning.live(&phrases, args.takes as usize)?,
    };
    say(&format!(
        "{} takes of {} phrases are kept in {}.\nUse them with: --voice-of \"{}\". Nothing of them leaves this machine; \
         'probeside enrol \"{}\" --forget' deletes them.\n",
        learning.kept,
        learning.phrases,
        learning.file.display(),
        args.name,
        args.name,
    ));
    Ok(code)
}

/// What is to be learnt: the vocabulary's controls, escapes, yes and no, and a procedure's answers; the taught wording or every.
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

struct Learning {
    activity: Activity,
    engine: Box<dyn Recogniser>,
    voice: PersonalVoice,
    file: PathBuf,
    kept: usize,
    phrases: usize,
}

impl Learning {
    /// Keeps the takes of one phrase in place of older ones, on disk at once.
    fn keep(&mut self, words: &str, takes: Vec<Take>) -> Result<(), Failure> {
        if takes.is_empty() {
            return Ok(());
        }
        self.kept += takes.len();
        self.phrases += 1;
        self.voice.forget(words);
        takes.into_iter().for_each(|take| self.voice.add(take));
        self.voice.keep(&self.file).map_err(unvoiced)
    }

    fn look(
        &mut self,
        sound: &[f32],
        words: &str,
        others: &[Take],
        grammar: &Grammar,
    ) -> Result<Result<Take, TakeFault>, Failure> {
        examine(&mut self.activity, self.engine.as_mut(), sound, words, others, grammar)
            .map_err(|e| Failure::Input(format!("\"{words}\": {e}")))
    }

    /// Learns from files; 1 when one was of no use.
    fn files(&mut self, folder: &Path) -> Outcome {
        let entries = std::fs::read_dir(folder)
            .map_err(|e| Failure::Input(format!("{}: this folder cannot be read: {e}.", folder.display())))?;
        let mut files: Vec<PathBuf> = entries.filter_map(|e| Some(e.ok()?.path())).collect();
        files.retain(|f| f.extension().is_some_and(|e| e.eq_ignore_ascii_case("wav")));
        files.sort();
        let mut by: BTreeMap<String, Vec<PathBuf>> = BTreeMap::new();
        let mut code = 0;
        for file in files {
            match phrase_of(&file.file_stem().unwrap_or_default().to_string_lossy()) {
                Some(words) => by.entry(words).or_default().push(file),
                None => {
                    crate::terminal::errln!("{}: name it PHRASE_TAKE.wav, such as stays-dark_1.wav.", file.display());
                    code = 1;
                }
            }
        }
        if by.is_empty() {
            return Err(Failure::Input(format!(
                "{}: there is no recording in it; name them PHRASE_TAKE.wav, such as stays-dark_1.wav.",
                folder.display()
            )));
        }
        let grammar = grammar_of(&by.keys().cloned().collect::<Vec<_>>());
        for (words, files) in by {
            let mut takes = Vec::new();
            for file in files {
                let sound = match hear::read_wav(&file) {
                    Ok(sound) => sound,
                    Err(why) => {
                        crate::terminal::errln!("{why}");
                        code = 1;
                        continue;
                    }
                };
                match self.look(&sound, &words, &takes, &grammar)? {
                    Ok(take) => takes.push(take),
                    Err(fault) => {
                        crate::terminal::errln!("{}: this take of \"{words}\" is not kept: {fault}.", file.display());
                        code = 1;
                    }
                }
            }
            self.keep(&words, takes)?;
        }
        Ok(code)
    }

    /// Asks for every phrase at the microphone; 1 when one could not be learnt.
    fn live(&mut self, phrases: &[String], takes: usize) -> Outcome {
        let (to, mut from) = unbounded_channel();
        let mut mic = Mic::start(to, Activity::usual().map_err(unheard)?).map_err(|e| Failure::Lacks(e.to_string()))?;
        let grammar = grammar_of(phrases);
        say(&format!(
            "{} phrases, {takes} takes of each. Speak as you would at the bike, after each line. Ctrl-C ends it; what was learnt is kept.\n",
            phrases.len()
        ));
        let (mut code, mut silences) = (0, 0);
        for (at, words) in phrases.iter().enumerate() {
            let mut kept: Vec<Take> = Vec::new();
            let mut tries = 0;
            while kept.len() < takes && tries < MOST_TRIES {
                say(&format!("{:>3} of {}  {words}  ({} of {takes})\n", at + 1, phrases.len(), kept.len() + 1));
                let Some(sound) = next(&mut mic, &mut from) else {
                    silences += 1;
                    tries += 1;
                    if silences >= MOST_SILENCES {
                        self.keep(words, kept)?;
                        return Err(Failure::Input(
                            "Nobody was heard three times. 'probeside soundcheck' says how the microphone stands."
                                .into(),
                        ));
                    }
                    continue;
                };
                silences = 0;
                match self.look(&sound, words, &kept, &grammar)? {
                    Ok(take) => {
                        kept.push(take);
                        tries = 0;
                    }
                    Err(fault) => {
                        tries += 1;
                        say(&format!("          not kept: {fault}. Once more:\n"));
                    }
                }
            }
            if kept.is_empty() {
                say(&format!("          \"{words}\" is left as it is.\n"));
                code = 1;
            }
            self.keep(words, kept)?;
        }
        Ok(code)
    }
}

/// The next utterance at the microphone.
fn next(mic: &mut Mic, from: &mut UnboundedReceiver<EarEvent>) -> Option<Vec<f32>> {
    while from.try_recv().is_ok() {}
    mic.open();
    let until = Instant::now() + PATIENCE;
    let mut heard = None;
    let mut speaking = false;
    while heard.is_none() && (Instant::now() < until || speaking) {
        match from.try_recv() {
            Ok(EarEvent::Began { .. }) => speaking = true,
            Ok(EarEvent::Utterance(utterance)) if utterance.last => heard = Some(utterance.sound.to_vec()),
            Ok(EarEvent::Lost(why)) => {
                crate::terminal::errln!("{why}");
                speaking = false;
            }
            Ok(_) => {}
            Err(_) => std::thread::sleep(Duration::from_millis(5)),
        }
    }
    mic.close();
    heard
}
