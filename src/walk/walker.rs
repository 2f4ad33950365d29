//! The walker and its only entry point.

use super::event::{Effect, Event, SayKind, Tone};
use super::memory::{Frame, Hearing, Position, Spoken};
use super::parts::{Advised, Bike, Cautions, Conversation, Ending, Place, Readings};
use super::phase::{After, Left, Owed, Phase};
use super::phase_kind::PhaseKind;
use super::world::World;
use crate::advice::Found;
use crate::bike::BikeState;
use crate::expression;
use crate::expression::{Scope, Template};
use crate::phrase::{Answer, Command};
use crate::procedure::{Procedure, Step};
use crate::session::{Now, Record};
use crate::source::Diagnostic;
use serde_json::Value;
use std::sync::Arc;

/// The walker.
#[derive(Clone)]
pub struct Walker {
    pub(super) world: Arc<World>,
    pub(super) out: Vec<Effect>,
    pub(super) now: Now,
    pub(super) phase: Phase,
    pub(super) place: Place,
    pub(super) talk: Conversation,
    pub(super) cautions: Cautions,
    pub(super) bike: Bike,
    pub(super) readings: Readings,
    pub(super) advice: Advised,
    pub(super) ending: Ending,
    /// Whether nobody hears this walker: it produces no words.
    pub(super) mute: bool,
    next_id: u64,
}

impl Walker {
    /// A walker at the start of `world`'s main procedure.
    pub fn new(world: Arc<World>) -> Self {
        Self {
            place: Place::start_of(&world.main),
            world,
            out: Vec::new(),
            now: Now { mono_ms: 0, wall: String::new() },
            phase: Phase::Idle,
            talk: Conversation::default(),
            cautions: Cautions::default(),
            bike: Bike::default(),
            readings: Readings::default(),
            advice: Advised::default(),
            ending: Ending::default(),
            mute: false,
            next_id: 0,
        }
    }

    /// A walker that takes the same routes as one from [`Walker::new`] but produces no words, no grammar and no notes: for simulating many
    /// walks. It cannot go back.
    pub fn unheard(world: Arc<World>) -> Self {
        Self { mute: true, ..Self::new(world) }
    }

