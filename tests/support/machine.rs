//! A simple model of the walker's world: a dummy driver that carries out effects, sends arbitrary events, and checks the invariants.
//!
//! It knows what was spoken to the end, what is on disk, which timers run, and from the bike's circuit whether a coil can get hot. The
//! invariants: no answer is confirmed aloud without its record; no caution is acknowledged that was not heard to its end since it was last
//! asked; while current can stand in a coil, a guard's timer runs and the guard speaks in time, and the walk does not end unless somebody
//! confirmed or the record says that nobody did; what is only told was announced, confirms nothing and stands for nothing that has to be done now;
//! the walk never ends by an error of its own; and a replay of the walk gives the same
//! records.

use super::mechanic::Mechanic;
use super::stage::world;
use probeside::advice::{Chosen, Doubtful, Next, Spot, Weighed};
use probeside::bike::Engine;
use probeside::circuit::Model;
use probeside::phrase::{self, Answer, Command, Grammar, Hypothesis, Reading, ReadingKind, Verdict};
use probeside::procedure::Ask;
use probeside::session::{Now, Record};
use probeside::walk::{
    Answered, Effect, Event, FINISHED, Pedal, PhaseKind, Request, SayKind, TimerKind, Walker, World,
};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// The guard's own times: the first minute, its repetition, speech that it waits for, a disk that it waits for, and this model's steps.
const GUARD_WITHIN_MS: u64 = 60_000 + 30_000 + 31_000 + 2_000 + 10_000;
/// A driver may be so late with a timer that it carries out something else first.
const LATE_MS: u64 = 1_500;
/// Words of the guard's sentence.
const GUARD: &str = "Say power is off";

/// Counters that reveal a run in which nothing happened.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Seen {
    pub events: u64,
    pub guards: u64,
    pub confirmed: u64,
    pub unconfirmed: u64,
    pub acknowledged: u64,
    pub printed: u64,
    pub again: u64,
    pub echoes: u64,
    pub ends: u64,
    pub resumed: u64,
    pub told: u64,
}

impl std::ops::AddAssign for Seen {
    fn add_assign(&mut self, other: Self) {
        self.events += other.events;
        self.guards += other.guards;
        self.confirmed += other.confirmed;
        self.unconfirmed += other.unconfirmed;
        self.acknowledged += other.acknowledged;
        self.printed += other.printed;
        self.again += other.again;
        self.echoes += other.echoes;
        self.ends += other.ends;
        self.resumed += other.resumed;
        self.told += other.told;
    }
}

/// A question to the adviser.
#[derive(Debug, Clone, Copy)]
enum Asked {
    Weigh(Request),
    Choose(Request),
}

/// The dummy driver and its memory.
pub struct Machine {
    world: Arc<World>,
    /// Knows the story's answers.
    mechanic: Arc<Mechanic>,
    /// The walker before its first event, and now.
    begun: Walker,
    walker: Walker,
    ms: u64,
    sounding: Vec<(u64, SayKind, String)>,
    listen: Option<(u64, Grammar)>,
    timers: BTreeMap<TimerKind, u64>,
    /// Records that the walker waits for.
    unstored: Vec<u64>,
    /// Whether the last record that was waited for is on disk.
    stored: bool,
    /// The adviser's open question.
    asked: Option<Asked>,
    /// Checks that were come to.
    spots: Vec<Spot>,
    /// Records that were only noted because of a failure.
    noted: Option<u64>,
    loudspeaker_gone: bool,
    /// Cautions that finished without being acknowledged: their words, and whether they were only printed.
    heard: BTreeMap<String, bool>,
    /// Since when a coil may be hot without the guard having spoken.
    silent_since: Option<u64>,
    /// Whether a coil could be hot and nobody has confirmed otherwise.
    on: bool,
    finished: bool,
    resuming: bool,
    events: Vec<(Event, Now)>,
    records: Vec<Record>,
    heats: Vec<(probeside::bike::BikeState, bool)>,
    /// Whether "I have done that already" was said since the last answer.
    announced: bool,
    /// Steps whose answer was told: a correction of it is told too.
    announced_before: BTreeSet<String>,
    /// Whether the last answer is only told.
    told: bool,
    pub seen: Seen,
}

