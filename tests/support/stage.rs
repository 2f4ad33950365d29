//! A stage for walks without sound, disk or clock: typed answers, virtual time, records acknowledged at once.

use probeside::circuit::faults::Library;
use probeside::diagnose::Adviser;
use probeside::phrase::{self, Answer, Grammar, Hypotheses, Stakes, Verdict};
use probeside::session::{Now, Record, Spoken};
use probeside::walk::{Advice, Answered, Effect, Event, SayKind, TimerKind, Walker, World};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

/// Duration of a prompt on the stage, milliseconds per word.
const MS_PER_WORD: u64 = 350;

/// The folder of the shipped procedures.
pub fn procedures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures")
}

/// A world for a shipped procedure and bike, loaded once.
pub fn world(procedure: &str, bike: &str) -> Arc<World> {
    static LOADED: Mutex<BTreeMap<(String, String), Arc<World>>> = Mutex::new(BTreeMap::new());
    let key = (procedure.to_owned(), bike.to_owned());
    let known = LOADED.lock().expect("no thread failed").get(&key).cloned();
    known.unwrap_or_else(|| {
        let loaded = load(procedure, bike);
        LOADED.lock().expect("no thread failed").insert(key, loaded.clone());
        loaded
    })
}

/// The same, of the caller's own.
pub fn load(procedure: &str, bike: &str) -> Arc<World> {
    let file = procedures().join(format!("{procedure}.yaml"));
    let bike = procedures().join("bikes").join(format!("{bike}.yaml"));
    let words = procedures().join("vocabulary/en.yaml");
    match probeside::run::load::world(&file, &bike, &words) {
        Ok(loaded) => Arc::new(loaded.world),
        Err(all) => panic!("{}", all.iter().map(|d| format!("{d}\n")).collect::<String>()),
    }
}

/// A walker at its start. In the best order it has advice enabled.
#[allow(dead_code)]
pub fn walker(world: &Arc<World>, best: bool) -> Walker {
    let walker = Walker::new(world.clone());
    if best { walker.advised().in_best_order() } else { walker }
}

/// An open listen.
pub struct Listen {
    pub id: u64,
    pub grammar: Grammar,
    pub high: Vec<Answer>,
}

/// Something that a walk hands to the journal, with its time.
#[derive(Debug, Clone)]
pub struct JournalLine {
    pub now: Now,
    pub what: Handed,
}

/// What the walk hands over. The driver hands over the same things in the same order.
#[derive(Debug, Clone)]
pub enum Handed {
    Event(Event),
    Record(Record),
    Said(Spoken),
    Heard(Spoken),
    /// The audio of an answer: its id and samples.
    Clip(String, Vec<f32>),
}

/// A walker and its surroundings.
pub struct Stage {
    pub world: Arc<World>,
    pub walker: Walker,
    /// Computes the suspects, in a walk with advice.
    pub adviser: Option<Adviser>,
    /// A test's own adviser, if it has one.
    other_adviser: Option<Box<dyn Advice>>,
    /// Whether its parts come in the best order.
    best: bool,
    pub now_ms: u64,
    /// Wall time at the start of the session, without offset.
    pub began: jiff::civil::DateTime,
    /// Everything handed to the journal, if a test wants it.
    pub lines: Option<Vec<JournalLine>>,
    /// Prompts that have not ended, with their start and end.
    saying: BTreeMap<u64, Spoken>,
    /// Everything spoken, in order.
    pub said: Vec<(SayKind, String)>,
    /// Length of `said` at the last answer.
    pub mark: usize,
    pub listen: Option<Listen>,
    pub timers: BTreeMap<TimerKind, u64>,
    pub records: Vec<Record>,
    pub events: Vec<(Event, Now)>,
    pub finished: Option<(u8, String)>,
    /// Readings that were read back: index in `said`, and number.
    pub read_back: Vec<(usize, u32)>,
    /// The reading that was written and not yet read back.
    unread: Option<u32>,
    /// How the disk treats a record that is waited for.
    pub disk: fn(&Record) -> DiskSays,
    /// Records that the disk has not answered for.
    pub held: Vec<u64>,
}

/// The disk's answer for a record that is waited for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DiskSays {
    Takes,
    Refuses,
    SaysNothing,
}

