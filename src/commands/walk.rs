//! `probeside walk`: a procedure at the bike, by voice, by typing or from a sound file; can be resumed after an interruption.

use super::engine::EngineArgs;
use super::mouth::{may_speak, open_mouth};
use super::order::Order;
use crate::hear::{self, Ears, Recogniser};
use crate::run::unheard;
use crate::run::{Failure, KeepSound, Outcome, Session, TakenUp, digest_line, load, new_folder, say_digest, signals};
use crate::session::{Digest, Folder, JobDetails};
use crate::system::Inputs;
use std::path::{Path, PathBuf};

/// Given instead of a fault library: no advice.
const NO_FAULTS: &str = "none";

/// Arguments of `walk`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Name the procedure: a file, or a shipped one such as no-spark
    #[arg(required_unless_present = "resume")]
    procedure: Option<PathBuf>,
    /// Name the bike: a file, or a shipped one
    #[arg(long, value_name = "FILE")]
    bike: Option<PathBuf>,
    /// Take answers from the microphone, the keyboard or a WAV file
    #[arg(long, default_value = "mic", value_name = "mic|typed|FILE.wav")]
    pub(super) hear: String,
    /// Send prompts to the loudspeaker, the system's own voice, the screen or a WAV file
    #[arg(long, default_value = "aloud", value_name = "aloud|system|printed|FILE.wav")]
    say: String,
    /// Keep the record in this folder [default: sessions/DATE-TIME-BIKE]
    #[arg(long, value_name = "DIR", conflicts_with = "resume")]
    into: Option<PathBuf>,
    /// Resume the walk in this session's folder, or the open job with these words; without either, list the open jobs
    #[arg(long, value_name = "DIR|WORDS")]
    resume: Option<Option<PathBuf>>,
    #[command(flatten)]
    engine: EngineArgs,
    /// Use this vocabulary: a file, or a shipped one
    #[arg(long, default_value = "en", value_name = "FILE")]
    words: PathBuf,
    /// Advise by this fault library; none: no advice [default: the first in faults/ by the procedure]
    #[arg(long, value_name = "FILE|none", conflicts_with = "resume")]
    faults: Option<PathBuf>,
    /// Choose the order of the procedure's checks
    #[arg(long, value_enum, default_value_t, conflicts_with = "resume")]
    order: Order,
    /// Record the job's number, or the registration
    #[arg(long, default_value = "", value_name = "NUMBER", conflicts_with = "resume")]
    job: String,
    /// Record the customer's complaint
    #[arg(long, default_value = "")]
    complaint: String,
    /// Record the odometer's reading
    #[arg(long, default_value = "")]
    mileage: String,
    /// Record the temperature in the workshop
    #[arg(long, value_name = "DEGREES_CELSIUS", allow_negative_numbers = true, value_parser = degrees)]
    temperature: Option<f64>,
    /// Record a lamp, meter or tester in use; repeat for more
    #[arg(long = "instrument", value_name = "WHAT")]
    instruments: Vec<String>,
    /// Record who does the work
    #[arg(long, default_value = "")]
    person: String,
    /// Choose which sound the record keeps
    #[arg(long, value_enum, default_value_t, conflicts_with = "resume")]
    keep_sound: Keep,
    /// Let answers cut questions short; needs --hear mic and --say aloud
    #[arg(long)]
    bargein: bool,
}

/// What `--keep-sound` may be.
#[derive(Debug, Clone, Copy, Default, clap::ValueEnum)]
enum Keep {
    /// Keep the sound of answers
    #[default]
    Answers,
    /// Keep all that the microphone hears, from the beginning to the end
    Everything,
    /// Keep no sound
    Nothing,
}

impl From<Keep> for KeepSound {
    fn from(keep: Keep) -> Self {
        match keep {
            Keep::Answers => Self::Answers,
            Keep::Everything => Self::Everything,
            Keep::Nothing => Self::Nothing,
        }
    }
}

/// Parses a temperature of a workplace.
fn degrees(text: &str) -> Result<f64, String> {
    const COLDEST: f64 = -60.0;
    const HOTTEST: f64 = 60.0;
    let found = text.parse().ok().filter(|degrees: &f64| (COLDEST..=HOTTEST).contains(degrees));
    found.ok_or_else(|| format!("it is in degrees Celsius, from {COLDEST} to {HOTTEST}"))
}

/// Runs the command.
pub fn run(args: &Args) -> Outcome {
    signals::register();
    if args.hear == "mic" && args.say == "printed" {
        tracing::info!("prompts are printed while the microphone listens");
    }
    if args.bargein && (args.hear != "mic" || args.say != "aloud") {
        let why = "--bargein has to hear what it plays; add --hear mic and --say aloud";
        return Err(Failure::Usage(why.into()));
    }
    match &args.resume {
        Some(None) => super::jobs::list(),
        Some(Some(wanted)) => resume(args, &super::jobs::find(wanted)?),
        None => begin(args),
    }
}

