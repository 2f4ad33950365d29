//! The record: what follows once an entry is on disk, and what is said where it is nearly full, takes no sound, or an entry cannot be written,
//! for now or for ever.

use super::event::{SayKind, Tone};
use super::phase::{After, Left, Owed, Phase};
use super::table::OnFailure;
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

    /// What storage would not take is written again.
    pub(super) fn write_again(&mut self) {
        if let Left::Owed(owed) = self.take_left() {
            self.write(owed.record, owed.then);
        }
    }
}
