//! Timers, silence and waiting. Silence is never an answer.

use crate::session::{Miss, Record};
use crate::walk::event::{Effect, SayKind, TimerKind, Tone};
use crate::walk::phase::Phase;
use crate::walk::table::{OnSilence, OnStrangers};
use crate::walk::walker::Walker;
use serde_json::json;

/// Two utterances of strangers within this time make the walk wait silently.
const STRANGERS_WITHIN_MS: u64 = 20_000;
/// A timer that is due during speech fires again after this long: it waits for the utterance and is never lost.
const AFTER_SPEECH_MS: u64 = 1_000;

impl Walker {
    pub(in crate::walk) fn timer(&mut self, timer: TimerKind) {
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

    /// Reacts with a tone first, then a question, then standby.
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
                self.note_down(Record::NoAnswer { step: self.step_id(), why: Miss::NoInput, free: None, clip: None });
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

    /// The walk waits: a pause or standby. If current may flow in a coil, asks the user to switch the power off first.
    pub(in crate::walk) fn wait(&mut self, sentence: &str, what: &str) {
        self.stop_asking();
        if self.is_power_on() {
            self.ask_for_power_off();
        }
        self.sentence(sentence, json!({}), SayKind::Notice);
        self.begin_waiting(what, &sentence.replace('-', " "));
    }

    /// The walk waits because the coils get hot.
    pub(in crate::walk) fn wait_for_power_off(&mut self) {
        self.stop_asking();
        self.say_coils_hot();
        self.begin_waiting("pause", "coils hot");
    }

    /// Whether this is the second utterance of a stranger within a short time.
    pub(in crate::walk) fn strangers_again(&mut self) -> bool {
        let before = self.talk.stranger_at.replace(self.now.mono_ms);
        let again = before.is_some_and(|at| self.now.mono_ms.saturating_sub(at) <= STRANGERS_WITHIN_MS);
        again && self.phase.row().strangers == OnStrangers::Waits
    }

    /// A stranger is talking: the walk waits silently for "carry on" or the pedal. Only the guard over hot coils speaks.
    pub(in crate::walk) fn leave_strangers_alone(&mut self) {
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
}