impl Machine {
    pub fn new(story: &Story) -> Self {
        Self::around(Walker::new(story.world.clone()), story)
    }

    /// A machine whose walker asks for advice and takes its checks in another order. The advice is random and may come late.
    pub fn advised(story: &Story) -> Self {
        Self::around(Walker::new(story.world.clone()).advised().in_best_order(), story)
    }

    fn around(walker: Walker, story: &Story) -> Self {
        let mut machine = Self::before(walker, story);
        machine.give(Event::Begin);
        machine
    }

    /// One that is told nothing yet: for [`Machine::follow`].
    pub fn following(story: &Story) -> Self {
        Self::before(Walker::new(story.world.clone()), story)
    }

    fn before(walker: Walker, story: &Story) -> Self {
        let Story { world, mechanic, .. } = story.clone();
        Self {
            begun: walker.clone(),
            walker,
            world,
            mechanic,
            ms: 0,
            sounding: Vec::new(),
            listen: None,
            timers: BTreeMap::new(),
            unstored: Vec::new(),
            stored: false,
            asked: None,
            spots: Vec::new(),
            noted: None,
            loudspeaker_gone: false,
            heard: BTreeMap::new(),
            silent_since: None,
            on: false,
            finished: false,
            resuming: false,
            events: Vec::new(),
            records: Vec::new(),
            heats: Vec::new(),
            announced: false,
            announced_before: BTreeSet::new(),
            told: false,
            seen: Seen::default(),
        }
    }

    /// The present walker, the time, and whether a caution is being spoken.
    pub fn snapshot(&self) -> (Walker, Now, bool) {
        let cautioning = self.sounding.iter().any(|(_, kind, _)| *kind == SayKind::Caution);
        (self.walker.clone(), self.now(), cautioning)
    }

    /// What the walker waits for.
    pub fn phase(&self) -> PhaseKind {
        self.walker.phase()
    }

    pub fn is_over(&self) -> bool {
        self.finished && !self.walker.is_stopped()
    }

    /// One step, determined by two numbers.
    pub fn act(&mut self, what: u8, how: u8) {
        self.ms += 100;
        if self.finished {
            if self.walker.is_stopped() {
                self.resume(how);
            }
            return;
        }
        match what % 64 {
            0..=17 => self.prompts_end(usize::from(how % 8) + 1),
            18..=19 => self.prompt_cut(how),
            20..=37 => self.answer(how),
            38..=40 => self.miss(how),
            41..=42 => self.give(Event::SpeechBegan),
            43..=45 => self.give(Event::Pressed { pedal: Pedal::Listen }),
            46 => self.give(Event::Pressed { pedal: Pedal::Repeat }),
            47..=51 => self.time_passes(u64::from(how) * 200),
            52 => self.give(Event::MicrophoneLost { why: "it is gone".into() }),
            53 => self.give(Event::MicrophoneBack),
            54 => {
                self.loudspeaker_gone = true;
                self.give(Event::LoudspeakerLost { why: "it is gone".into() });
            }
            55 => {
                self.loudspeaker_gone = false;
                self.give(Event::LoudspeakerBack);
            }
            56 if how < 64 => self.give(Event::ClockSetBack { by_ms: 3_600_000 }),
            57 => self.fails(how),
            58 if how < 40 => self.give(Event::Stop { why: "the interrupt key was pressed".into() }),
            59 if how < 64 => self.resume(how),
            60 if how < 64 => self.give(Event::SpokenOver { allowed: how.is_multiple_of(2) }),
            61..=62 => self.control(how),
            _ => self.stored(),
        }
        // A disk is usually quick; an adviser is slow more often.
        if !how.is_multiple_of(4) {
            self.stored();
        }
        if !how.is_multiple_of(4) && !how.is_multiple_of(7) {
            self.advises(how);
        }
    }

    fn now(&self) -> Now {
        Now { mono_ms: self.ms, wall: "2026-03-01T08:00:00+01:00".into() }
    }

    fn stored(&mut self) {
        if !self.unstored.is_empty() {
            let id = self.unstored.remove(0);
            self.give(Event::Recorded { id });
        }
    }

