//! Silence, timers, the microphone, the pedal, failing storage and waking up again. Silence is never an answer.

use super::enter::How;
use super::event::{Effect, Pedal, SayKind, TimerKind, Tone};
use super::memory::{After, Phase, Taken};
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
        self.speech_since = None;
        self.tell_what_waited();
        match timer {
            TimerKind::Silence => self.silent(),
            TimerKind::Watch => self.watched_for_long(),
            TimerKind::CoilHeat => self.guard_due(),
        }
    }

    /// First a tone, then a question, then standby.
    fn silent(&mut self) {
        if self.listening.is_none()
            || matches!(self.phase, Phase::Waiting | Phase::Stuck { .. } | Phase::Guarding { .. })
        {
            return;
        }
        self.silences += 1;
        match self.silences {
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
        if !matches!(self.phase, Phase::Asking) {
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
        let before = self.stranger_at.replace(self.now.mono_ms);
        let again = before.is_some_and(|at| self.now.mono_ms.saturating_sub(at) <= STRANGERS_WITHIN_MS);
        let open = matches!(
            self.phase,
            Phase::Asking | Phase::Caution { .. } | Phase::Restate | Phase::Confirming { .. } | Phase::Doubting { .. }
        );
        again && open
    }

    /// Somebody else is talking: the walk waits, without a word, for "carry on" or the pedal. Only a hot coil is spoken of.
    pub(super) fn leave_strangers_alone(&mut self) {
        self.stranger_at = None;
        self.stop_asking();
        if self.is_power_on() {
            self.ask_for_power_off();
        }
        self.begin_waiting("strangers", "two utterances of somebody else within 20 s");
    }

    fn stop_asking(&mut self) {
        self.out.push(Effect::Cut);
        self.speaking.clear();
        self.deaf();
        self.out.push(Effect::StopTimer { timer: TimerKind::Watch });
    }

    fn begin_waiting(&mut self, what: &str, detail: &str) {
        self.note_down(Record::Interrupted { step: self.step_id(), what: what.to_owned(), detail: detail.to_owned() });
        self.phase = Phase::Waiting;
        self.waiting_since = Some(self.now.mono_ms);
        self.watch_heat();
        self.listen_when_quiet();
    }

    /// "Carry on".
    pub(super) fn carry_on(&mut self) {
        let gap = self.waiting_since.take().map_or(0, |since| self.now.mono_ms.saturating_sub(since));
        self.silences = 0;
        self.sentence("going-on", json!({}), SayKind::Notice);
        self.go_on_after(gap);
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
        let Some(taken) = self.readings.iter().find(at_battery).cloned() else { return false };
        if taken.step == self.step_id() {
            return false;
        }
        self.sentence("battery-again", json!({}), SayKind::Notice);
        self.detour = Some(self.at.clone());
        self.at.frames = taken.frames;
        self.enter(&taken.step, How::Restated);
        true
    }

    /// The program was started again on this session: what is known is said again before anything else.
    pub(super) fn resumed(&mut self, gap_ms: u64, repaired: bool) {
        let was_stopped = std::mem::take(&mut self.stopped);
        self.speaking.clear();
        self.listening = None;
        self.over = None;
        self.speech_since = None;
        self.heard_whole.clear();
        self.printed_cautions.clear();
        self.loudspeaker_gone = false;
        self.stop_asked = false;
        self.untold.clear();
        self.microphone_gone = false;
        self.doubt_the_power();
        self.cautions.clear();
        let detail = format!("after {} s", gap_ms / 1000);
        self.note_down(Record::Interrupted { step: self.step_id(), what: "resumed".into(), detail });
        self.sentence("resumed", json!({}), SayKind::Notice);
        if repaired {
            self.sentence("repaired", json!({}), SayKind::Notice);
        }
        if self.is_power_on() {
            self.ask_for_power_off();
        }
        match self.phase {
            Phase::Closing { .. } if !was_stopped => return self.repeat_last(),
            Phase::Guarding { .. } if !was_stopped => return self.listen_when_quiet(),
            Phase::Closing { .. } | Phase::Guarding { .. } | Phase::Over => self.phase = Phase::Asking,
            _ => {}
        }
        if !self.readings.is_empty() {
            self.say_last_reading();
        }
        let was_waiting = self.waiting_since.take();
        let state = std::mem::take(&mut self.state);
        let told = self.state_words(&state);
        if !told.is_empty() {
            self.sentence("restate-state", json!({"state": told.join(" ")}), SayKind::Notice);
        }
        self.state = state;
        // Whether the key was left on is not known: a step that needs it says so again.
        self.state.switches.remove("key");
        let waited = was_waiting.map_or(0, |since| self.now.mono_ms.saturating_sub(since));
        match self.phase {
            // A conclusion is being written; the walk goes on when it is.
            Phase::Writing { .. } | Phase::Weighing { .. } | Phase::Choosing { .. } => return,
            Phase::Stuck { .. } => {
                self.sentence("storage-waits", json!({}), SayKind::Notice);
                return self.listen_when_quiet();
            }
            _ => {}
        }
        self.go_on_after(gap_ms.max(waited));
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
        self.microphone_gone = true;
        let detail = why.to_owned();
        self.note_down(Record::Interrupted { step: self.step_id(), what: "microphone-lost".into(), detail });
        self.sentence("mic-lost", json!({}), SayKind::Notice);
        self.listen_after = true;
    }

    pub(super) fn microphone_back(&mut self) {
        if !std::mem::take(&mut self.microphone_gone) {
            return;
        }
        let record =
            Record::Interrupted { step: self.step_id(), what: "microphone-back".into(), detail: String::new() };
        self.note_down(record);
        self.sentence("mic-back", json!({}), SayKind::Notice);
        if matches!(
            self.phase,
            Phase::Writing { .. } | Phase::Weighing { .. } | Phase::Choosing { .. } | Phase::Closing { .. }
        ) {
            return;
        }
        match self.phase {
            Phase::Guarding { .. } => self.ask_for_power_off(),
            _ => self.repeat_last(),
        }
        self.listen_when_quiet();
    }

    /// Times in the record would go backwards without a word: it is said at once, and the walk waits.
    pub(super) fn clock_set_back(&mut self, by_ms: u64) {
        const SENTENCE: &str = "clock-set-back";
        let detail = format!("by {} s", by_ms / 1000);
        self.note_down(Record::Interrupted { step: self.step_id(), what: SENTENCE.into(), detail });
        match self.phase {
            // What is being written or closed goes on by itself; nobody is asked anything.
            Phase::Idle
            | Phase::Writing { .. }
            | Phase::Weighing { .. }
            | Phase::Choosing { .. }
            | Phase::Closing { .. } => {
                self.sentence(SENTENCE, json!({}), SayKind::Notice);
            }
            Phase::Waiting | Phase::Stuck { .. } | Phase::Guarding { .. } => {
                self.deaf();
                self.sentence(SENTENCE, json!({}), SayKind::Notice);
                self.listen_when_quiet();
            }
            _ => self.wait(SENTENCE, "pause"),
        }
    }

    pub(super) fn pressed(&mut self, pedal: Pedal) {
        match (pedal, self.phase.clone()) {
            (
                _,
                Phase::Writing { .. }
                | Phase::Weighing { .. }
                | Phase::Choosing { .. }
                | Phase::Closing { .. }
                | Phase::Idle,
            ) => {}
            (Pedal::Listen, Phase::Waiting | Phase::Guarding { .. }) if self.is_power_on() => {
                self.pedal_means_power_off();
            }
            (Pedal::Listen, Phase::Waiting | Phase::Stuck { .. }) => self.command(Command::Resume),
            // A caution is heard to its end.
            (Pedal::Listen, _) if self.is_cautioning() => {}
            (Pedal::Listen, _) => {
                // Whoever presses does not need to hear the rest.
                self.out.push(Effect::Cut);
                self.speaking.clear();
                self.deaf();
                self.listen_when_quiet();
            }
            (Pedal::Repeat, _) => self.command(Command::Repeat),
        }
    }

    pub(super) fn recorded(&mut self, id: u64) {
        let Phase::Writing { id: waited, then } = &self.phase else { return };
        if *waited != id {
            return;
        }
        self.pending = None;
        let then = (**then).clone();
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
        if let Phase::Writing { id: waited, then } = &self.phase
            && *waited == id
            && matches!(**then, After::Stopped)
        {
            // Whoever ends the walk is not kept waiting for a storage that may be gone for good.
            self.sentence("storage-failed", json!({"why": why}), SayKind::Notice);
            return self.stopped();
        }
        let phase = std::mem::replace(&mut self.phase, Phase::Waiting);
        self.phase = match (phase, self.pending.take()) {
            (Phase::Writing { id: waited, then }, Some(record)) if waited == id => {
                Phase::Stuck { record: Box::new(record), then }
            }
            (Phase::Writing { id, then }, pending) => {
                self.pending = pending;
                Phase::Writing { id, then }
            }
            (Phase::Stuck { record, then }, _) => Phase::Stuck { record, then },
            (closing @ (Phase::Closing { .. } | Phase::Guarding { .. }), _) => closing,
            _ => {
                self.waiting_since = Some(self.now.mono_ms);
                Phase::Waiting
            }
        };
        self.deaf();
        self.sentence("storage-failed", json!({"why": why}), SayKind::Notice);
        if !matches!(self.phase, Phase::Writing { .. } | Phase::Closing { .. }) {
            self.listen_when_quiet();
        }
    }
}
