//! Spoken controls.

use crate::expression;
use crate::phrase::{Answer, Command, ReadingKind};
use crate::procedure::{Ask, Meaning};
use crate::session::Record;
use crate::walk::enter::How;
use crate::walk::event::{Effect, SayKind, TimerKind};
use crate::walk::guard::STOPPED;
use crate::walk::memory::Detail;
use crate::walk::phase::{After, Left, Phase};
use crate::walk::phase_kind::PhaseKind;
use crate::walk::table::{OnHeat, OnStop};
use crate::walk::walker::Walker;
use serde_json::{Value, json};

impl Walker {
    pub(in crate::walk) fn command(&mut self, command: Command) {
        self.note_down(Record::Controlled { step: self.step_id(), command });
        match command {
            Command::Repeat => {
                match &self.phase {
                    phase if phase.row().heat == OnHeat::Speaks && self.bike.guard.raised => {
                        self.ask_for_power_off();
                    }
                    Phase::Waiting { .. } => self.sentence("paused", json!({}), SayKind::Notice),
                    _ => self.repeat_last(),
                }
                self.listen_when_quiet();
            }
            Command::Help => {
                self.explain();
                self.name_choices();
                self.listen_when_quiet();
            }
            Command::Back if matches!(self.phase, Phase::Reckoning { .. }) => self.ask_the_step_again(),
            Command::Back if matches!(self.phase, Phase::Telling { .. } | Phase::Undoing { .. }) => {
                let step = self.step_id();
                self.enter(&step, How::Restated);
            }
            Command::Back => self.back(),
            Command::Already => self.was_done_before(),
            Command::Skip => {
                self.sentence("skip-why", json!({}), SayKind::Question);
                self.phase = Phase::SkipWhy;
                self.listen_when_quiet();
            }
            Command::Pause => self.wait("paused", "pause"),
            Command::Resume => match self.phase.kind() {
                PhaseKind::Stuck => self.write_again(),
                PhaseKind::Waiting if self.is_power_on() => self.guard_aloud(),
                PhaseKind::Waiting => self.carry_on(),
                _ => {
                    self.repeat_last();
                    self.listen_when_quiet();
                }
            },
            Command::Correct => self.correct(),
            Command::LastReading => {
                self.say_last_reading();
                self.listen_when_quiet();
            }
            Command::Where => self.say_where(),
            Command::Suspects => self.say_suspects(),
            Command::WhyThis => self.say_why(),
            Command::WhatFollows => self.say_what_follows(),
            Command::Note => {
                self.sentence("note-go", json!({}), SayKind::Question);
                self.phase = Phase::Noting;
                self.listen_when_quiet();
            }
            Command::Shorter => self.set_detail(Detail::Short, "shorter"),
            Command::Longer => self.set_detail(Detail::Long, "longer"),
            Command::Louder | Command::Quieter => {
                self.out.push(Effect::Loudness { louder: command == Command::Louder });
                self.sentence(command.name(), json!({}), SayKind::Notice);
                self.listen_when_quiet();
            }
            Command::Stop | Command::AwaitParts => {
                self.ending.awaits_parts = command == Command::AwaitParts;
                self.out.push(Effect::Cut);
                self.talk.speaking.clear();
                self.sentence("stop-confirm", json!({}), SayKind::Question);
                self.phase = Phase::StopConfirm { left: self.take_left() };
                self.listen_when_quiet();
            }
        }
    }

    fn set_detail(&mut self, towards: Detail, sentence: &str) {
        self.talk.detail = match (self.talk.detail, towards) {
            (Detail::Long, Detail::Short) | (Detail::Short, Detail::Long) => Detail::Normal,
            _ => towards,
        };
        self.sentence(sentence, json!({}), SayKind::Notice);
        self.repeat_question();
    }

    /// Asks the open question again at the current level of detail, whatever the phase.
    fn repeat_question(&mut self) {
        match self.phase {
            Phase::Asking | Phase::Confirming { .. } | Phase::Doubting { .. } => self.ask_again(),
            _ => {
                self.repeat_last();
                self.listen_when_quiet();
            }
        }
    }

    /// Asks the step's question again.
    pub(in crate::walk) fn ask_again(&mut self) {
        self.readings.correcting = None;
        self.talk.last_said.clear();
        self.ask_aloud();
    }

    fn back(&mut self) {
        if self.is_repeating() {
            self.sentence("going-back", json!({}), SayKind::Notice);
            return self.leave_doubt();
        }
        let Some(position) = self.place.history.pop() else {
            self.sentence("nothing-before", json!({}), SayKind::Notice);
            self.repeat_last();
            return self.listen_when_quiet();
        };
        self.out.push(Effect::StopTimer { timer: TimerKind::Watch });
        self.place.at = position;
        self.bike.restoring = None;
        self.sentence("going-back", json!({}), SayKind::Notice);
        let step = self.step_id();
        self.enter(&step, How::Restated);
    }

