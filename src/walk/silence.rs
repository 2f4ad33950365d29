//! Silence, timers, the microphone, the pedal, failing storage and waking up again. Silence is never an answer.

use super::enter::How;
use super::event::{Effect, Pedal, SayKind, TimerKind, Tone};
use super::memory::Taken;
use super::phase::{After, Left, Owed, Phase};
use super::table::{OnClock, OnFailure, OnMicrophone, OnPedal, OnResumed, OnSilence, OnStrangers};
use super::walker::Walker;
use crate::bike::{BikeState, InstrumentKind, StateNeed};
use crate::phrase::Command;
use crate::procedure::Ask;
use crate::session::{Miss, Record};
use serde_json::json;

/// Two utterances of strangers within this time, and the walk waits silently.
const STRANGERS_WITHIN_MS: u64 = 20_000;
/// A pause longer than this makes battery readings stale.
const BATTERY_STALE_MS: u64 = 4 * 3_600_000;
/// A timer that is due while somebody speaks comes again after this long: it waits for what was said, and is never lost.
const AFTER_SPEECH_MS: u64 = 1_000;

impl Walker {
    pub(super) fn timer(&mut self, timer: TimerKind) {
        if self.is_speaking() && !(timer == TimerKind::CoilHeat && self.guard_waits_no_more()) {
            return self.out.push(Effect::StartTimer { timer, ms: AFTER_SPEECH_MS });
        }
        self.talk.speech_since = None;
        self.tell_what_waited();
        match timer {
            TimerKind::Silence => self.silent(),
            TimerKind::Watch => self.watched_for_long(),
            TimerKind::CoilHeat => self.guard_due(),
        }
    }

    /// First a tone, then a question, then standby.
    fn silent(&mut self) {
        if self.talk.listening.is_none() || self.phase.row().silence == OnSilence::Patient {
            return;
        }
        self.talk.silences += 1;
        match self.talk.silences {
            1 => {
                self.tone(Tone::Listening);
                self.start_silence();
            }
            2 => {
                self.deaf();
                self.sentence("still-there", json!({}), SayKind::Question);
                self.listen_when_quiet();
            }
            _ => {
                self.note_down(Record::NotTaken { step: self.step_id(), why: Miss::NoInput, free: None, clip: None });
                self.wait("standby", "standby");
            }
        }
    }

    fn watched_for_long(&mut self) {
        if !self.phase.row().watch {
            return;
        }
        self.deaf();
        self.sentence("watch-ask", json!({}), SayKind::Question);
        self.name_choices();
        self.listen_when_quiet();
    }

    /// The walk waits: a pause, standby. With current in a coil it asks for the power to be switched off first.
    pub(super) fn wait(&mut self, sentence: &str, what: &str) {
        self.stop_asking();
        if self.is_power_on() {
            self.ask_for_power_off();
        }
        self.sentence(sentence, json!({}), SayKind::Notice);
        self.begin_waiting(what, &sentence.replace('-', " "));
    }

    /// The walk waits because the coils get hot.
    pub(super) fn wait_for_power_off(&mut self) {
        self.stop_asking();
        self.say_coils_hot();
        self.begin_waiting("pause", "coils hot");
    }

    /// Whether this is the second stranger's utterance within a short time.
    pub(super) fn strangers_again(&mut self) -> bool {
        let before = self.talk.stranger_at.replace(self.now.mono_ms);
        let again = before.is_some_and(|at| self.now.mono_ms.saturating_sub(at) <= STRANGERS_WITHIN_MS);
        again && self.phase.row().strangers == OnStrangers::Waits
    }

    /// Somebody else is talking: the walk waits, without a word, for "carry on" or the pedal. Only a hot coil is spoken of.
    pub(super) fn leave_strangers_alone(&mut self) {
        self.talk.stranger_at = None;
        self.stop_asking();
        if self.is_power_on() {
            self.ask_for_power_off();
        }
        self.begin_waiting("strangers", "two utterances of somebody else within 20 s");
    }

    fn stop_asking(&mut self) {
        self.out.push(Effect::Cut);
        self.talk.speaking.clear();
        self.deaf();
        self.out.push(Effect::StopTimer { timer: TimerKind::Watch });
    }

    fn begin_waiting(&mut self, what: &str, detail: &str) {
        self.note_down(Record::Interrupted { step: self.step_id(), what: what.to_owned(), detail: detail.to_owned() });
        self.phase = Phase::Waiting { left: self.take_left() };
        self.talk.waiting_since = Some(self.now.mono_ms);
        self.watch_heat();
        self.listen_when_quiet();
    }

    /// "Carry on".
    pub(super) fn carry_on(&mut self) {
        let gap = self.talk.waiting_since.take().map_or(0, |since| self.now.mono_ms.saturating_sub(since));
        self.talk.silences = 0;
        self.sentence("going-on", json!({}), SayKind::Notice);
        match self.take_left() {
            Left::Owed(owed) => self.write(owed.record, owed.then),
            left => {
                self.phase = Phase::Waiting { left };
                self.pick_up(gap);
            }
        }
    }

