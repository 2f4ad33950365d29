//! Timers, silence and waiting. Silence is never an answer.

use crate::phrase::{Answer, Hypothesis};
use crate::procedure::Ask;
use crate::session::{Miss, Record};
use crate::walk::event::{Effect, SayKind, TimerKind, Tone};
use crate::walk::phase::{Left, Phase};
use crate::walk::table::{OnSilence, OnStrangers};
use crate::walk::walker::Walker;
use serde_json::json;

/// Why the walk waits: nothing was said for long.
const STANDBY: &str = "standby";
/// A pause of its own that lasted longer than this is not ended by an answer: cautions are said again first.
const ANSWER_ENDS_WITHIN_MS: u64 = 600_000;
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
                self.wait("standby", STANDBY);
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
        self.talk.answer_ends_pause = what == STANDBY && self.may_answer_later();
        self.stop_asking();
        if self.is_power_on() {
            self.ask_for_power_off();
        }
        self.sentence(sentence, json!({}), SayKind::Notice);
        self.begin_waiting(what, &sentence.replace('-', " "));
    }

    /// The walk waits because the coils get hot.
    pub(in crate::walk) fn wait_for_power_off(&mut self) {
        self.talk.answer_ends_pause = false;
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

    /// A stranger is talking: the walk says so, once, and waits for the answer, "carry on" or the pedal. Else only the guard over hot coils
    /// speaks.
    pub(in crate::walk) fn leave_strangers_alone(&mut self) {
        self.talk.stranger_at = None;
        self.talk.answer_ends_pause = self.may_answer_later();
        self.stop_asking();
        if self.is_power_on() {
            self.ask_for_power_off();
        } else if !std::mem::replace(&mut self.talk.told_of_strangers, true) {
            self.sentence("waits-for-you", json!({}), SayKind::Notice);
            if self.talk.answer_ends_pause {
                self.name_choices();
            }
        }
        self.begin_waiting("strangers", "two utterances of somebody else within 20 s");
    }

    /// Whether an answer may end the pause that begins now. Not at a note, which would take any words, and not while coils may carry current.
    fn may_answer_later(&mut self) -> bool {
        let world = self.world.clone();
        let is_note = self.step(&world).is_some_and(|step| matches!(step.ask, Ask::Note(_)));
        self.is_asking() && !is_note && !self.is_power_on()
    }

    /// Whether this is an answer of the step that ends a pause which the walk began by itself.
    pub(in crate::walk) fn ends_pause(&self, heard: &Hypothesis) -> bool {
        let waited = self.talk.waiting_since.map_or(0, |since| self.now.mono_ms.saturating_sub(since));
        let answers = matches!(heard.answer, Answer::Choice(_) | Answer::Reading(_) | Answer::Done);
        let open = self.talk.answer_ends_pause && matches!(self.phase, Phase::Waiting { left: Left::Step });
        answers && open && waited <= ANSWER_ENDS_WITHIN_MS && !self.bike.guard.raised
    }

    /// Goes on with the open question and asks whether this was the answer.
    pub(in crate::walk) fn goes_on_with_answer(&mut self, heard: Hypothesis, clip: Option<String>) {
        self.talk.waiting_since = None;
        self.talk.silences = 0;
        self.phase = Phase::Asking;
        if heard.answer == Answer::Done {
            self.sentence("going-on", json!({}), SayKind::Notice);
            return self.ask_again();
        }
        self.confirm(heard, None, clip);
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