impl Stage {
    pub fn new(world: Arc<World>) -> Self {
        let mut stage = Self::before(world);
        stage.give(Event::Begin);
        stage
    }

    /// The same with advice from the shipped fault library.
    #[allow(dead_code)]
    pub fn advised(world: Arc<World>) -> Self {
        let library = Library::load(&procedures().join("faults/ignition.yaml")).unwrap();
        let adviser = Adviser::start(&world, library).unwrap();
        Self::advised_by(world, adviser)
    }

    /// The same with this adviser.
    #[allow(dead_code)]
    pub fn advised_by(world: Arc<World>, adviser: Adviser) -> Self {
        let mut stage = Self::before(world);
        stage.adviser = Some(adviser);
        stage.walker = stage.walker.advised();
        stage.give(Event::Begin);
        stage
    }

    /// The same with its parts in the best order. The adviser must support that.
    #[allow(dead_code)]
    pub fn in_best_order(world: Arc<World>, adviser: Adviser) -> Self {
        let mut stage = Self::before(world);
        stage.adviser = Some(adviser);
        stage.best = true;
        stage.walker = stage.walker.advised().in_best_order();
        stage.give(Event::Begin);
        stage
    }

    /// A walk that keeps its lines for the journal, starting at this time, with an adviser if given.
    #[allow(dead_code)]
    pub fn handing_over(world: Arc<World>, began: jiff::civil::DateTime, adviser: Option<Box<dyn Advice>>) -> Self {
        let mut stage = Self::before(world);
        if adviser.is_some() {
            stage.walker = stage.walker.advised();
        }
        (stage.began, stage.other_adviser, stage.lines) = (began, adviser, Some(Vec::new()));
        stage.give(Event::Begin);
        stage
    }

    /// An adviser for the best order, with the shipped fault library.
    #[allow(dead_code)]
    pub fn ordering(world: &Arc<World>) -> Adviser {
        let library = Library::load(&procedures().join("faults/ignition.yaml")).unwrap();
        Adviser::start(world, library.clone()).unwrap().in_best_order(world).unwrap()
    }

    /// A session resumed after these events.
    #[allow(dead_code)]
    pub fn taken_up(world: Arc<World>, events: &[(Event, Now)], repaired: bool) -> Self {
        Self::taken_up_by(world, events, repaired, None)
    }

    /// The same, in the best order with an adviser.
    #[allow(dead_code)]
    pub fn taken_up_by(world: Arc<World>, events: &[(Event, Now)], repaired: bool, adviser: Option<Adviser>) -> Self {
        let mut stage = Self::before(world);
        if adviser.is_some() {
            (stage.walker, stage.best, stage.adviser) = (walker(&stage.world, true), true, adviser);
        }
        for (event, now) in events {
            if let Event::Recorded { .. } = event {
                stage.unread = None;
            }
            for effect in stage.walker.handle(event.clone(), now) {
                if let Effect::Record { record: Record::Read { number, .. }, .. } = effect {
                    stage.unread = Some(number);
                }
            }
            stage.now_ms = now.mono_ms;
        }
        if events.is_empty() {
            stage.give(Event::Begin);
        } else if stage.walker.is_over() && !stage.walker.is_stopped() {
            stage.finished = Some((0, "it was over".to_owned()));
        } else {
            let told = stage.advice_late();
            let late = stage.walker.waits_for_record().map(|id| Event::Recorded { id });
            stage.give_all(told.into_iter().chain(late).chain([Event::Resumed { gap_ms: 0, repaired }]));
        }
        stage
    }

    /// The adviser's answer that the walker is waiting for.
    fn advice_late(&mut self) -> Option<Event> {
        let adviser = self.adviser.as_mut()?;
        if let Some(id) = self.walker.waits_for_advice() {
            return Some(Event::Weighed(Answered::to(id, adviser.weigh(&self.walker.observed()))));
        }
        let id = self.walker.waits_for_choice()?;
        let crossing = self.walker.crossing().expect("there is something to choose");
        Some(Event::Chosen(Answered::to(id, adviser.choose(&crossing, &self.walker.observed()))))
    }

