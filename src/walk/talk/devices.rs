//! Handles the microphone, the pedals and the wall clock.

use crate::phrase::Command;
use crate::session::Record;
use crate::walk::event::{Effect, Pedal, SayKind};
use crate::walk::table::{OnClock, OnMicrophone, OnPedal};
use crate::walk::walker::Walker;
use serde_json::json;

impl Walker {
    pub(in crate::walk) fn microphone_lost(&mut self, why: &str) {
        self.deaf();
        self.talk.microphone_gone = true;
        let detail = why.to_owned();
        self.note_down(Record::Interrupted { step: self.step_id(), what: "microphone-lost".into(), detail });
        self.sentence("mic-lost", json!({}), SayKind::Notice);
        self.talk.listen_after = true;
    }

    pub(in crate::walk) fn microphone_back(&mut self) {
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

    /// The record's times would silently go backwards: tells the user at once, and the walk waits.
    pub(in crate::walk) fn clock_set_back(&mut self, by_ms: u64) {
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

    pub(in crate::walk) fn pressed(&mut self, pedal: Pedal) {
        match (pedal, self.phase.row().pedal) {
            (_, OnPedal::Nothing) => {}
            (Pedal::Repeat, _) => self.command(Command::Repeat),
            (Pedal::Listen, OnPedal::PowerOff) if self.is_power_on() => self.pedal_means_power_off(),
            (Pedal::Listen, OnPedal::PowerOff | OnPedal::CarriesOn) => self.command(Command::Resume),
            // A caution plays to its end.
            (Pedal::Listen, OnPedal::Listens) if self.is_cautioning() => {}
            (Pedal::Listen, OnPedal::Listens) => {
                // A user who presses the pedal does not need the rest of the prompt.
                self.out.push(Effect::Cut);
                self.talk.speaking.clear();
                self.deaf();
                self.listen_when_quiet();
            }
        }
    }
}
