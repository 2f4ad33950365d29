//! The walker and the one door into it.

use super::event::{Effect, Event, SayKind, Tone};
use super::memory::{
    After, Detail, Doubt, Frame, Guard, Hearing, Ordered, Over, Parts, Phase, Position, Printed, Spoken, Taken,
};
use super::observation::Observation;
use super::world::World;
use crate::advice::Weighed;
use crate::bike::BikeState;
use crate::phrase::{Answer, Command};
use crate::procedure::{self, Procedure, Scope, Seen, Step, Template};
use crate::session::{Now, Record};
use crate::source::Diagnostic;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

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
    pub(super) speaking: BTreeMap<u64, Spoken>,
    /// What came to its end since the step was entered.
    pub(super) heard_whole: BTreeMap<String, Printed>,
    /// The caution at hand as it was said.
    pub(super) caution_text: String,
    /// Cautions that were acknowledged when they could only be printed.
    pub(super) printed_cautions: BTreeSet<String>,
    pub(super) loudspeaker_gone: bool,
    pub(super) listen_after: bool,
    pub(super) listening: Option<u64>,
    /// Prompts may be spoken over; what the open listen is for while they sound.
    pub(super) bargein: bool,
    pub(super) over: Option<Over>,
    /// A prompt was cut by the speech under way; so many were, one after another, by what was no answer.
    pub(super) cut_short: bool,
    pub(super) in_vain: u32,
    pub(super) misses: u32,
    /// Answers to the question at hand that were asked back and denied.
    pub(super) denied: Vec<Answer>,
    /// "Not sure" so far at this step.
    pub(super) unsure: u32,
    pub(super) silences: u32,
    /// When a stranger was last heard (ms).
    pub(super) stranger_at: Option<u64>,
    /// Since when somebody has been speaking (ms).
    pub(super) speech_since: Option<u64>,
    pub(super) guard: Guard,
    /// The program was asked to end from outside; who asks again means at once.
    pub(super) stop_asked: bool,
    pub(super) last_said: Vec<(String, SayKind)>,
    pub(super) waiting_since: Option<u64>,
    pub(super) restate_after_cautions: bool,
    /// The reading being corrected while its new value is questioned.
    pub(super) correcting: Option<usize>,
    /// The record being written.
    pub(super) pending: Option<Record>,
    pub(super) microphone_gone: bool,
    /// Sentences that wait for the end of an answer.
    pub(super) untold: Vec<&'static str>,
    pub(super) concluded_as: String,
    pub(super) last_event_ms: u64,
    pub(super) steps_taken: u32,
    /// Stopped before a conclusion.
    pub(super) stopped: bool,
    /// Nobody hears it: no words are made.
    pub(super) mute: bool,
    /// Advice is asked for after every answer.
    pub(super) is_advised: bool,
    /// The answer at hand and what is left after it, before they have their place.
    pub(super) fresh: Option<(Arc<Observation>, Option<Arc<Weighed>>)>,
    /// The answer at hand was asked back and agreed to.
    pub(super) was_confirmed: bool,
    /// The doubtful check that is offered or repeated.
    pub(super) doubt: Option<Doubt>,
    /// Checks that were said to be doubtful.
    pub(super) doubts_told: BTreeSet<String>,
    /// The bike's state in which a check is made out of its turn, until it is agreed.
    pub(super) restoring: Option<BikeState>,
    /// Its parts come in another order than the written one.
    pub(super) ordered: Option<Ordered>,
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
            at: Position {
                frames: vec![first],
                seen: Seen::default(),
                doubting: Vec::new(),
                reading: None,
                observed: Vec::new(),
                weighed: None,
                parts: Parts::default(),
            },
            history: Vec::new(),
            state: BikeState::default(),
            readings: Vec::new(),
            untested: Vec::new(),
            cautions: BTreeMap::new(),
            doubted: BTreeSet::new(),
            detour: None,
            detail: Detail::Normal,
            speaking: BTreeMap::new(),
            heard_whole: BTreeMap::new(),
            caution_text: String::new(),
            printed_cautions: BTreeSet::new(),
            loudspeaker_gone: false,
            bargein: false,
            over: None,
            cut_short: false,
            in_vain: 0,
            listen_after: false,
            listening: None,
            misses: 0,
            denied: Vec::new(),
            unsure: 0,
            silences: 0,
            stranger_at: None,
            speech_since: None,
            guard: Guard::default(),
            stop_asked: false,
            last_said: Vec::new(),
            waiting_since: None,
            restate_after_cautions: false,
            correcting: None,
            pending: None,
            microphone_gone: false,
            untold: Vec::new(),
            concluded_as: String::new(),
            last_event_ms: 0,
            steps_taken: 0,
            stopped: false,
            mute: false,
            is_advised: false,
            fresh: None,
            was_confirmed: false,
            doubt: None,
            doubts_told: BTreeSet::new(),
            restoring: None,
            ordered: None,
            next_id: 0,
        }
    }

    /// A walker that takes every way as [`Walker::new`]'s does and makes no words, no grammar and no notes of it: for many walks that
    /// nobody hears. It cannot go back.
    pub fn unheard(world: Arc<World>) -> Self {
        Self { mute: true, ..Self::new(world) }
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
            Event::PromptEnded { id, whole } => self.prompt_ended(id, whole),
            Event::Recorded { id } => self.recorded(id),
            Event::Weighed(answered) => self.weighed(answered),
            Event::Chosen(answered) => self.chosen_part(answered),
            Event::RecordFailed { id, why, never: false } => self.record_failed(id, &why),
            Event::RecordFailed { id, why, never: true } => self.record_refused(id, &why),
            Event::RecordNearlyFull => self.tell_of_the_record("record-nearly-full"),
            Event::SoundDropped => self.sound_dropped(),
            Event::Timer { timer } => self.timer(timer),
            Event::MicrophoneLost { why } => self.microphone_lost(&why),
            Event::MicrophoneBack => self.microphone_back(),
            Event::LoudspeakerLost { why } => self.loudspeaker_lost(&why),
            Event::LoudspeakerBack => self.loudspeaker_back(),
            Event::ClockSetBack { by_ms } => self.clock_set_back(by_ms),
            Event::Pressed { pedal } => self.pressed(pedal),
            Event::SpokenOver { allowed } => self.bargein = allowed,
            Event::Resumed { gap_ms, repaired } => self.resumed(gap_ms, repaired),
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

    /// The dialogue is over, and the guard waits for somebody to confirm that the power is off.
    pub fn is_guarding(&self) -> bool {
        matches!(self.phase, Phase::Guarding { .. })
    }

    /// A number is being questioned, or an answer asked back.
    pub fn is_questioning(&self) -> bool {
        matches!(self.phase, Phase::Confirming { .. } | Phase::Doubting { .. })
    }

    /// What is asked back, to be agreed to or not.
    pub fn questioned(&self) -> Option<Answer> {
        match &self.phase {
            Phase::Confirming { heard, .. } => Some(heard.answer.clone()),
            Phase::Doubting { answer, .. } => Some(answer.clone()),
            Phase::StopConfirm => Some(Answer::Command(Command::Stop)),
            _ => None,
        }
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
        let mut scope = Scope::after(self.world.bike_value.clone(), at.seen.clone());
        for round in at.frames.iter().flat_map(|f| &f.rounds) {
            scope.bind(&round.bind, round.items[round.at].clone());
        }
        scope
    }

    pub(super) fn id(&mut self) -> u64 {
        self.next_id += 1;
        self.next_id
    }

    /// A text that is only to be heard or noted down.
    pub(super) fn worded(&self, text: &Template) -> Result<String, Diagnostic> {
        if self.mute { Ok(String::new()) } else { procedure::render(text, &self.scope()) }
    }

    pub(super) fn say(&mut self, text: impl Into<String>, kind: SayKind) {
        self.say_as(text.into(), kind, Hearing::of(kind));
    }

    pub(super) fn say_as(&mut self, text: String, kind: SayKind, hearing: Hearing) {
        if self.mute || text.trim().is_empty() {
            return;
        }
        let id = self.id();
        self.speaking.insert(id, Spoken { hearing, kind, text: text.clone() });
        if matches!(kind, SayKind::Prompt | SayKind::Question | SayKind::Caution | SayKind::Conclusion) {
            self.last_said.push((text.clone(), kind));
        }
        self.out.push(Effect::Say { id, text, kind });
    }

    /// Says one of the vocabulary's sentences.
    pub(super) fn sentence(&mut self, key: &str, values: Value, kind: SayKind) {
        if self.mute {
            return;
        }
        match self.world.vocabulary.sentence(key, &values) {
            Ok(text) => self.say(text, kind),
            Err(why) => self.fault(&why.to_string()),
        }
    }

    pub(super) fn words(&self, key: &str, values: Value) -> String {
        if self.mute {
            return String::new();
        }
        self.world.vocabulary.sentence(key, &values).unwrap_or_default()
    }

    pub(super) fn tone(&mut self, tone: Tone) {
        self.out.push(Effect::Tone { tone });
    }

    /// Notes something down; the walk does not wait for it.
    pub(super) fn note_down(&mut self, record: Record) {
        if self.mute {
            return;
        }
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

    /// A fault of the data that `check` would have found: the walk ends with the sentence, the bike is not left as it is.
    pub(super) fn fault(&mut self, why: &str) {
        self.deaf();
        let back = self.put_back();
        if back.is_empty() && !self.is_power_on() {
            self.phase = Phase::Over;
            self.out.push(Effect::Finish { code: 1, why: why.to_owned() });
            return;
        }
        self.phase = Phase::Closing { code: 1, why: why.to_owned() };
        let words = self.words("concluded-put-back", serde_json::json!({ "items": back }));
        self.say(words, SayKind::Conclusion);
        if self.speaking.is_empty() {
            self.last_words_said(1, why.to_owned());
        }
    }

    pub(super) fn step_id(&self) -> String {
        self.frame().step.clone()
    }
}