    /// The adviser answers. Now and then it doubts one of the answers.
    fn advises(&mut self, how: u8) {
        match self.asked.take() {
            Some(Asked::Weigh(id)) => {
                let observed = self.walker.observed().len();
                let doubtful = (how.is_multiple_of(5) && observed > 0).then(|| Doubtful {
                    number: usize::from(how) % observed,
                    step: String::new(),
                    round: None,
                    answer: "as it was said".into(),
                    weight: 0.9,
                });
                let weighed = Weighed { outside: 1.0, doubtful, ..Weighed::default() };
                self.give(Event::Weighed(Answered::to(id, weighed)));
            }
            Some(Asked::Choose(id)) => {
                // The written route, or another check that was come to before.
                let spot =
                    (how.is_multiple_of(2)).then(|| self.spots.get(usize::from(how) / 2 % self.spots.len().max(1)));
                let next = spot.flatten().map_or(Next::Written, |spot| Next::Check(Box::new(spot.clone())));
                self.give(Event::Chosen(Answered::to(
                    id,
                    Chosen { next, bits: 1.0, minutes: 1.0, ..Chosen::default() },
                )));
            }
            None => {}
        }
    }

    fn fails(&mut self, how: u8) {
        let waited = (!self.unstored.is_empty() && how.is_multiple_of(2)).then(|| self.unstored.remove(0));
        if let Some(id) = waited.or(self.noted.take()) {
            self.give(Event::RecordFailed { id, why: "The disk is full".into(), never: false });
        }
    }

    fn prompts_end(&mut self, most: usize) {
        for _ in 0..most {
            if self.sounding.is_empty() {
                return;
            }
            let (id, kind, text) = self.sounding.remove(0);
            self.ms += 1_000;
            self.ended_whole(kind, text);
            self.give(Event::PromptEnded { id, whole: true });
        }
    }

    fn ended_whole(&mut self, kind: SayKind, text: String) {
        if kind == SayKind::Caution {
            self.heard.insert(text, self.loudspeaker_gone);
        }
    }

    /// A voice, or a failing loudspeaker, cuts the current prompt.
    fn prompt_cut(&mut self, how: u8) {
        if !self.sounding.is_empty() {
            let (id, ..) = self.sounding.remove(usize::from(how) % self.sounding.len());
            self.give(Event::PromptEnded { id, whole: false });
        }
    }

    fn hypothesis(&self, how: u8) -> Option<(u64, Hypothesis)> {
        let (listen, grammar) = self.listen.as_ref()?;
        // Usually the story continues.
        let (step, round) = self.walker.place();
        if how % 8 != 7
            && let Some(words) = self.mechanic.answer(step, round, self.walker.is_asking(), grammar)
            && let Some(heard) = phrase::understand(&words, grammar, &self.world.vocabulary).best.first()
        {
            return Some((*listen, heard.clone()));
        }
        let number = grammar.number.as_ref();
        let answer = match how {
            // Answers that lead on are more frequent than the others.
            0..=95 => {
                let leads = |a: &Answer| matches!(a, Answer::Done | Answer::Choice(_) | Answer::Yes | Answer::PowerOff);
                let all: Vec<&Answer> = grammar.phrases.iter().map(|p| &p.answer).filter(|a| leads(a)).collect();
                all.get(usize::from(how) % all.len().max(1)).map(|a| (*a).clone())
            }
            _ => grammar.phrases.get(usize::from(how) % grammar.phrases.len().max(1)).map(|p| p.answer.clone()),
        };
        let reading = number.map(|slot| {
            let value = slot.low + (slot.high - slot.low) * f64::from(how) / 255.0;
            Answer::Reading(Reading { kind: ReadingKind::Plain, value, unit: slot.unit, said_unit: None })
        });
        let note = grammar.note.then(|| Answer::Note("a note".into()));
        let answer = if how.is_multiple_of(3) { answer.or(reading).or(note) } else { reading.or(note).or(answer) };
        Some((*listen, Hypothesis { answer: answer?, words: "as it was said".into(), probability: 1.0 }))
    }

    fn answer(&mut self, how: u8) {
        let Some((listen, heard)) = self.hypothesis(how) else { return };
        let verdict =
            if how.is_multiple_of(32) { Verdict::Confirm { heard, rival: None } } else { Verdict::Accept { heard } };
        self.give(Event::Heard { listen, verdict, begin: 0, end: 16_000, clip: None });
    }

