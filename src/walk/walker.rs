//! The walker's memory and the one door into it.

use super::event::{Effect, Event, SayKind, TimerKind, Tone};
use super::readings::Taken;
use super::world::World;
use crate::bike::BikeState;
use crate::phrase::{Answer, Hypothesis};
use crate::procedure::{Procedure, Scope, Step, Target};
use crate::session::{Now, Record};
use crate::trade::Sum;
use serde_json::{Map, Value};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// One round of a loop that the walk is in.
#[derive(Debug, Clone)]
pub(super) struct Round {
    /// Loop id.
    pub each: String,
    /// Name of the item in templates.
    pub bind: String,
    /// All items.
    pub items: Vec<Value>,
    /// The one at hand.
    pub at: usize,
}

/// One procedure on the stack of calls.
#[derive(Debug, Clone)]
pub(super) struct Frame {
    pub procedure: String,
    pub rounds: Vec<Round>,
    pub step: String,
    /// In the calling frame: where to go on when the called procedure is over.
    pub then: Option<Target>,
}

/// Where the walk is, whole: what "go back" goes back to.
#[derive(Debug, Clone)]
pub(super) struct Position {
    pub frames: Vec<Frame>,
    pub seen: Map<String, Value>,
    /// Doubted steps that a `back` returns to, innermost last.
    pub doubting: Vec<Vec<Frame>>,
    /// Number of the reading that was taken here, if one was.
    pub reading: Option<u32>,
}

/// What the walker waits for.
#[derive(Debug, Clone)]
pub(super) enum Phase {
    /// Nothing has begun.
    Idle,
    /// A caution has to be acknowledged; the others follow.
    Caution { now: String, rest: Vec<String> },
    /// A difference in the bike's state has to be confirmed.
    Restate,
    /// The step's question is open.
    Asking,
    /// "Did you say ...?"
    Confirming { heard: Hypothesis, clip: Option<String> },
    /// A number that no bike could show: "is that right?"
    Doubting { answer: Answer, words: String, confidence: f64, clip: Option<String> },
    /// A record is being written; then `then`.
    Writing { id: u64, then: Box<After> },
    /// Why is this check left out?
    SkipWhy,
    /// A note is open; what comes after it.
    Noting,
    /// A sum's inputs are asked for; those given so far.
    Reckoning { sum: &'static Sum, given: Vec<f64> },
    /// The last reading is being amended.
    Correcting { index: usize },
    /// Paused by the person, by heat, or in standby.
    Waiting,
    /// "Shall I end the walk?"
    StopConfirm,
    /// Storage failed; what is to be written again.
    Stuck { record: Box<Record>, then: Box<After> },
    /// The last words are being said.
    Closing { code: u8, why: String },
    /// Over.
    Over,
}

/// What follows once a record is on disk.
#[derive(Debug, Clone)]
pub(super) enum After {
    /// A choice of the step was taken.
    Chosen { choice: usize, echo: String },
    /// A reading was taken.
    Read { taken: Box<Taken>, amends: bool },
    /// The step was acknowledged or its note taken.
    Done,
    /// A conclusion was reached.
    Concluded { lines: Vec<String>, last: bool },
    /// The check is left out.
    LeftOut,
    /// A note beside the step was kept.
    NoteKept,
    /// A sum was done; what is said.
    Reckoned { said: String },
    /// The walk was stopped.
    Stopped,
}

/// How much is said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Detail {
    Short,
    Normal,
    Long,
}

/// Whether a prompt may be spoken over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Hearing {
    /// It is cut when somebody begins to speak.
    Cut,
    /// It is heard out: a caution, an answer said back, a change to be made on the bike. Only "stop" is listened for meanwhile.
    Whole,
}

/// What is listened for over a prompt.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Over {
    /// Only "stop".
    Stop,
    /// Whatever the question allows.
    Answer,
}