    /// A stage after these events, without a resume.
    pub fn before_events(world: Arc<World>, events: &[(Event, Now)]) -> Self {
        let mut stage = Self::before(world);
        for (event, now) in events {
            for effect in stage.walker.handle(event.clone(), now) {
                match effect {
                    Effect::Listen { id, grammar, high, .. } => stage.listen = Some(Listen { id, grammar, high }),
                    Effect::Deaf => stage.listen = None,
                    Effect::Record { record, .. } => stage.records.push(record),
                    _ => {}
                }
            }
            stage.now_ms = now.mono_ms;
        }
        stage
    }

    fn before(world: Arc<World>) -> Self {
        let walker = Walker::new(world.clone());
        Self {
            world,
            walker,
            adviser: None,
            other_adviser: None,
            best: false,
            now_ms: 0,
            began: jiff::civil::date(2026, 3, 1).at(8, 0, 0, 0),
            lines: None,
            saying: BTreeMap::new(),
            said: Vec::new(),
            mark: 0,
            listen: None,
            timers: BTreeMap::new(),
            records: Vec::new(),
            events: Vec::new(),
            finished: None,
            read_back: Vec::new(),
            unread: None,
            disk: |_| DiskSays::Takes,
            held: Vec::new(),
        }
    }

    pub fn now(&self) -> Now {
        let passed = jiff::SignedDuration::from_millis(self.now_ms as i64);
        let wall = self.began.checked_add(passed).expect("a time of our days");
        Now { mono_ms: self.now_ms, wall: format!("{}+01:00", wall.strftime("%Y-%m-%dT%H:%M:%S.%3f")) }
    }

    fn hand_over(&mut self, what: Handed) {
        let now = self.now();
        self.lines.iter_mut().for_each(|lines| lines.push(JournalLine { now: now.clone(), what: what.clone() }));
    }

    /// Sends an event and carries out its effects.
    pub fn give(&mut self, event: Event) {
        self.give_all([event]);
    }

    fn give_all(&mut self, events: impl IntoIterator<Item = Event>) {
        let mut queue: std::collections::VecDeque<Event> = events.into_iter().collect();
        while let Some(event) = queue.pop_front() {
            let now = self.now();
            self.events.push((event.clone(), now.clone()));
            if let Event::PromptEnded { id, whole } = &event
                && let Some(said) = self.saying.remove(id)
            {
                self.hand_over(Handed::Said(Spoken { cut: !whole, ..said }));
            }
            self.hand_over(Handed::Event(event.clone()));
            for effect in self.walker.handle(event, &now) {
                match effect {
                    Effect::Say { id, text, kind } => {
                        let began_ms = self.now_ms;
                        self.now_ms += MS_PER_WORD * text.split_whitespace().count() as u64;
                        if self.lines.is_some() {
                            let ended_ms = self.now_ms;
                            let said = Spoken { id, text: text.clone(), began_ms, ended_ms, cut: false, clip: None };
                            self.saying.insert(id, said);
                        }
                        if let Some(number) = self.unread.take_if(|_| kind == SayKind::Echo) {
                            self.read_back.push((self.said.len(), number));
                        }
                        self.said.push((kind, text));
                        queue.push_back(Event::PromptEnded { id, whole: true });
                    }
                    Effect::Cut => queue.retain(|e| !matches!(e, Event::PromptEnded { .. })),
                    Effect::Listen { id, grammar, high, .. } => self.listen = Some(Listen { id, grammar, high }),
                    Effect::Deaf => self.listen = None,
                    Effect::Record { id, record, sync } => {
                        if let Record::Read { number, .. } = &record {
                            self.unread = Some(*number);
                        }
                        let comes = (self.disk)(&record);
                        self.hand_over(Handed::Record(record.clone()));
                        self.records.push(record);
                        match comes {
                            _ if !sync => {}
                            DiskSays::Takes => queue.push_back(Event::Recorded { id }),
                            DiskSays::SaysNothing => self.held.push(id),
                            DiskSays::Refuses => {
                                let why = "The disk is full".to_owned();
                                queue.push_back(Event::RecordFailed { id, why, never: false });
                            }
                        }
                    }
                    Effect::Weigh { id } => {
                        let observed = self.walker.observed();
                        let weighed = match (&mut self.adviser, &mut self.other_adviser) {
                            (Some(adviser), _) => adviser.weigh(&observed),
                            (None, other) => other.as_mut().expect("only an advised walk asks").weigh(&observed),
                        };
                        queue.push_front(Event::Weighed(Answered::to(id, weighed)));
                    }
                    Effect::Choose { id } => {
                        let adviser = self.adviser.as_mut().expect("only a walk in best order asks for it");
                        let crossing = self.walker.crossing().expect("there is something to choose");
                        let chosen = adviser.choose(&crossing, &self.walker.observed());
                        queue.push_front(Event::Chosen(Answered::to(id, chosen)));
                    }
                    Effect::StartTimer { timer, ms } => {
                        self.timers.insert(timer, self.now_ms + ms);
                    }
                    Effect::StopTimer { timer } => {
                        self.timers.remove(&timer);
                    }
                    Effect::Finish { code, why } => self.finished = Some((code, why)),
                    Effect::Tone { .. } | Effect::Loudness { .. } => {}
                }
            }
        }
    }

