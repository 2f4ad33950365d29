//! `probeside walk`: a procedure at the bike, by voice, by typing or from a sound file; resumed after an interruption.

use super::clock::{Clock, rfc3339, since_ms};
use super::drive::{Driver, Moment, Sources};
use super::load::{self, Loaded};
use super::outcome::{Failure, Outcome};
use crate::hear::{self, Ears, Recogniser};
use crate::session::{Entry, Folder, Header, Journal, Record, Writer};
use crate::speak::{self, Mouth};
use crate::walk::{Effect, Event, Walker};
use std::cell::RefCell;
use std::path::{Path, PathBuf};
use std::rc::Rc;
use std::sync::Arc;

/// Arguments of `walk`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The procedure: a file, or the name of a shipped one such as no-spark
    #[arg(required_unless_present = "resume")]
    procedure: Option<PathBuf>,
    /// The bike's profile: a file, or the name of a shipped one
    #[arg(long, value_name = "FILE")]
    bike: Option<PathBuf>,
    /// Where answers come from: mic, typed, or a WAV file whose utterances answer one by one
    #[arg(long, default_value = "mic", value_name = "mic|typed|FILE.wav")]
    hear: String,
    /// Where prompts go: aloud, system (the system's own voice), printed, or a WAV file
    #[arg(long, default_value = "aloud", value_name = "aloud|system|printed|FILE.wav")]
    say: String,
    /// The folder for this session's record; made if need be [default: sessions/DATE-TIME-PROCEDURE]
    #[arg(long, value_name = "DIR", conflicts_with = "resume")]
    into: Option<PathBuf>,
    /// Go on with the walk in this session's folder
    #[arg(long, value_name = "DIR")]
    resume: Option<PathBuf>,
    /// The recogniser [default: moonshine]
    #[arg(long, value_name = "NAME")]
    engine: Option<String>,
    /// The vocabulary: a file, or the name of a shipped one
    #[arg(long, default_value = "en", value_name = "FILE")]
    words: PathBuf,
    /// What the customer complains of, for the record
    #[arg(long, default_value = "")]
    complaint: String,
    /// Odometer reading, for the record
    #[arg(long, default_value = "")]
    mileage: String,
    /// Temperature where the work is done, for the record
    #[arg(long, default_value = "")]
    temperature: String,
    /// Test lamp, meter and tester used, for the record
    #[arg(long, default_value = "")]
    instruments: String,
    /// Who does the work, for the record
    #[arg(long, default_value = "")]
    person: String,
}

/// What is written on the job card.
#[derive(Debug, Clone, Default)]
pub struct Job {
    pub complaint: String,
    pub mileage: String,
    pub temperature: String,
    pub instruments: String,
    pub person: String,
}

/// Runs the command.
pub fn run(args: &Args) -> Outcome {
    if args.hear == "mic" && args.say == "printed" {
        tracing::info!("prompts are printed while the microphone listens");
    }
    match &args.resume {
        Some(folder) => resume(args, folder),
        None => begin(args),
    }
}

fn begin(args: &Args) -> Outcome {
    let shipped = load::shipped();
    let procedure = load::find(args.procedure.as_deref().unwrap_or(Path::new("")), &shipped);
    let Some(bike) = &args.bike else {
        return Err(Failure::Usage(
            "Which bike? Give its profile with --bike FILE; the shipped ones are in procedures/bikes.".into(),
        ));
    };
    let bike = load::find(bike, &shipped.join("bikes"));
    let words = load::find(&args.words, &shipped.join("vocabulary"));
    let loaded = load::world(&procedure, &bike, &words)?;
    let into = args.into.clone().unwrap_or_else(|| {
        let at = jiff::Zoned::now().strftime("%Y-%m-%d-%H%M%S").to_string();
        Path::new("sessions").join(format!("{at}-{}", loaded.world.main))
    });
    let job = Job {
        complaint: args.complaint.clone(),
        mileage: args.mileage.clone(),
        temperature: args.temperature.clone(),
        instruments: args.instruments.clone(),
        person: args.person.clone(),
    };
    let session = Session::begin(loaded, &into, &job)?;
    session.walk(&args.hear, &args.say, args.engine.as_deref())
}

fn resume(args: &Args, folder: &Path) -> Outcome {
    Session::resume(folder)?.walk(&args.hear, &args.say, args.engine.as_deref())
}

/// A session that is about to be walked.
pub struct Session {
    pub walker: Walker,
    pub journal: Journal,
    pub first: Vec<Event>,
    pub folder: PathBuf,
    pub world: Arc<crate::walk::World>,
    base_ms: u64,
    /// Records that a replay asked for and the journal does not have, in order.
    missing: Vec<(u64, Record, bool)>,
}