    /// One of the commands that are allowed now.
    fn control(&mut self, how: u8) {
        let Some((listen, grammar)) = self.listen.as_ref() else { return };
        let controls: Vec<&Answer> =
            grammar.phrases.iter().map(|p| &p.answer).filter(|a| matches!(a, Answer::Command(_))).collect();
        // One control that leads to questions of its own is tried more often.
        let already =
            controls.iter().find(|a| ***a == Answer::Command(Command::Already)).filter(|_| how.is_multiple_of(3));
        let any = controls.get(usize::from(how) % controls.len().max(1));
        let Some(answer) = already.or(any) else { return };
        let heard = Hypothesis { answer: (*answer).clone(), words: "as it was said".into(), probability: 1.0 };
        let verdict = Verdict::Accept { heard };
        self.give(Event::Heard { listen: *listen, verdict, begin: 0, end: 16_000, clip: None });
    }

    fn miss(&mut self, how: u8) {
        let Some((listen, _)) = self.listen.as_ref() else { return };
        let verdict = Verdict::Reject { free: None, stranger: how.is_multiple_of(2) };
        self.give(Event::Heard { listen: *listen, verdict, begin: 0, end: 16_000, clip: None });
    }

    /// Time passes, and every due timer fires, in order or out of order.
    fn time_passes(&mut self, ms: u64) {
        let until = self.ms + ms;
        loop {
            let due: Vec<TimerKind> = self.timers.iter().filter(|(_, at)| **at <= until).map(|(t, _)| *t).collect();
            let Some(timer) = due.get(self.seen.events as usize % due.len().max(1)).copied() else { break };
            let at = self.timers.remove(&timer).unwrap_or(self.ms);
            self.ms = self.ms.max(at);
            self.give(Event::Timer { timer });
            self.prompts_end(1);
        }
        self.ms = self.ms.max(until);
    }

    /// The program is killed and started again.
    fn resume(&mut self, how: u8) {
        self.seen.resumed += 1;
        self.sounding.clear();
        self.listen = None;
        self.timers.clear();
        self.heard.clear();
        self.unstored.clear();
        self.noted = None;
        self.loudspeaker_gone = false;
        self.finished = false;
        self.silent_since = None;
        let gap_ms = u64::from(how) * 60_000;
        self.ms += gap_ms;
        // Writes in progress are reported first, at the same time. The guard is checked after both.
        self.resuming = true;
        if let Some(id) = self.walker.waits_for_record() {
            self.give(Event::Recorded { id });
        }
        self.advises(how);
        self.timers.clear();
        self.sounding.clear();
        self.resuming = false;
        self.give(Event::Resumed { gap_ms, repaired: false });
    }

    fn give(&mut self, event: Event) {
        self.seen.events += 1;
        self.stored |= matches!(event, Event::Recorded { .. });
        let now = self.now();
        self.events.push((event.clone(), now.clone()));
        let was = self.phase();
        let effects = self.walker.handle(event.clone(), &now);
        self.spots.extend(self.walker.spot().filter(|spot| !spot.step.is_empty()));
        let mut unconfirmed = false;
        for effect in effects {
            match effect {
                Effect::Say { id, kind, text } => {
                    if kind == SayKind::Echo {
                        self.seen.echoes += 1;
                        assert!(self.stored, "said back without its record: {text:?} at {event:?}");
                    }
                    if kind == SayKind::Caution && text.contains(GUARD) {
                        self.seen.guards += 1;
                        self.silent_since = Some(self.ms);
                    }
                    self.seen.again += u64::from(text.starts_with("That was not heard"));
                    self.sounding.push((id, kind, text));
                }
                Effect::Cut => self.sounding.clear(),
                Effect::Listen { id, grammar, .. } => self.listen = Some((id, grammar)),
                Effect::Deaf => self.listen = None,
                Effect::StartTimer { timer, ms } => drop(self.timers.insert(timer, self.ms + ms)),
                Effect::StopTimer { timer } => drop(self.timers.remove(&timer)),
                Effect::Record { id, record, sync } => {
                    self.written(&record);
                    unconfirmed |= matches!(record, Record::PowerOff { confirmed: false, .. });
                    self.records.push(record);
                    if sync {
                        self.stored = false;
                        self.unstored.push(id);
                    } else {
                        self.noted = Some(id);
                    }
                }
                Effect::Finish { code, why } => self.ends(code, &why, unconfirmed),
                Effect::Weigh { id } => self.asked = Some(Asked::Weigh(id)),
                Effect::Choose { id } => self.asked = Some(Asked::Choose(id)),
                Effect::Tone { .. } | Effect::Loudness { .. } => {}
            }
        }
        self.guard(&event, was);
    }