    /// What storage would not take is written again.
    pub(super) fn write_again(&mut self) {
        if let Left::Owed(owed) = self.take_left() {
            self.write(owed.record, owed.then);
        }
    }

    /// Goes on with what an interruption left open.
    pub(super) fn pick_up(&mut self, gap_ms: u64) {
        let left = self.take_left();
        self.phase = Phase::Asking;
        match left {
            Left::Step => self.go_on_after(gap_ms),
            Left::Stored(then) => self.go_on_with(*then),
            Left::Crossing { written } => self.ask_which_part(written),
            Left::Owed(owed) => {
                self.phase = Phase::Stuck { owed };
                self.sentence("storage-waits", json!({}), SayKind::Notice);
                self.listen_when_quiet();
            }
        }
    }

    fn go_on_after(&mut self, gap_ms: u64) {
        if gap_ms >= BATTERY_STALE_MS && self.battery_again() {
            return;
        }
        if self.offers_again() {
            return;
        }
        let step = self.step_id();
        if step.is_empty() {
            return self.begin();
        }
        self.enter(&step, How::Restated);
    }

    /// After hours a battery is not what it was: the check of it that was made is made again, then the walk goes on.
    fn battery_again(&mut self) -> bool {
        let world = self.world.clone();
        let at_battery = |taken: &&Taken| {
            let frame = taken.frames.last().expect("the stack of calls is never empty");
            let step = world.procedures[&frame.procedure].step(&taken.step);
            step.is_some_and(|s| {
                matches!(s.ask, Ask::Reading(_))
                    && s.state.instrument.as_ref().is_some_and(|(kind, a, b)| {
                        *kind == InstrumentKind::Voltmeter && a.starts_with("battery.") && b.starts_with("battery.")
                    })
            })
        };
        let Some(taken) = self.readings.all.iter().find(at_battery).cloned() else { return false };
        if taken.step == self.step_id() {
            return false;
        }
        self.sentence("battery-again", json!({}), SayKind::Notice);
        self.place.detour = Some(self.place.at.clone());
        self.place.at.frames = taken.frames;
        self.enter(&taken.step, How::Restated);
        true
    }

    /// The program was started again on this session: what is known is said again before anything else.
    pub(super) fn resumed(&mut self, gap_ms: u64, repaired: bool) {
        let was_stopped = std::mem::take(&mut self.ending.stopped);
        self.talk.speaking.clear();
        self.talk.listening = None;
        self.talk.over = None;
        self.talk.speech_since = None;
        self.talk.heard_whole.clear();
        self.cautions.printed.clear();
        self.talk.loudspeaker_gone = false;
        self.ending.stop_asked = false;
        self.talk.untold.clear();
        self.talk.microphone_gone = false;
        self.doubt_the_power();
        self.cautions.agreed.clear();
        let detail = format!("after {} s", gap_ms / 1000);
        self.note_down(Record::Interrupted { step: self.step_id(), what: "resumed".into(), detail });
        self.sentence("resumed", json!({}), SayKind::Notice);
        if repaired {
            self.sentence("repaired", json!({}), SayKind::Notice);
        }
        if self.is_power_on() {
            self.ask_for_power_off();
        }
        let goes_on = self.phase.row().resumed;
        match goes_on {
            _ if was_stopped => self.phase = Phase::Waiting { left: std::mem::take(&mut self.ending.left) },
            OnResumed::Closes => return self.repeat_last(),
            OnResumed::Guards => return self.listen_when_quiet(),
            _ => {}
        }
        if !self.readings.all.is_empty() {
            self.say_last_reading();
        }
        let was_waiting = self.talk.waiting_since.take();
        let state = std::mem::take(&mut self.bike.state);
        let told = self.state_words(&state);
        if !told.is_empty() {
            self.sentence("restate-state", json!({"state": told.join(" ")}), SayKind::Notice);
        }
        self.bike.state = state;
        // Whether the key was left on is not known: a step that needs it says so again.
        self.bike.state.switches.remove("key");
        let waited = was_waiting.map_or(0, |since| self.now.mono_ms.saturating_sub(since));
        match goes_on {
            OnResumed::StaysBusy if !was_stopped => {}
            _ => self.pick_up(gap_ms.max(waited)),
        }
    }

    /// A state in words.
    fn state_words(&self, state: &BikeState) -> Vec<String> {
        let need = StateNeed {
            switches: state.switches.clone(),
            unplugged: state.unplugged.clone(),
            fitted: state.fitted.clone(),
            instrument: state.instrument.clone(),
            ..Default::default()
        };
        let changes = BikeState::default().changes(&need);
        changes.iter().filter_map(|c| self.world.vocabulary.change_words(c, &self.world.bike).ok()).collect()
    }

    pub(super) fn microphone_lost(&mut self, why: &str) {
        self.deaf();
        self.talk.microphone_gone = true;
        let detail = why.to_owned();
        self.note_down(Record::Interrupted { step: self.step_id(), what: "microphone-lost".into(), detail });
        self.sentence("mic-lost", json!({}), SayKind::Notice);
        self.talk.listen_after = true;
    }