impl Session {
    /// A new session in `folder`, which must be empty or new.
    pub fn begin(loaded: Loaded, folder: &Path, job: &Job) -> Result<Self, Failure> {
        let Loaded { world, files } = loaded;
        let header = Header {
            began: rfc3339(&jiff::Zoned::now()),
            procedure: world.main.clone(),
            bike: world.bike.name.clone(),
            complaint: job.complaint.clone(),
            mileage: job.mileage.clone(),
            temperature: job.temperature.clone(),
            instruments: job.instruments.clone(),
            person: job.person.clone(),
            ..Header::default()
        };
        let storage = Folder::create(folder).map_err(|e| Failure::Input(e.to_string()))?;
        let journal =
            Journal::create(Box::new(storage), header, files).map_err(|e| Failure::Input(e.to_string()))?;
        let world = Arc::new(world);
        Ok(Self {
            walker: Walker::new(world.clone()),
            journal,
            first: vec![Event::Begin],
            folder: folder.to_path_buf(),
            world,
            base_ms: 0,
            missing: Vec::new(),
        })
    }

    /// The session in `folder`, replayed up to where it broke off.
    pub fn resume(folder: &Path) -> Result<Self, Failure> {
        let bad = |e: crate::session::JournalError| Failure::Input(e.to_string());
        let storage = Folder::open(folder).map_err(bad)?;
        let (journal, entries, repair) = Journal::open(Box::new(storage)).map_err(bad)?;
        if let Some(words) = repair.in_words() {
            eprintln!("{words}");
        }
        let main = journal.header().procedure.clone();
        let copies = folder.join(load::PROCEDURE_COPIES);
        let loaded = load::world(
            &copies.join(format!("{main}.yaml")),
            &folder.join(load::BIKE_COPY),
            &folder.join(load::VOCABULARY_COPY),
        )?;
        let world = Arc::new(loaded.world);
        let mut session = Self {
            walker: Walker::new(world.clone()),
            journal,
            first: Vec::new(),
            folder: folder.to_path_buf(),
            world,
            base_ms: 0,
            missing: Vec::new(),
        };
        session.replay(&entries)?;
        Ok(session)
    }

    /// Feeds the journal's events to a new walker; its records must be the journal's.
    fn replay(&mut self, entries: &[Entry]) -> Result<(), Failure> {
        let mut stored = Vec::new();
        let mut asked = Vec::new();
        let mut begun = false;
        for entry in entries {
            match entry.kind.as_str() {
                "event" => {
                    let event: Event = serde_json::from_value(entry.body.clone())
                        .map_err(|e| Failure::Input(format!("Entry {} of the journal is not understood: {e}.", entry.seq)))?;
                    begun |= event == Event::Begin;
                    for effect in self.walker.handle(event, &entry.now()) {
                        if let Effect::Record { id, record, sync } = effect {
                            asked.push((id, record, sync));
                        }
                    }
                }
                "record" => stored.push((entry.seq, entry.body.get("record").cloned().unwrap_or_default())),
                _ => {}
            }
        }
        for (at, (seq, body)) in stored.iter().enumerate() {
            let same = asked.get(at).is_some_and(|(_, r, _)| serde_json::to_value(r).ok().as_ref() == Some(body));
            if !same {
                return Err(Failure::Input(format!(
                    "The journal does not fit what its own events lead to (entry {seq}): it was altered, or written by another version. \
                     Read it with: probeside review {}",
                    self.folder.display()
                )));
            }
        }
        self.missing = asked.split_off(stored.len().min(asked.len()));
        if self.walker.is_over() {
            return Err(Failure::Input(format!(
                "This walk is over. Read it with: probeside review {}",
                self.folder.display()
            )));
        }
        let last = entries.last();
        let gap_ms = last.map_or(0, |e| since_ms(&e.wall));
        self.base_ms = last.map_or(0, |e| e.mono_ms) + gap_ms;
        if !begun {
            self.first = vec![Event::Begin];
            return Ok(());
        }
        if let Some(id) = self.walker.waits_for_record() {
            self.first.push(Event::Recorded { id });
        }
        self.first.push(Event::Resumed { gap_ms });
        Ok(())
    }