/// The walker.
#[derive(Clone)]
pub struct Walker {
    pub(super) world: Arc<World>,
    pub(super) out: Vec<Effect>,
    pub(super) now: Now,
    pub(super) phase: Phase,
    pub(super) at: Position,
    pub(super) history: Vec<Position>,
    pub(super) state: BikeState,
    /// Readings as taken, for "last reading" and "correct that".
    pub(super) readings: Vec<Taken>,
    /// Checks left out, in words.
    pub(super) untested: Vec<(String, String)>,
    /// When each caution was last acknowledged, by its text: the same words in a called procedure are the same caution.
    pub(super) cautions: BTreeMap<String, u64>,
    /// Answers doubted already: step, round and answer.
    pub(super) doubted: BTreeSet<String>,
    /// A battery check is being made again; where the walk goes on.
    pub(super) detour: Option<Position>,
    pub(super) detail: Detail,
    /// Prompts that have not ended, and what is done when the last one has.
    pub(super) speaking: BTreeMap<u64, Hearing>,
    pub(super) listen_after: bool,
    pub(super) listening: Option<u64>,
    /// What the open listen is for while prompts have not ended.
    pub(super) over: Option<Over>,
    /// Speaking over a prompt is allowed.
    pub(super) bargein: bool,
    /// A prompt was cut by the speech under way.
    pub(super) cut_short: bool,
    /// Prompts that were cut, one after another, by what was no answer.
    pub(super) in_vain: u32,
    pub(super) misses: u32,
    /// "Not sure" so far at this step.
    pub(super) unsure: u32,
    pub(super) silences: u32,
    /// When a stranger was last heard (ms).
    pub(super) stranger_at: Option<u64>,
    pub(super) in_speech: bool,
    pub(super) due: Vec<TimerKind>,
    pub(super) heat_timer: bool,
    pub(super) last_said: Vec<(String, SayKind)>,
    pub(super) waiting_since: Option<u64>,
    pub(super) restate_after_cautions: bool,
    /// The reading being corrected while its new value is questioned.
    pub(super) correcting: Option<usize>,
    /// The record being written.
    pub(super) pending: Option<Record>,
    pub(super) microphone_gone: bool,
    pub(super) concluded_as: String,
    pub(super) last_event_ms: u64,
    pub(super) steps_taken: u32,
    /// Stopped before a conclusion.
    pub(super) stopped: bool,
    next_id: u64,
}

impl Walker {
    /// A walker at the beginning of `world`'s main procedure.
    pub fn new(world: Arc<World>) -> Self {
        let first = Frame { procedure: world.main.clone(), rounds: Vec::new(), step: String::new(), then: None };
        Self {
            world,
            out: Vec::new(),
            now: Now { mono_ms: 0, wall: String::new() },
            phase: Phase::Idle,
            at: Position { frames: vec![first], seen: Map::new(), doubting: Vec::new(), reading: None },
            history: Vec::new(),
            state: BikeState::default(),
            readings: Vec::new(),
            untested: Vec::new(),
            cautions: BTreeMap::new(),
            doubted: BTreeSet::new(),
            detour: None,
            detail: Detail::Normal,
            speaking: BTreeMap::new(),
            over: None,
            bargein: false,
            cut_short: false,
            in_vain: 0,
            listen_after: false,
            listening: None,
            misses: 0,
            unsure: 0,
            silences: 0,
            stranger_at: None,
            in_speech: false,
            due: Vec::new(),
            heat_timer: false,
            last_said: Vec::new(),
            waiting_since: None,
            restate_after_cautions: false,
            correcting: None,
            pending: None,
            microphone_gone: false,
            concluded_as: String::new(),
            last_event_ms: 0,
            steps_taken: 0,
            stopped: false,
            next_id: 0,
        }
    }

    /// The same walker, listening over prompts too.
    #[must_use]
    pub fn with_bargein(mut self, allowed: bool) -> Self {
        self.bargein = allowed;
        self
    }

    /// Takes one event at `now` and returns everything to be done, in order.
    pub fn handle(&mut self, event: Event, now: &Now) -> Vec<Effect> {
        self.now = now.clone();
        if !self.is_over() || (self.stopped && matches!(event, Event::Resumed { .. })) {
            self.dispatch(event);
        }
        self.last_event_ms = now.mono_ms;
        std::mem::take(&mut self.out)
    }

    fn dispatch(&mut self, event: Event) {
        match event {
            Event::Begin => self.begin(),
            Event::Heard { listen, verdict, begin, end, clip } => self.heard(listen, verdict, end > begin, clip),
            Event::SpeechBegan => self.speech_began(),
            Event::PromptEnded { id, .. } => self.prompt_ended(id),
            Event::Recorded { id } => self.recorded(id),
            Event::RecordFailed { id, why } => self.record_failed(id, &why),
            Event::Timer { timer } => self.timer(timer),
            Event::MicrophoneLost { why } => self.microphone_lost(&why),
            Event::MicrophoneBack => self.microphone_back(),
            Event::Pressed { pedal } => self.pressed(pedal),
            Event::Resumed { gap_ms, repaired, bargein } => {
                self.bargein = bargein;
                self.resumed(gap_ms, repaired);
            }
            Event::Stop { why } => self.stop_from_outside(&why),
        }
    }

    /// The step the walk is at and the round of its innermost loop.
    pub fn place(&self) -> (&str, Option<&str>) {
        (&self.frame().step, self.round_id())
    }

    /// The procedure whose step is at hand.
    pub fn procedure_id(&self) -> &str {
        &self.frame().procedure
    }

    /// A walker at the same place that cannot go back, for trying what would come next.
    pub fn fork(&mut self) -> Self {
        self.history.clear();
        self.clone()
    }

    /// The state of the bike as agreed.
    pub fn bike_state(&self) -> &BikeState {
        &self.state
    }

    /// Ids of records that were asked for and have not been reported as stored: at most one waits.
    pub fn waits_for_record(&self) -> Option<u64> {
        match self.phase {
            Phase::Writing { id, .. } => Some(id),
            _ => None,
        }
    }