    /// The user says (types) something now.
    pub fn answer(&mut self, text: &str) {
        let hypotheses = self.understood(text);
        self.hears(text, &hypotheses, None);
    }

    /// The hypotheses for a text at the open listen.
    pub fn understood(&self, text: &str) -> Hypotheses {
        let listen = self.listen.as_ref();
        let listen = listen.unwrap_or_else(|| panic!("nobody listens for {text:?} at {:?}", self.walker.place()));
        phrase::understand(text, &listen.grammar, &self.world.vocabulary)
    }

    /// A text that the recogniser heard as these hypotheses. Its audio is kept if given.
    pub fn hears(&mut self, text: &str, hypotheses: &Hypotheses, sound: Option<Vec<f32>>) {
        let listen = self.listen.as_ref().expect("somebody listens");
        self.mark = self.said.len();
        self.now_ms += 1500;
        let (id, verdict) = (listen.id, phrase::verdict(hypotheses, &listen.grammar, &listen.high));
        let clip = sound.map(|sound| {
            let clip = format!("{id:05}");
            self.hand_over(Handed::Clip(clip.clone(), sound));
            clip
        });
        let (text, now_ms) = (text.to_owned(), self.now_ms);
        let heard = Spoken { id, text, began_ms: now_ms, ended_ms: now_ms, cut: false, clip: clip.clone() };
        self.hand_over(Handed::Heard(heard));
        self.give(Event::Heard { listen: id, verdict, begin: 0, end: 0, clip });
    }

    /// The verdict on a text now, without saying it.
    pub fn would_be(&self, text: &str) -> Option<Verdict> {
        let listen = self.listen.as_ref()?;
        let hypotheses = phrase::understand(text, &listen.grammar, &self.world.vocabulary);
        Some(phrase::decide(&hypotheses, Stakes::Low))
    }

    /// Time passes in silence, and due timers fire.
    pub fn silence(&mut self, ms: u64) {
        let until = self.now_ms + ms;
        while let Some((timer, due)) = self.timers.iter().map(|(t, d)| (*t, *d)).min_by_key(|(_, d)| *d) {
            if due > until {
                break;
            }
            self.now_ms = self.now_ms.max(due);
            self.timers.remove(&timer);
            self.give(Event::Timer { timer });
        }
        self.now_ms = self.now_ms.max(until);
    }

    /// The program is killed, and started again `gap_ms` later. The events are replayed, and the records must be the same.
    pub fn restart(&mut self, gap_ms: u64) {
        let mut walker = Walker::new(self.world.clone());
        if self.adviser.is_some() {
            walker = walker.advised();
        }
        if self.best {
            walker = walker.in_best_order();
        }
        let mut records = Vec::new();
        for (event, now) in &self.events {
            for effect in walker.handle(event.clone(), now) {
                if let Effect::Record { record, .. } = effect {
                    records.push(record);
                }
            }
        }
        assert_eq!(records, self.records, "a replay must give the same records");
        self.walker = walker;
        self.listen = None;
        self.timers.clear();
        self.now_ms += gap_ms;
        self.give(Event::Resumed { gap_ms, repaired: false });
    }

    /// Everything spoken since the last answer.
    pub fn said_since(&self) -> String {
        self.said[self.mark..].iter().map(|(_, t)| format!("{t}\n")).collect()
    }

    /// The conclusion, and its round.
    pub fn conclusion(&self) -> Option<(String, Option<String>)> {
        self.records.iter().rev().find_map(|r| match r {
            Record::Concluded { conclusion, round, last: true, .. } => Some((conclusion.clone(), round.clone())),
            _ => None,
        })
    }
}
