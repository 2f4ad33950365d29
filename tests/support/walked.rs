//! Sessions for tests, as a walk leaves them. A real walker is led through `tests/procedures/feed-round.yaml`, and the journal's own writer
//! writes everything it hands over. No test makes up a record or an event of its own.

#![allow(dead_code)]

use super::stage::{Handed, JournalLine, Stage, procedures};
use probeside::advice::{Chosen, Weighed};
use probeside::phrase::{Answer, Hypotheses, Vocabulary};
use probeside::run::load::{self, Loaded};
use probeside::session::{Header, JobDetails, Journal, Kind, Now, Passing, SessionError, SessionTime, Storage};
use probeside::walk::{Advice, Check, Crossing, Event, Observation};
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

/// Default start of a session. Its wall clock is an hour ahead of UTC.
const BEGAN: &str = "2026-11-25T10:14:00";
/// The cause in the procedure's conclusion, which a test may replace.
const CAUSE: &str = "The key switch loses 0.7 volts: it conducts badly.";

/// A walk for tests: answer it, then write it.
pub struct Walk {
    pub stage: Stage,
    header: Header,
    files: Vec<(String, Vec<u8>)>,
}

/// An adviser whose suspects a test determines.
struct Says(Tells);

/// Returns the suspects after the observations so far.
type Tells = Box<dyn FnMut(&[Arc<Observation>]) -> Weighed>;

impl Advice for Says {
    fn weigh(&mut self, observed: &[Arc<Observation>]) -> Weighed {
        (self.0)(observed)
    }

    fn prepare(&mut self, _next: &Check) {}

    fn choose(&mut self, _crossing: &Crossing, _observed: &[Arc<Observation>]) -> Chosen {
        unreachable!("the parts come in the written order")
    }
}

fn loaded(cause: &str) -> Loaded {
    let cause = serde_json::to_string(cause).expect("text");
    let feed_round = include_str!("../procedures/feed-round.yaml").replace(&format!("\"{CAUSE}\""), &cause);
    let shipped = |name: &str| std::fs::read(procedures().join(name)).expect("a shipped file");
    let files = BTreeMap::from([
        ("feed-round.yaml", feed_round.into_bytes()),
        ("bike.yaml", shipped("bikes/borage-twin.yaml")),
        ("words.yaml", shipped("vocabulary/en.yaml")),
    ]);
    let [procedure, bike, words] = ["feed-round.yaml", "bike.yaml", "words.yaml"].map(Path::new);
    let read = |path: &Path| Ok(files[path.to_str().expect("a plain name")].clone());
    load::world_from(read, Vocabulary::from_yaml, procedure, bike, words).unwrap_or_else(|all| panic!("{all:?}"))
}

impl Walk {
    /// Starts a walk.
    pub fn begin(job: JobDetails) -> Self {
        Self::begin_at(job, BEGAN, "borage-twin", CAUSE)
    }

    /// The same at a wall time, `2026-11-25T10:14:00`. The session's id ends with `name`, and the walk's conclusion has this cause.
    pub fn begin_at(job: JobDetails, began: &str, name: &str, cause: &str) -> Self {
        Self::with(job, began, name, cause, None)
    }

    /// The same with an adviser that returns the suspects after the observations so far.
    pub fn advised(job: JobDetails, tells: impl FnMut(&[Arc<Observation>]) -> Weighed + 'static) -> Self {
        Self::with(job, BEGAN, "borage-twin", CAUSE, Some(Box::new(Says(Box::new(tells)))))
    }

    fn with(job: JobDetails, began: &str, name: &str, cause: &str, adviser: Option<Box<dyn Advice>>) -> Self {
        let Loaded { world, files, .. } = loaded(cause);
        let settings = serde_json::json!({
            "procedure": world.main, "keep-sound": "answers", "advice": adviser.is_some(), "best-order": false,
        });
        let header = Header::new(format!("{}-{name}", began.replace(':', "")), job, settings);
        let began = began.parse().expect("a moment");
        Self { stage: Stage::handing_over(Arc::new(world), began, adviser), header, files }
    }

