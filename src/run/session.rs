//! A session: begins in a new folder, or resumes by replaying its journal to a new walker; then drives the walk to its end.

use super::advise::{self, Advisor, adviser, walker};
use super::drive::Driver;
use super::ending::{self, End, event_loop};
use super::keep::KeepSound;
use super::load::{self, Loaded};
use super::mechanic_view::MechanicView;
use super::outcome::Failure;
use super::signals::Interrupts;
use super::sources::Sources;
use crate::circuit::faults::Library;
use crate::hear::{EarEvent, Ears, Recogniser};
use crate::phrase::Vocabulary;
use crate::session::{
    Clock, Digest, Entry, Folder, Header, JobDetails, Journal, Kind, Now, Opened, Record, Remark, Storage, TimeSource,
    Writer, away_ms, folder_name, session_id, set_back_ms,
};
use crate::source::{Diagnostic, decode_text, whole_file};
use crate::speak::{Mouth, MouthEvent};
use crate::walk::{Effect, Event, Walker, World};
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::rc::Rc;
use std::sync::Arc;
use tokio::runtime::Runtime;
use tokio::sync::mpsc::UnboundedReceiver;

/// Name of the main procedure in the journal's settings.
const SETTING_PROCEDURE: &str = "procedure";

/// Whether the walker asks for advice.
const SETTING_ADVICE: &str = "advice";
/// Whether its parts come in the best order.
const SETTING_BEST: &str = "best-order";
/// Name of the setting for which audio is kept.
const SETTING_SOUND: &str = "keep-sound";

/// A session that was resumed.
pub enum TakenUp {
    /// Its walk goes on.
    Walk(Box<Session>),
    /// Its walk was over. The missing end of the record has been added.
    Ended {
        /// The world of the walk.
        world: Arc<World>,
        /// The record's digest.
        digest: Digest,
    },
}

/// A session that is ready to be walked.
pub struct Session {
    walker: Walker,
    pub(super) journal: Journal,
    first: Vec<Event>,
    folder: PathBuf,
    /// The world of the walk.
    pub world: Arc<World>,
    clock: Clock,
    advice: Option<Advisor>,
    /// Records that a replay requested and the journal lacks, in order.
    missing: Vec<Record>,
    /// The time of a resumed journal's last entry.
    left_at: Option<Now>,
    /// Whether all its wall times are the machine's. That holds since journals state how session time advances.
    walls_are_real: bool,
    interrupts: Interrupts,
}

impl Session {
    /// Begins a session in `folder`, which must be empty or new.
    pub fn begin(loaded: Loaded, folder: &Path, job: JobDetails, keep: KeepSound, best: bool) -> Result<Self, Failure> {
        let storage = Folder::create(folder)
            .map_err(|e| Failure::Input(format!("the folder {} cannot be made: {e}", folder.display())))?;
        Self::begin_on(Box::new(storage), folder, loaded, job, keep, best)
    }

    /// Begins a session on a storage. `folder` is its display name.
    pub fn begin_on(
        storage: Box<dyn Storage>,
        folder: &Path,
        loaded: Loaded,
        job: JobDetails,
        keep: KeepSound,
        best: bool,
    ) -> Result<Self, Failure> {
        let Loaded { world, files, faults } = loaded;
        let world = Arc::new(world);
        let advice = faults.and_then(|library| adviser(&world, library, best));
        // Without an adviser the written order applies.
        let best = best && advice.is_some();
        let clock = Clock::start();
        let id = session_id(&clock.now().wall, &world.bike.name);
        let header = Header::new(
            id,
            job,
            serde_json::json!({ SETTING_PROCEDURE: world.main, SETTING_SOUND: keep, SETTING_ADVICE: advice.is_some(), SETTING_BEST: best }),
        );
        let journal = Journal::create(storage, header, files, &clock.now())?;
        let walker = walker(&world, advice.is_some(), best);
        let session = Self::over(journal, folder, walker, world, clock, advice);
        Ok(Self { first: vec![Event::Begin], walls_are_real: true, ..session })
    }

    /// A session over a journal, before its first event.
    fn over(
        journal: Journal,
        folder: &Path,
        walker: Walker,
        world: Arc<World>,
        clock: Clock,
        advice: Option<Advisor>,
    ) -> Self {
        Self {
            walker,
            journal,
            first: Vec::new(),
            folder: folder.to_path_buf(),
            world,
            clock,
            advice,
            missing: Vec::new(),
            left_at: None,
            walls_are_real: false,
            interrupts: Interrupts::listen(),
        }
    }

    /// Resumes the session in `folder`: replays it up to where it broke off.
    pub fn resume(folder: &Path) -> Result<TakenUp, Failure> {
        Self::resume_on(Box::new(Folder::at(folder)), folder)
    }