    fn written(&mut self, record: &Record) {
        match record {
            Record::Acknowledged { said, printed, .. } => {
                self.seen.acknowledged += 1;
                self.seen.printed += u64::from(*printed);
                let whole: Vec<String> =
                    self.heard.keys().filter(|text| text.ends_with(said.as_str())).cloned().collect();
                assert!(!whole.is_empty(), "acknowledged and not heard to its end: {said:?}");
                // The same words may have been heard before at the end of a longer text.
                let so = whole.iter().any(|text| self.heard[text] == *printed);
                assert!(so, "printed {printed}, and heard otherwise: {said:?}");
                self.heard.retain(|text, _| !whole.contains(text));
            }
            Record::PowerOff { confirmed, .. } => {
                self.seen.confirmed += u64::from(*confirmed);
                self.seen.unconfirmed += u64::from(!*confirmed);
                self.on &= !*confirmed;
            }
            Record::Controlled { command: Command::Already, .. } => self.announced = true,
            Record::Answered { step, told, answer, .. } => {
                self.answered(step, *told);
                let may_be = matches!(answer, Answer::Choice(_));
                assert!(!told || may_be, "told: {answer:?}");
            }
            Record::Read { step, told, .. } => self.answered(step, *told),
            _ => {}
        }
    }

    /// An answer, of now or only told.
    fn answered(&mut self, step: &str, told: bool) {
        self.told = told;
        let corrects = self.announced_before.contains(step);
        if !told {
            self.announced = false;
            return;
        }
        self.seen.told += 1;
        assert!(self.announced || corrects, "told, and nobody said so: {step}");
        self.announced = false;
        self.announced_before.insert(step.to_owned());
        let steps = self.world.procedures.values().filter(|p| p.covers.as_ref().is_none_or(|all| !all.is_empty()));
        let step = steps.filter_map(|p| p.step(step)).next().expect("a step of a procedure that finds faults");
        let by_petrol = match &step.ask {
            Ask::Choice(choices) => choices.iter().any(|c| c.phrases.iter().any(|p| p.value.contains("petrol"))),
            _ => false,
        };
        assert!(!by_petrol && step.mends.is_empty(), "told, and it has to be done now: {}", step.id.value);
    }

    fn ends(&mut self, code: u8, why: &str, unconfirmed: bool) {
        self.finished = true;
        self.seen.ends += 1;
        let known: BTreeSet<&str> =
            self.world.procedures.values().flat_map(|p| &p.conclusions).map(|c| c.id.value.as_str()).collect();
        match code {
            0 => assert!(known.contains(why) || why == FINISHED, "ended well with {why:?}"),
            _ => assert_eq!(why, "the walk was stopped before a conclusion", "a fault of its own"),
        }
        let hot = self.is_hot();
        assert!(!hot || unconfirmed, "ended with a hot coil, and the record does not say so");
        self.timers.clear();
    }

    /// Whether a coil can get hot in the agreed state, according to the circuit.
    fn is_hot(&mut self) -> bool {
        let state = self.walker.bike_state();
        if let Some((_, hot)) = self.heats.iter().find(|(known, _)| known == state) {
            return *hot;
        }
        let hot = Model::new(&self.world.bike).heats_a_coil(state).expect("a circuit");
        self.heats.push((state.clone(), hot));
        hot
    }