    /// Acknowledges and confirms until the step asks its question, or the walk is over.
    pub fn ready(&mut self) {
        while self.stage.finished.is_none() && !self.stage.walker.is_asking() {
            let listen = self.stage.listen.as_ref().expect("it listens for an acknowledgement");
            let of =
                |wanted: Answer| listen.grammar.phrases.iter().find(|p| p.answer == wanted).map(|p| p.words.clone());
            let words = of(Answer::Yes).or_else(|| of(Answer::Done)).or_else(|| of(Answer::PowerOff));
            let words = words.unwrap_or_else(|| panic!("nothing to agree with after {:?}", self.stage.said.last()));
            self.stage.answer(&words);
        }
    }

    /// Answers the current step, which must accept the answer.
    pub fn say(&mut self, words: &str) -> &mut Self {
        self.ready();
        let place = self.stage.walker.place();
        assert!(!self.stage.understood(words).best.is_empty(), "{words:?} is no answer at {place:?}");
        self.stage.answer(words);
        self
    }

    /// Answers several steps in order.
    pub fn say_all(&mut self, words: &[&str]) -> &mut Self {
        for words in words {
            self.say(words);
        }
        self
    }

    /// Answers in words that the recogniser believes with this probability, with their audio.
    pub fn say_aloud(&mut self, words: &str, probability: f64, sound: Option<Vec<f32>>) -> &mut Self {
        self.ready();
        let mut heard = self.stage.understood(words);
        assert!(!heard.best.is_empty(), "{words:?} is no answer at {:?}", self.stage.walker.place());
        heard.best.iter_mut().for_each(|best| best.probability *= probability);
        self.stage.hears(words, &heard, sound);
        self
    }

    /// The same when the audio could not be stored: there is no clip with the id that the answer names.
    pub fn say_aloud_unkept(&mut self, words: &str, probability: f64) -> &mut Self {
        self.say_aloud(words, probability, Some(Vec::new()));
        let lines = self.stage.lines.as_mut().expect("lines are kept");
        lines.retain(|line| !matches!(&line.what, Handed::Clip(_, sound) if sound.is_empty()));
        self
    }

    /// Corrects the last reading to these words.
    pub fn correct(&mut self, words: &str) -> &mut Self {
        self.say("correct that").stage.answer(words);
        self
    }

    /// Somebody else says something.
    pub fn overhear(&mut self, words: &str) -> &mut Self {
        self.ready();
        let heard = Hypotheses { stranger: 1.0, free: Some(words.to_owned()), ..Hypotheses::default() };
        self.stage.hears(words, &heard, None);
        self
    }

    /// Everything the walk has handed to the journal so far.
    pub fn lines(&self) -> &[JournalLine] {
        self.stage.lines.as_deref().unwrap_or_default()
    }

    /// The session's journal without any line of the walk.
    pub fn journal(&self, storage: impl Storage + 'static) -> Result<Journal, SessionError> {
        let first = self.lines().first().expect("a walk begins");
        Journal::create(Box::new(storage), self.header.clone(), self.files.clone(), &first.now)
    }

    /// Writes everything so far into a journal that stays open.
    pub fn write(&self, storage: impl Storage + 'static) -> Journal {
        let mut journal = self.journal(storage).expect("a journal");
        let time = SessionTime { session_time: Passing::Counted };
        journal.append(Kind::Time, &time, &self.lines()[0].now).expect("a line");
        self.lines().iter().for_each(|line| put(&mut journal, line, &line.now).expect("a line"));
        journal
    }

    /// Writes everything and ends the session. The walk must be over.
    pub fn finish(&self, storage: impl Storage + 'static) {
        assert!(self.stage.finished.is_some(), "the walk is at {:?}", self.stage.walker.place());
        self.write(storage).finish(&self.stage.now()).expect("the end");
    }
}

/// Hands one item to a journal, as the driver does.
pub fn put(journal: &mut Journal, line: &JournalLine, now: &Now) -> Result<(), SessionError> {
    match &line.what {
        Handed::Event(event) => journal.append(Kind::Event, event, now).map(drop),
        Handed::Record(record) => journal.record(record, now).map(drop),
        Handed::Said(spoken) => journal.append(Kind::Said, spoken, now).map(drop),
        Handed::Heard(spoken) => journal.append(Kind::Heard, spoken, now).map(drop),
        Handed::Clip(id, sound) => journal.clip(id, sound, now).map(drop),
    }
}

/// Whether a line is the event of an answer.
pub fn is_answer(line: &JournalLine) -> bool {
    matches!(&line.what, Handed::Event(Event::Heard { .. }))
}