    /// Amends the last reading. If the last answer was not a reading, goes back to it.
    fn correct(&mut self) {
        if let Phase::Correcting { .. } = self.phase {
            return self.listen_when_quiet();
        }
        let last_is_reading = self.place.history.last().is_some_and(|p| p.reading.is_some());
        if self.readings.all.is_empty() || (!last_is_reading && !self.place.history.is_empty()) {
            return self.back();
        }
        let index = self.readings.all.len() - 1;
        let taken = self.readings.all[index].clone();
        let reading = match taken.reading.kind {
            ReadingKind::OverRange => self.words("over-range-words", json!({})),
            _ => self.world.vocabulary.say_number(taken.reading.value, taken.unit, taken.resolution),
        };
        let name = taken.name.replace(['_', '-'], " ");
        self.sentence("correct-what", json!({"name": name, "reading": reading}), SayKind::Question);
        self.talk.denied = vec![Answer::Reading(taken.reading)];
        self.phase = Phase::Correcting { index };
        self.listen_when_quiet();
    }

    fn say_where(&mut self) {
        let world = self.world.clone();
        let title = expression::render(&self.procedure(&world).title, &self.scope()).unwrap_or_default();
        let side = self.side_words();
        let values = json!({
            "title": title,
            "step": self.step_id().replace('-', " "),
            "side": side,
            "answers": self.place.history.len(),
        });
        self.sentence("where", values, SayKind::Notice);
        self.listen_when_quiet();
    }

    pub(in crate::walk) fn keep_note(&mut self, text: String, clip: Option<String>) {
        let record = Record::Noted { step: self.step_id(), round: self.round(), text, clip };
        self.write(record, After::NoteKept);
    }

    pub(in crate::walk) fn note_kept(&mut self) {
        self.sentence("note-kept", json!({}), SayKind::Echo);
        let step = self.step_id();
        self.enter(&step, How::Again);
    }

    /// Follows the route of a step that was only acknowledged or whose note is stored.
    pub(in crate::walk) fn done(&mut self) {
        let world = self.world.clone();
        let Some(step) = self.step(&world) else { return };
        let route = match &step.ask {
            Ask::Done(route) | Ask::Note(route) => route.clone(),
            _ => return,
        };
        self.tone(crate::walk::event::Tone::Accepted);
        self.remember();
        self.observe();
        self.tested(step);
        self.repaired(step);
        self.see(&step.id.value.replace('-', "_"), Value::String("done".into()));
        self.lead_on("done", None, &route, Meaning::Neither);
    }

    pub(in crate::walk) fn go_on_after_stop_question(&mut self) {
        self.sentence("going-on", json!({}), SayKind::Notice);
        self.pick_up(0);
    }

    pub(in crate::walk) fn stop_for_good(&mut self, why: &str) {
        let left = self.take_left();
        self.stop_leaving(left, why);
    }

    /// Stops. A resumed walk finds what is left open.
    pub(in crate::walk) fn stop_leaving(&mut self, left: Left, why: &str) {
        self.ending.left = left;
        let record = Record::Interrupted { step: self.step_id(), what: "stopped".to_owned(), detail: why.to_owned() };
        self.write(record, After::Stopped);
    }

    /// The first request ends the walk with its closing words, the second at once.
    pub(in crate::walk) fn stop_from_outside(&mut self, why: &str) {
        let again = std::mem::replace(&mut self.ending.stop_asked, true);
        let what = self.phase.row().stop;
        if again || what == OnStop::AtOnce {
            return self.end_at_once();
        }
        if what == OnStop::Nothing {
            return;
        }
        self.out.push(Effect::Cut);
        self.talk.speaking.clear();
        match &self.phase {
            // The walk is already stopping.
            Phase::Writing { owed, .. } if matches!(owed.then, After::Stopped) => {}
            _ if what == OnStop::AfterTheRecord => self.ending.stop_why = Some(why.to_owned()),
            _ => self.stop_for_good(why),
        }
    }

    /// Called once the stop is on disk: says what to put back, then ends.
    pub(in crate::walk) fn stopped(&mut self) {
        self.sentence("stopped", json!({}), SayKind::Notice);
        let back = self.put_back();
        if !back.is_empty() {
            self.sentence("concluded-put-back", json!({"items": back}), SayKind::Conclusion);
        }
        self.ending.stopped = true;
        self.phase = Phase::Closing { code: 1, why: STOPPED.to_owned() };
    }
}