fn begin(args: &Args) -> Outcome {
    let shipped = load::shipped();
    let procedure = load::find(args.procedure.as_deref().unwrap_or(Path::new("")), &shipped);
    let Some(bike) = &args.bike else {
        return Err(Failure::Usage(
            "no bike is named; give its profile with --bike FILE: the shipped ones are in procedures/bikes".into(),
        ));
    };
    let bike = load::find(bike, &shipped.join("bikes"));
    let words = load::find(&args.words, &shipped.join("vocabulary"));
    let mut loaded = load::world(&procedure, &bike, &words)?;
    match &args.faults {
        Some(none) if none == Path::new(NO_FAULTS) => {}
        Some(file) => loaded = loaded.with_faults(file)?,
        None => loaded = loaded.with_faults(&load::usual_faults(&procedure))?,
    }
    let best = args.order.is_best_for(&loaded.world)?;
    if best && loaded.faults.is_none() {
        return Err(Failure::Usage(
            "--order best weighs the faults that are left; name a fault library with --faults".into(),
        ));
    }
    let name = format!("{} {}", args.job, loaded.world.bike.name);
    let into = args.into.clone().unwrap_or_else(|| new_folder(&name));
    let job = JobDetails {
        number: args.job.clone(),
        bike: loaded.world.bike.name.clone(),
        complaint: args.complaint.clone(),
        mileage: args.mileage.clone(),
        temperature_c: args.temperature,
        instruments: args.instruments.clone(),
        person: args.person.clone(),
    };
    may_speak(&args.say, &Inputs::of([&procedure, &bike, &words, Path::new(&args.hear)]), &into)?;
    let session = Session::begin(loaded, &into, job, args.keep_sound.into(), best)?;
    walk(session, args)
}

fn resume(args: &Args, folder: &Path) -> Outcome {
    may_speak(&args.say, &Inputs::of([&args.hear]), folder)?;
    if let Some(warning) = Folder::at(folder).open_to_others() {
        crate::terminal::errln!("{warning}");
    }
    match Session::resume(folder)? {
        TakenUp::Walk(session) => walk(*session, args),
        TakenUp::Ended { world, digest } => say_it_is_ended(args, folder, &world, &digest),
    }
}

/// Reports that the record of a walk that had already ended is now closed.
fn say_it_is_ended(args: &Args, folder: &Path, world: &crate::walk::World, digest: &Digest) -> Outcome {
    crate::terminal::errln!("This walk had come to its end before it broke off; now its record is closed, too.");
    crate::terminal::errln!("{}", digest_line(folder, digest));
    let (to_mouth, mut from_mouth) = tokio::sync::mpsc::unbounded_channel();
    match open_mouth(&args.say, to_mouth, None) {
        Ok(mut mouth) => say_digest(digest, world, &mut *mouth, &mut from_mouth)?,
        // The work is done, and the digest is on the screen.
        Err(why) => crate::terminal::errln!("{why}"),
    }
    Ok(0)
}

/// Opens the ears, mouth and recogniser, and walks the session with them.
fn walk(session: Session, args: &Args) -> Outcome {
    let session = session.speaking_over(args.bargein);
    let (to_ears, from_ears) = tokio::sync::mpsc::unbounded_channel();
    let recogniser: Option<Box<dyn Recogniser>> = match args.hear.as_str() {
        "typed" => None,
        _ => Some(args.engine.open(session.world.vocabulary.language())?),
    };
    let activity = || hear::Activity::usual().map_err(unheard);
    let mut pedal = None;
    let (heard, played) = args.bargein.then(hear::reference).unzip();
    let ears: Box<dyn Ears> = match args.hear.as_str() {
        "typed" => Box::new(hear::Typed::from_stdin(to_ears)),
        "mic" => {
            pedal = hear::Pedal::start(to_ears.clone(), signals::key_pressed);
            let activity = activity()?;
            let mic = match played {
                Some(played) => hear::Mic::start_over(to_ears, activity, played),
                None => hear::Mic::start(to_ears, activity),
            };
            Box::new(mic.map_err(|e| Failure::Lacks(e.to_string()))?)
        }
        file => {
            let ears = hear::WavEars::new(to_ears, activity()?, Path::new(file));
            Box::new(ears.map_err(|e| Failure::Input(e.to_string()))?)
        }
    };
    let (to_mouth, from_mouth) = tokio::sync::mpsc::unbounded_channel();
    let mouth = open_mouth(&args.say, to_mouth, heard)?;
    let end = session.drive(ears, from_ears, mouth, from_mouth, recogniser, None);
    drop(pedal);
    let end = end?;
    if let Some(line) = end.delays_in_words() {
        tracing::info!("{line}");
    }
    Ok(end.code)
}