    fn walk(self, hear: &str, say: &str, engine: Option<&str>) -> Outcome {
        let (to_ears, from_ears) = tokio::sync::mpsc::unbounded_channel();
        let recogniser: Option<Box<dyn Recogniser>> = match hear {
            "typed" => None,
            _ => Some(open_engine(engine)?),
        };
        let ears: Box<dyn Ears> = match hear {
            "typed" => Box::new(hear::Typed::from_stdin(to_ears)),
            "mic" => Box::new(hear::Microphone::open(to_ears).map_err(|e| Failure::Lacks(e.to_string()))?),
            file => Box::new(hear::WavFile::open(Path::new(file), to_ears).map_err(|e| Failure::Input(e.to_string()))?),
        };
        let (to_mouth, from_mouth) = tokio::sync::mpsc::unbounded_channel();
        let mouth = open_mouth(say, to_mouth)?;
        self.drive(ears, from_ears, mouth, from_mouth, recogniser, None).map(|end| end.code)
    }

    /// Walks to the end with these ears and this mouth.
    pub fn drive(
        mut self,
        ears: Box<dyn Ears>,
        from_ears: tokio::sync::mpsc::UnboundedReceiver<hear::EarEvent>,
        mouth: Box<dyn Mouth>,
        from_mouth: tokio::sync::mpsc::UnboundedReceiver<speak::MouthEvent>,
        recogniser: Option<Box<dyn Recogniser>>,
        moment: Option<Rc<RefCell<Moment>>>,
    ) -> Result<End, Failure> {
        let clock = Clock::new(ears.is_live(), self.base_ms);
        for (id, record, sync) in std::mem::take(&mut self.missing) {
            let body = serde_json::json!({"id": id, "sync": sync, "record": record});
            self.journal.append_synced("record", &body, &clock.now()).map_err(|e| Failure::Input(e.to_string()))?;
        }
        let (to_stored, stored) = tokio::sync::mpsc::unbounded_channel();
        let writer = Writer::start(self.journal, to_stored);
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .map_err(|e| Failure::Lacks(format!("The system gives no event loop: {e}.")))?;
        let words = self.world.vocabulary.clone();
        let mut driver = Driver::new(self.walker, ears, mouth, recogniser, writer, clock, words);
        driver.tell_moment(moment);
        let sources = Sources { ears: from_ears, mouth: from_mouth, stored };
        let (code, why) = runtime.block_on(driver.run(self.first, sources));
        let delays = std::mem::take(&mut driver.delays);
        let heard_by_sound = driver.heard_by_sound;
        let closed = driver.into_writer().finish();
        if code != 0 {
            eprintln!("{why}.");
        }
        match closed {
            Ok(digest) => eprintln!("Session: {}\nDigest: {}", self.folder.display(), digest),
            Err(e) => return Err(Failure::Input(e.to_string())),
        }
        Ok(End { code, delays, heard_by_sound, folder: self.folder })
    }
}

/// How a walk ended.
pub struct End {
    pub code: u8,
    pub delays: Vec<super::drive::Delay>,
    pub heard_by_sound: u32,
    pub folder: PathBuf,
}

impl End {
    /// From the end of speech to the decision: median and 95th percentile, the silence waited for and the computing apart.
    pub fn delays_in_words(&self) -> Option<String> {
        let at = |mut all: Vec<f64>, share: f64| {
            all.sort_by(f64::total_cmp);
            all[((all.len() - 1) as f64 * share).round() as usize]
        };
        if self.delays.is_empty() {
            return None;
        }
        let waited: Vec<f64> = self.delays.iter().map(|d| d.waited.as_secs_f64() * 1e3).collect();
        let computed: Vec<f64> = self.delays.iter().map(|d| d.computed.as_secs_f64() * 1e3).collect();
        Some(format!(
            "From end of speech to decision over {} utterances: silence waited for {:.0} ms median, {:.0} ms at the 95th percentile; \
             computing {:.0} ms and {:.0} ms.",
            self.delays.len(),
            at(waited.clone(), 0.5),
            at(waited, 0.95),
            at(computed.clone(), 0.5),
            at(computed, 0.95),
        ))
    }
}

/// Opens a recogniser; a missing model is exit 3.
pub fn open_engine(engine: Option<&str>) -> Result<Box<dyn Recogniser>, Failure> {
    hear::open(engine).map_err(|e| if e.machine_lacks() { Failure::Lacks(e.to_string()) } else { Failure::Usage(e.to_string()) })
}

/// Opens the mouth that `--say` names.
pub fn open_mouth(say: &str, to: speak::MouthSender) -> Result<Box<dyn Mouth>, Failure> {
    let fail = |e: speak::SpeakError| if e.machine_lacks() { Failure::Lacks(e.to_string()) } else { Failure::Input(e.to_string()) };
    Ok(match say {
        "printed" => Box::new(speak::Printed::new(to)),
        "aloud" => Box::new(speak::Aloud::open(to).map_err(fail)?),
        "system" => speak::system_voice(to).map_err(fail)?,
        file => Box::new(speak::WavFile::create(Path::new(file), to).map_err(fail)?),
    })
}