    /// Resumes the session on a storage; `folder` is its display name. If its walk is over, ends its record unless that was done.
    pub fn resume_on(storage: Box<dyn Storage>, folder: &Path) -> Result<TakenUp, Failure> {
        let Opened { mut journal, entries, repair, clock } = Journal::open(storage)?;
        let names: Vec<String> = journal.header().files.iter().map(|f| f.name.clone()).collect();
        let mut copies = BTreeMap::new();
        for name in names {
            copies.insert(folder.join(&name), journal.copy(&name)?);
        }
        let main = journal.header().settings.get(SETTING_PROCEDURE).and_then(|v| v.as_str()).unwrap_or_default();
        let main = folder.join(load::PROCEDURE_COPIES).join(format!("{main}.yaml"));
        let read = |path: &Path| {
            let missing =
                || Diagnostic::error(&whole_file(&path.to_string_lossy()), "file", "the session keeps no such copy");
            copies.remove(path).ok_or_else(missing)
        };
        let (bike, words) = (folder.join(load::BIKE_COPY), folder.join(load::VOCABULARY_COPY));
        let loaded = load::world_from(read, Vocabulary::from_copy, &main, &bike, &words)?;
        let world = Arc::new(loaded.world);
        let set = |name: &str| journal.header().settings.get(name).and_then(|v| v.as_bool()).unwrap_or(false);
        let (advised, best) = (set(SETTING_ADVICE), set(SETTING_BEST));
        let advice = match advised {
            true => {
                let text = decode_text(journal.copy(load::FAULTS_COPY)?, load::FAULTS_COPY).map_err(|d| vec![d])?;
                adviser(&world, Library::parse(&text, load::FAULTS_COPY)?, best)
            }
            false => None,
        };
        let walker = walker(&world, advised, best);
        let mut session = Self::over(journal, folder, walker, world, clock, advice);
        if let Some(repair) = &repair {
            crate::terminal::errln!("{}", repair.sentence());
        }
        session.replay(&entries, repair.is_some())?;
        if session.walker.is_over() && !session.walker.is_stopped() {
            return session.end(&entries);
        }
        Ok(TakenUp::Walk(Box::new(session)))
    }

    /// Ends the record of a walk that is over. A program killed at the very end did not.
    fn end(mut self, entries: &[Entry]) -> Result<TakenUp, Failure> {
        if self.journal.is_closed() {
            return Err(Failure::Input(format!(
                "this walk is over; read it with: probeside review {}",
                self.folder.display()
            )));
        }
        let now = self.clock.now();
        for record in std::mem::take(&mut self.missing) {
            self.journal.record(&record, &now)?;
        }
        let ended = entries.iter().rev().find(|entry| entry.is(Kind::End)).map(|entry| entry.seq);
        let why = match ended {
            Some(seq) => format!("The session was ended at entry {seq}; its digest was missing, and is made anew."),
            None => "The walk was over when it broke off; the session is ended now.".to_owned(),
        };
        self.journal.remark(&Remark::own(why), &now)?;
        let digest = self.journal.finish(&now)?;
        Ok(TakenUp::Ended { world: self.world, digest })
    }

    /// Sets whether the user may speak over prompts from here on.
    pub fn speaking_over(mut self, allowed: bool) -> Self {
        if allowed != self.walker.is_spoken_over() {
            self.first.insert(0, Event::SpokenOver { allowed });
        }
        self
    }

    /// Replays the journal's events to a new walker, whose records must match the journal's.
    fn replay(&mut self, entries: &[Entry], repaired: bool) -> Result<(), Failure> {
        let mut stored = Vec::new();
        let mut asked: Vec<(u64, bool, Record)> = Vec::new();
        let mut begun = false;
        for entry in entries {
            if entry.is(Kind::Event) {
                let Some(event) = entry.body_as::<Event>() else {
                    return Err(Failure::Input(format!(
                        "entry {} of the journal is not an event that this version of probeside knows",
                        entry.seq
                    )));
                };
                begun |= event == Event::Begin;
                if let Event::RecordFailed { id: failed, never, .. } = &event {
                    // A record that the walker waited for and that was not written is requested again. One that can never be written is
                    // dropped. All others were only late.
                    asked.retain(|(id, waited, _)| !((*waited || *never) && id == failed));
                }
                for effect in self.walker.handle(event, &entry.at()) {
                    if let Effect::Record { id, record, sync } = effect {
                        asked.push((id, sync, record));
                    }
                }
            } else if entry.is(Kind::Record) {
                stored.push((entry.seq, &entry.body));
            }
        }
        let mut asked: Vec<Record> = asked.into_iter().map(|(.., record)| record).collect();
        for (at, (seq, body)) in stored.iter().enumerate() {
            if !asked.get(at).is_some_and(|record| record.is_stored_as(body)) {
                return Err(Failure::Input(format!(
                    "the journal does not fit what its own events lead to (entry {seq}): it was altered, or written by another version; \
                     read it with: probeside review {}",
                    self.folder.display()
                )));
            }
        }
        self.missing = asked.split_off(stored.len().min(asked.len()));
        let left_at = entries.last().map(Entry::at);
        let gap_ms = left_at.as_ref().map_or(0, away_ms);
        self.left_at = left_at;
        self.walls_are_real = entries.iter().any(|entry| entry.is(Kind::Time));
        if !begun {
            self.first = vec![Event::Begin];
            return Ok(());
        }
        self.first.extend(advise::late(&mut self.advice, &self.walker));
        if let Some(id) = self.walker.waits_for_record() {
            self.first.push(Event::Recorded { id });
        }
        self.first.push(Event::Resumed { gap_ms, repaired });
        Ok(())
    }