    pub(super) fn microphone_back(&mut self) {
        if !std::mem::take(&mut self.talk.microphone_gone) {
            return;
        }
        let record =
            Record::Interrupted { step: self.step_id(), what: "microphone-back".into(), detail: String::new() };
        self.note_down(record);
        self.sentence("mic-back", json!({}), SayKind::Notice);
        match self.phase.row().microphone {
            OnMicrophone::Told => return,
            OnMicrophone::PowerOff => self.ask_for_power_off(),
            OnMicrophone::Repeats => self.repeat_last(),
        }
        self.listen_when_quiet();
    }

    /// Times in the record would go backwards without a word: it is said at once, and the walk waits.
    pub(super) fn clock_set_back(&mut self, by_ms: u64) {
        const SENTENCE: &str = "clock-set-back";
        let detail = format!("by {} s", by_ms / 1000);
        self.note_down(Record::Interrupted { step: self.step_id(), what: SENTENCE.into(), detail });
        match self.phase.row().clock {
            OnClock::Told => self.sentence(SENTENCE, json!({}), SayKind::Notice),
            OnClock::ToldAndListens => {
                self.deaf();
                self.sentence(SENTENCE, json!({}), SayKind::Notice);
                self.listen_when_quiet();
            }
            OnClock::Waits => self.wait(SENTENCE, "pause"),
        }
    }

    pub(super) fn pressed(&mut self, pedal: Pedal) {
        match (pedal, self.phase.row().pedal) {
            (_, OnPedal::Nothing) => {}
            (Pedal::Repeat, _) => self.command(Command::Repeat),
            (Pedal::Listen, OnPedal::PowerOff) if self.is_power_on() => self.pedal_means_power_off(),
            (Pedal::Listen, OnPedal::PowerOff | OnPedal::CarriesOn) => self.command(Command::Resume),
            // A caution is heard to its end.
            (Pedal::Listen, OnPedal::Listens) if self.is_cautioning() => {}
            (Pedal::Listen, OnPedal::Listens) => {
                // Whoever presses does not need to hear the rest.
                self.out.push(Effect::Cut);
                self.talk.speaking.clear();
                self.deaf();
                self.listen_when_quiet();
            }
        }
    }

    /// Takes what the record `id` was waited for; nothing where another is.
    fn owed_for(&mut self, id: u64) -> Option<Box<Owed>> {
        if !matches!(self.phase, Phase::Writing { id: waited, .. } if waited == id) {
            return None;
        }
        match self.take_left() {
            Left::Owed(owed) => Some(owed),
            _ => None,
        }
    }

    pub(super) fn recorded(&mut self, id: u64) {
        let Some(owed) = self.owed_for(id) else { return };
        let then = owed.then;
        if let Some(why) = self.ending.stop_why.take() {
            return self.stop_leaving(Left::Stored(Box::new(then)), &why);
        }
        if self.asks_for_advice(&then) {
            return;
        }
        self.phase = Phase::Asking;
        self.go_on_with(then);
    }

    /// What was waited for is there.
    pub(super) fn go_on_with(&mut self, then: After) {
        if matches!(then, After::Chosen { .. } | After::Read { amends: false, .. } | After::Done) {
            self.told_is_done();
        }
        match then {
            After::Chosen { choice, echo } => self.chosen(choice, &echo),
            After::Read { taken, amends } => self.read(*taken, amends),
            After::Done => self.done(),
            After::Escaped { escape } => self.escaped(escape),
            After::Concluded { lines, last } => self.concluded(lines, last),
            After::LeftOut => self.left_out(),
            After::NoteKept => self.note_kept(),
            After::Reckoned { said } => self.reckoned(said),
            After::Stopped => self.stopped(),
        }
    }

    /// Nothing is acknowledged that is not stored: say so, wait, and write it again on "carry on".
    pub(super) fn record_failed(&mut self, id: u64, why: &str) {
        self.tone(Tone::NotUnderstood);
        let said = json!({"why": why});
        match self.owed_for(id) {
            // Whoever ends the walk is not kept waiting for a storage that may be gone for good.
            Some(owed) if matches!(owed.then, After::Stopped) => {
                self.sentence("storage-failed", said, SayKind::Notice);
                return self.stopped();
            }
            Some(owed) => match self.ending.stop_why.take() {
                Some(why) => {
                    self.sentence("storage-failed", said, SayKind::Notice);
                    return self.stop_leaving(Left::Owed(owed), &why);
                }
                None => self.phase = Phase::Stuck { owed },
            },
            None if self.phase.row().failure == OnFailure::Waits => {
                self.talk.waiting_since = Some(self.now.mono_ms);
                self.phase = Phase::Waiting { left: self.take_left() };
            }
            None => {}
        }
        self.deaf();
        self.sentence("storage-failed", said, SayKind::Notice);
        if !self.phase.row().hears.is_empty() {
            self.listen_when_quiet();
        }
    }
}