    /// The step's own question is open (not a caution, a confirmation or a pause).
    pub fn is_asking(&self) -> bool {
        matches!(self.phase, Phase::Asking)
    }

    /// A number is being questioned, or an answer asked back.
    pub fn is_questioning(&self) -> bool {
        matches!(self.phase, Phase::Confirming { .. } | Phase::Doubting { .. })
    }

    /// The open listen is one over prompts that have not ended.
    pub fn is_listening_over(&self) -> bool {
        self.over.is_some()
    }

    /// What it walks in.
    pub fn world(&self) -> &World {
        &self.world
    }

    /// The walk was stopped before a conclusion: [`Event::Resumed`] takes it up again.
    pub fn is_stopped(&self) -> bool {
        self.stopped
    }

    /// The walk is over.
    pub fn is_over(&self) -> bool {
        matches!(self.phase, Phase::Over)
    }

    pub(super) fn frame(&self) -> &Frame {
        self.at.frames.last().expect("the stack of calls is never empty")
    }

    pub(super) fn frame_mut(&mut self) -> &mut Frame {
        self.at.frames.last_mut().expect("the stack of calls is never empty")
    }

    pub(super) fn procedure<'w>(&self, world: &'w World) -> &'w Procedure {
        &world.procedures[&self.frame().procedure]
    }

    /// The step at hand, if the walk has begun.
    pub(super) fn step<'w>(&self, world: &'w World) -> Option<&'w Step> {
        self.procedure(world).step(&self.frame().step)
    }

    pub(super) fn round_id(&self) -> Option<&str> {
        let round = self.at.frames.iter().rev().find_map(|f| f.rounds.last())?;
        round.items[round.at].get("id").and_then(Value::as_str)
    }

    pub(super) fn round(&self) -> Option<String> {
        self.round_id().map(str::to_owned)
    }

    /// The side of the innermost loop's item in words: "left"; empty where it has none.
    pub(super) fn side_words(&self) -> &str {
        let round = self.at.frames.iter().rev().find_map(|f| f.rounds.last());
        round.and_then(|r| r.items[r.at].get("side_words")).and_then(Value::as_str).unwrap_or_default()
    }

    /// What templates and expressions see at this place.
    pub fn scope(&self) -> Scope {
        self.scope_of(&self.at)
    }

    /// The same at another place.
    pub(super) fn scope_of(&self, at: &Position) -> Scope {
        let mut scope = Scope::new(self.world.bike_value.clone());
        for round in at.frames.iter().flat_map(|f| &f.rounds) {
            scope.bind(&round.bind, round.items[round.at].clone());
        }
        for (name, value) in &at.seen {
            scope.see(name, value.clone());
        }
        scope
    }

    pub(super) fn id(&mut self) -> u64 {
        self.next_id += 1;
        self.next_id
    }

    pub(super) fn say(&mut self, text: impl Into<String>, kind: SayKind) {
        let whole = matches!(kind, SayKind::Caution | SayKind::Echo);
        self.say_as(text.into(), kind, if whole { Hearing::Whole } else { Hearing::Cut });
    }

    pub(super) fn say_as(&mut self, text: String, kind: SayKind, hearing: Hearing) {
        if text.trim().is_empty() {
            return;
        }
        let id = self.id();
        self.speaking.insert(id, hearing);
        if matches!(kind, SayKind::Prompt | SayKind::Question | SayKind::Caution | SayKind::Conclusion) {
            self.last_said.push((text.clone(), kind));
        }
        self.out.push(Effect::Say { id, text, kind });
    }

    /// Says one of the vocabulary's sentences.
    pub(super) fn sentence(&mut self, key: &str, values: Value, kind: SayKind) {
        match self.world.vocabulary.sentence(key, &values) {
            Ok(text) => self.say(text, kind),
            Err(why) => self.fault(&why.to_string()),
        }
    }

    pub(super) fn words(&self, key: &str, values: Value) -> String {
        self.world.vocabulary.sentence(key, &values).unwrap_or_default()
    }

    pub(super) fn tone(&mut self, tone: Tone) {
        self.out.push(Effect::Tone { tone });
    }

    /// Notes something down; the walk does not wait for it.
    pub(super) fn note_down(&mut self, record: Record) {
        let id = self.id();
        self.out.push(Effect::Record { id, record, sync: false });
    }

    /// Writes a record and waits until it is on disk before `then`.
    pub(super) fn write(&mut self, record: Record, then: After) {
        self.deaf();
        let id = self.id();
        self.pending = Some(record.clone());
        self.out.push(Effect::Record { id, record, sync: true });
        self.phase = Phase::Writing { id, then: Box::new(then) };
    }

    /// A fault of the data that `check` would have found: the walk ends with the sentence.
    pub(super) fn fault(&mut self, why: &str) {
        self.deaf();
        self.phase = Phase::Over;
        self.out.push(Effect::Finish { code: 1, why: why.to_owned() });
    }

    pub(super) fn step_id(&self) -> String {
        self.frame().step.clone()
    }
}