    /// Takes this session's time from another source from here on.
    #[must_use]
    pub fn timed_by(mut self, source: Arc<dyn TimeSource>) -> Self {
        self.clock = self.clock.going_on_by(source);
        self
    }

    /// Walks to the end with these ears and this mouth.
    ///
    /// # Errors
    /// A journal that cannot be written, or a system that provides no thread or no event loop.
    pub fn drive(
        self,
        ears: Box<dyn Ears>,
        from_ears: UnboundedReceiver<EarEvent>,
        mouth: Box<dyn Mouth>,
        from_mouth: UnboundedReceiver<MouthEvent>,
        recogniser: Option<Box<dyn Recogniser>>,
        view: Option<Rc<RefCell<MechanicView>>>,
    ) -> Result<End, Failure> {
        let nothing = std::future::pending();
        self.drive_beside(event_loop()?, nothing, (ears, from_ears), (mouth, from_mouth), recogniser, view)
    }

    /// The same in this single-threaded event loop, beside another task in it. A task that plays ears and mouth there controls the order of
    /// events.
    ///
    /// # Errors
    /// As [`Session::drive`].
    pub fn drive_beside(
        mut self,
        runtime: Runtime,
        beside: impl Future<Output = ()>,
        (ears, from_ears): (Box<dyn Ears>, UnboundedReceiver<EarEvent>),
        (mouth, from_mouth): (Box<dyn Mouth>, UnboundedReceiver<MouthEvent>),
        recogniser: Option<Box<dyn Recogniser>>,
        view: Option<Rc<RefCell<MechanicView>>>,
    ) -> Result<End, Failure> {
        let comparable = ears.is_live() || self.walls_are_real;
        if let Some(by_ms) = self.left_at.filter(|_| comparable).and_then(|at| set_back_ms(&at, &self.clock.now())) {
            self.first.push(Event::ClockSetBack { by_ms });
        }
        let clock = match (ears.is_live(), &recogniser) {
            (true, _) => self.clock,
            (false, None) => self.clock.typed(),
            (false, Some(_)) => self.clock.counted(),
        };
        for record in std::mem::take(&mut self.missing) {
            self.journal.record(&record, &clock.now())?;
        }
        let keep = self.journal.header().settings.get(SETTING_SOUND).cloned().unwrap_or_default();
        let keep = serde_json::from_value(keep).unwrap_or_default();
        if keep == KeepSound::Everything {
            crate::terminal::errln!(
                "Everything that is heard from now to the end of the walk is kept with the record."
            );
        }
        let (to_stored, stored) = tokio::sync::mpsc::unbounded_channel();
        let writer = Writer::start(self.journal, move |reply| drop(to_stored.send(reply)))
            .map_err(|e| Failure::Lacks(format!("the system gives no thread for the journal: {e}")))?;
        writer.append(0, Kind::Time, &clock.session_time(), &clock.now())?;
        let words = self.world.vocabulary.clone();
        let mut recogniser = recogniser;
        if let Some(recogniser) = &mut recogniser {
            recogniser.use_words(&words, &self.world.phrases());
        }
        let mut driver = Driver::new(self.walker, ears, mouth, recogniser, writer, clock, words);
        driver.show_mechanic(view);
        driver.keep_sound(keep);
        driver.take_advice(self.advice);
        let mut sources = Sources { ears: from_ears, mouth: from_mouth, stored, interrupts: self.interrupts };
        let ended = runtime.block_on(async {
            tokio::select! {
                ended = driver.run(self.first, &mut sources) => ended,
                () = async { beside.await; std::future::pending().await } => unreachable!("it waits for ever"),
            }
        });
        let delays = std::mem::take(&mut driver.delays);
        let spoken_answers = driver.spoken_answers;
        let (writer, now, mut mouth) = driver.into_parts();
        let end = ending::end(ended, writer, &now, &self.folder, &self.world, &mut *mouth, &mut sources);
        let code = runtime.block_on(end);
        Ok(End { code, delays, spoken_answers, folder: self.folder })
    }
}

/// A new session's own folder.
pub fn new_folder(bike: &str) -> PathBuf {
    Path::new("sessions").join(folder_name(&Clock::start().now().wall, bike))
}
