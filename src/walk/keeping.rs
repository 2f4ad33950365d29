//! Spoken warnings about the record: it is nearly full, sound is being dropped, or an entry can never be written. (`silence.rs` handles
//! entries that cannot be written for now.)

use super::event::{SayKind, Tone};
use super::phase::{After, Left, Phase};
use super::walker::Walker;
use crate::session::Record;
use serde_json::json;

impl Walker {
    /// A sentence about the record that has to be known now; what is asked is still asked. Nobody is interrupted in the middle of an
    /// answer: it is said after that.
    pub(super) fn tell_of_the_record(&mut self, sentence: &'static str) {
        if self.is_speaking() {
            return self.talk.untold.push(sentence);
        }
        let listens = self.talk.listening.is_some() || self.talk.listen_after;
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
        for sentence in std::mem::take(&mut self.talk.untold) {
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
        let waited = matches!(&self.phase, Phase::Writing { id: waited, .. } if *waited == id);
        let (true, Left::Owed(owed)) = (waited, self.phase.clone().into_left()) else {
            let listens = self.talk.listening.is_some() || self.talk.listen_after;
            if listens {
                self.deaf();
            }
            self.sentence("record-refused", said, SayKind::Notice);
            if listens {
                self.listen_when_quiet();
            }
            return;
        };
        self.tone(Tone::NotUnderstood);
        self.sentence("record-refused", said, SayKind::Notice);
        match owed.then {
            After::Stopped => self.stopped(),
            // There is nothing else to be said instead.
            After::Concluded { .. } => {
                self.ending.left = Left::Owed(owed);
                self.stopped();
            }
            _ => {
                self.phase = Phase::Asking;
                self.ask_again();
            }
        }
    }
}