    /// Handles one event at `now` and returns everything to be done, in order.
    pub fn handle(&mut self, event: Event, now: &Now) -> Vec<Effect> {
        self.now = now.clone();
        if !self.is_over() || (self.ending.stopped && matches!(event, Event::Resumed { .. })) {
            self.dispatch(event);
        }
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
            Event::Chosen(answered) => self.chosen_next(answered),
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
            Event::SpokenOver { allowed } => self.talk.bargein = allowed,
            Event::Resumed { gap_ms, repaired } => self.resumed(gap_ms, repaired),
            Event::Stop { why } => self.stop_from_outside(&why),
        }
    }

    /// The current step and the round of its innermost loop.
    pub fn place(&self) -> (&str, Option<&str>) {
        (&self.frame().step, self.round_id())
    }

    /// The procedure of the current step.
    pub fn procedure_id(&self) -> &str {
        &self.frame().procedure
    }

    /// Clears the "go back" history and returns a copy, for trying what would come next.
    pub fn fork(&mut self) -> Self {
        self.place.history.clear();
        self.clone()
    }

    /// What the walker waits for, as its row of the [table](super::row).
    pub fn phase(&self) -> PhaseKind {
        self.phase.kind()
    }

    /// Interrupts the phase and returns what it leaves open. The caller must set a new phase.
    pub(super) fn take_left(&mut self) -> Left {
        std::mem::replace(&mut self.phase, Phase::Idle).into_left()
    }

    /// The agreed state of the bike.
    pub fn bike_state(&self) -> &BikeState {
        &self.bike.state
    }

    /// The id of the record that is not yet stored and that the walk waits for.
    pub fn waits_for_record(&self) -> Option<u64> {
        match self.phase {
            Phase::Writing { id, .. } => Some(id),
            _ => None,
        }
    }

    /// Whether the step's own question is open (not a caution, a confirmation or a pause).
    pub fn is_asking(&self) -> bool {
        matches!(self.phase, Phase::Asking)
    }

    /// Whether the dialogue is over and the guard waits for somebody to confirm that the power is off.
    pub fn is_guarding(&self) -> bool {
        matches!(self.phase, Phase::Guarding { .. })
    }

    /// Whether the walker is questioning a number or asking the user to confirm an answer.
    pub fn is_questioning(&self) -> bool {
        matches!(self.phase, Phase::Confirming { .. } | Phase::Doubting { .. })
    }

    /// The answer that the user is asked to confirm.
    pub fn questioned(&self) -> Option<Answer> {
        match &self.phase {
            Phase::Confirming { heard, .. } => Some(heard.answer.clone()),
            Phase::Doubting { answer, .. } => Some(answer.clone()),
            Phase::StopConfirm { .. } => Some(Answer::Command(Command::Stop)),
            _ => None,
        }
    }

    /// What the walker walks in.
    pub fn world(&self) -> &Arc<World> {
        &self.world
    }

    /// Whether the walk was stopped before a conclusion. [`Event::Resumed`] continues it.
    pub fn is_stopped(&self) -> bool {
        self.ending.stopped
    }

    /// What a walk in best order found.
    pub fn found(&self) -> Option<&Found> {
        self.ending.found.as_deref()
    }

    /// Whether the walk is over.
    pub fn is_over(&self) -> bool {
        matches!(self.phase, Phase::Over)
    }

    pub(super) fn frame(&self) -> &Frame {
        self.place.at.frames.last().expect("the stack of calls is never empty")
    }

    pub(super) fn frame_mut(&mut self) -> &mut Frame {
        self.place.at.frames.last_mut().expect("the stack of calls is never empty")
    }

    pub(super) fn procedure<'w>(&self, world: &'w World) -> &'w Procedure {
        &world.procedures[&self.frame().procedure]
    }

    /// The current step, if the walk has begun.
    pub(super) fn step<'w>(&self, world: &'w World) -> Option<&'w Step> {
        self.procedure(world).step(&self.frame().step)
    }

    pub(super) fn round_id(&self) -> Option<&str> {
        let round = self.place.at.frames.iter().rev().find_map(|f| f.rounds.last())?;
        round.items[round.at].get("id").and_then(Value::as_str)
    }

    pub(super) fn round(&self) -> Option<String> {
        self.round_id().map(str::to_owned)
    }

    /// The side of the innermost loop's item in words: "left". Empty if it has none.
    pub(super) fn side_words(&self) -> &str {
        let round = self.place.at.frames.iter().rev().find_map(|f| f.rounds.last());
        round.and_then(|r| r.items[r.at].get("side_words")).and_then(Value::as_str).unwrap_or_default()
    }

    /// What templates and expressions see at this place.
    pub fn scope(&self) -> Scope {
        self.scope_of(&self.place.at)
    }

    /// What they see at another position.
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

    /// Renders a text that is only spoken or noted.
    pub(super) fn worded(&self, text: &Template) -> Result<String, Diagnostic> {
        if self.mute { Ok(String::new()) } else { expression::render(text, &self.scope()) }
    }

    pub(super) fn say(&mut self, text: impl Into<String>, kind: SayKind) {
        self.say_as(text.into(), kind, Hearing::of(kind));
    }

    pub(super) fn say_as(&mut self, text: String, kind: SayKind, hearing: Hearing) {
        if self.mute || text.trim().is_empty() {
            return;
        }
        let id = self.id();
        self.talk.speaking.insert(id, Spoken { hearing, kind, text: text.clone() });
        if matches!(kind, SayKind::Prompt | SayKind::Question | SayKind::Caution | SayKind::Conclusion) {
            self.talk.last_said.retain(|(said, _)| *said != text);
            self.talk.last_said.push((text.clone(), kind));
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

    /// Records something that the walk does not wait for.
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
        self.out.push(Effect::Record { id, record: record.clone(), sync: true });
        self.phase = Phase::Writing { id, owed: Box::new(Owed { record, then }) };
    }

    /// A fault in the data that `check` would have found: says so and ends the walk. Tells the user what to put back first.
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
        if self.talk.speaking.is_empty() {
            self.last_words_said(1, why.to_owned());
        }
    }

    pub(super) fn step_id(&self) -> String {
        self.frame().step.clone()
    }
}
