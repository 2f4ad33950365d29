//! Spoken warnings about the record: it is nearly full, sound is being dropped, or an entry can never be written. (`silence.rs` handles
//! entries that cannot be written for now.)

use super::event::{SayKind, Tone};
use super::memory::{After, Phase};
use super::walker::Walker;
use crate::session::Record;
use serde_json::json;

impl Walker {
    /// A sentence about the record that has to be known now; what is asked is still asked. Nobody is interrupted in the middle of an
    /// answer: it is said after that.
    pub(super) fn tell_of_the_record(&mut self, sentence: &'static str) {
        if self.is_speaking() {
            return self.untold.push(sentence);
        }
        let listens = self.listening.is_some() || self.listen_after;
        if listens {
            self.deaf();
        }
        self.sentence(sentence, json!({}), SayKind::Notice);
        if listens {
            self.listen_when_quiet();
        }
    }

    /// The answer that something was not said over has been heard.
    pub(super) fn tell_what_waited(&mut self) {
        for sentence in std::mem::take(&mut self.untold) {
            self.tell_of_the_record(sentence);
        }
    }

    /// Sound is not kept from here on.
    pub(super) fn sound_dropped(&mut self) {
        let what = "sound-not-kept".to_owned();
        self.note_down(Record::Interrupted { step: self.step_id(), what, detail: "the disk takes none".to_owned() });
        self.tell_of_the_record("sound-not-kept");
    }

    /// Something can never be written: it is left out. An answer has to be given again, in other words or not at all.
    pub(super) fn record_refused(&mut self, id: u64, why: &str) {
        let said = json!({"why": why});
        let then = match &self.phase {
            Phase::Writing { id: waited, then } if *waited == id => Some((**then).clone()),
            _ => None,
        };
        let Some(then) = then else {
            let listens = self.listening.is_some() || self.listen_after;
            if listens {
                self.deaf();
            }
            self.sentence("record-refused", said, SayKind::Notice);
            if listens {
                self.listen_when_quiet();
            }
            return;
        };
        self.pending = None;
        self.tone(Tone::NotUnderstood);
        self.sentence("record-refused", said, SayKind::Notice);
        match then {
            // There is nothing else to be said instead.
            After::Stopped | After::Concluded { .. } => self.stopped(),
            _ => {
                self.phase = Phase::Asking;
                self.ask_again();
            }
        }
    }
}