    fn guard(&mut self, event: &Event, was: PhaseKind) {
        if self.finished || self.resuming {
            return;
        }
        let runs = self.walker.bike_state().engine == Some(Engine::Running);
        let hot = self.is_hot();
        // If the circuit agrees, an answer to the instruction is as good as a confirmation. The walker may require more.
        // What was done before confirms nothing, and neither does saying so.
        let about_before = match event {
            Event::Recorded { .. } => self.told,
            _ => {
                let now = self.phase();
                let asks = [PhaseKind::Telling, PhaseKind::Undoing].contains(&now);
                was == PhaseKind::Telling || asks && was != PhaseKind::Undoing
            }
        };
        let answers = matches!(event, Event::Recorded { .. } | Event::Heard { .. }) && !about_before;
        self.on = hot || (self.on && !answers);
        if !self.on || runs {
            self.silent_since = None;
            return;
        }
        assert!(self.timers.contains_key(&TimerKind::CoilHeat), "no guard's timer over a hot coil after {event:?}");
        let since = *self.silent_since.get_or_insert(self.ms);
        let due = self.timers[&TimerKind::CoilHeat];
        assert!(
            self.ms.min(due) - since.min(self.ms.min(due)) <= GUARD_WITHIN_MS,
            "a hot coil since {since}, now {}, and nobody has said so",
            self.ms
        );
        assert!(due.saturating_sub(since) <= GUARD_WITHIN_MS, "the guard was put off from {since} to {due}");
    }

    /// What a driver told its walker, in its order: the same must hold, and no timer over a hot coil came late.
    pub fn follow(&mut self, event: Event, now: &Now) {
        self.ms = now.mono_ms;
        let timer = matches!(event, Event::Timer { .. });
        if let (Some(due), false) = (self.timers.get(&TimerKind::CoilHeat), timer) {
            assert!(self.ms <= due + LATE_MS, "the guard was due at {due}, and it is {}", self.ms);
        }
        match &event {
            Event::Timer { timer } => drop(self.timers.remove(timer)),
            Event::LoudspeakerLost { .. } => self.loudspeaker_gone = true,
            Event::LoudspeakerBack => self.loudspeaker_gone = false,
            Event::PromptEnded { id, whole } => {
                if let Some(at) = self.sounding.iter().position(|(one, ..)| one == id) {
                    let (_, kind, text) = self.sounding.remove(at);
                    if *whole {
                        self.ended_whole(kind, text);
                    }
                }
            }
            _ => {}
        }
        self.give(event);
    }

    /// The same events again give the same records.
    pub fn replays(&self) {
        let mut walker = self.begun.clone();
        let mut records = Vec::new();
        for (event, now) in &self.events {
            for effect in walker.handle(event.clone(), now) {
                if let Effect::Record { record, .. } = effect {
                    records.push(record);
                }
            }
        }
        assert_eq!(records, self.records, "a replay gives the same records");
    }
}

/// What is walked: a story from `tests/scenarios`, so that walks get far.
#[derive(Clone)]
pub struct Story {
    pub procedure: String,
    pub bike: String,
    pub world: Arc<World>,
    pub mechanic: Arc<Mechanic>,
}

impl Story {
    /// The story in a scenario's file.
    pub fn of(name: &str) -> Self {
        let file = format!("{}/tests/scenarios/{name}.md", env!("CARGO_MANIFEST_DIR"));
        let text = std::fs::read_to_string(&file).unwrap_or_else(|why| panic!("{file}: {why}"));
        let pair = |line: &'static str| move |text: &str| Some(text.strip_prefix(line)?.trim().to_owned());
        let head = |line: &'static str| text.lines().find_map(pair(line)).unwrap_or_else(|| panic!("{file}: {line}"));
        let answers: Vec<(&str, &str)> = text
            .lines()
            .filter_map(|line| line.strip_prefix("at ")?.split_once(':'))
            .map(|(at, answer)| (at.trim(), answer.trim()))
            .collect();
        let mechanic = Arc::new(Mechanic::new(&answers));
        let (procedure, bike) = (head("procedure:"), head("bike:"));
        Self { world: world(&procedure, &bike), mechanic, procedure, bike }
    }
}

/// The stories of a run: bikes with every kind of circuit, the key on early and late, running engines.
pub const STORIES: [&str; 12] = [
    "coil-heat",
    "no-power-key-switch",
    "dill-points-dirty",
    "points-lossy",
    "points-dwell-short",
    "weak-spark-coil-hot",
    "condenser-leaks",
    "triple-middle-coil-open",
    "tarragon-inner-points-dirty",
    "lovage-condenser-open",
    "battery-feed-key-lossy",
    "twin-points-wires-swapped",
];
