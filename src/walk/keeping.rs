//! The record: what follows once an entry is on disk, and what the user is told if the record is nearly full, takes no audio, or refuses an
//! entry for now or for good.

use super::event::{SayKind, Tone};
use super::phase::{After, Left, Owed, Phase};
use super::table::OnFailure;
use super::walker::Walker;
use crate::session::Record;
use serde_json::json;

impl Walker {
    /// Tells the user about the record now and then repeats the open question. Does not interrupt an answer: the sentence waits until the
    /// answer ends.
    pub(super) fn tell_of_the_record(&mut self, sentence: &'static str) {
        if self.is_speaking() {
            return self.talk.deferred.push(sentence);
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

    /// Says the sentences that waited for the end of an answer.
    pub(super) fn tell_what_waited(&mut self) {
        for sentence in std::mem::take(&mut self.talk.deferred) {
            self.tell_of_the_record(sentence);
        }
    }

    /// Handles the report that audio is no longer kept.
    pub(super) fn sound_dropped(&mut self) {
        let what = "sound-not-kept".to_owned();
        self.note_down(Record::Interrupted { step: self.step_id(), what, detail: "the disk takes none".to_owned() });
        self.tell_of_the_record("sound-not-kept");
    }

    /// Drops an entry that can never be written. An answer has to be given again in other words, or not at all.
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
            // A conclusion has no alternative wording.
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

    /// Takes what waits for record `id`. `None` if the walk waits for another record.
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

    /// Continues once the awaited record or advice has arrived.
    pub(super) fn go_on_with(&mut self, then: After) {
        let answers = matches!(then, After::Chosen { .. } | After::Read { amends: false, .. } | After::Done);
        // What was done before confirms nothing of now.
        if answers && !then.is_told() {
            self.confirm_state_change();
        }
        match then {
            After::Chosen { choice, echo, told } => self.chosen(choice, &echo, told),
            After::Read { taken, amends } => self.read(*taken, amends),
            After::Done => self.done(),
            After::Escaped { escape } => self.escaped(escape),
            After::Concluded { lines, last } => self.concluded(lines, last),
            After::Skipped { lacks } => self.check_skipped(lacks),
            After::NoteKept => self.note_kept(),
            After::Reckoned { said } => self.reckoned(said),
            After::Stopped => self.stopped(),
        }
    }

    /// Nothing is acknowledged before it is stored: says so, waits, and writes the record again on "carry on".
    pub(super) fn record_failed(&mut self, id: u64, why: &str) {
        self.tone(Tone::NotUnderstood);
        let said = json!({"why": why});
        match self.owed_for(id) {
            // A user who ends the walk does not have to wait for storage that may be gone for good.
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

    /// Writes again what storage refused.
    pub(super) fn write_again(&mut self) {
        if let Left::Owed(owed) = self.take_left() {
            self.write(owed.record, owed.then);
        }
    }
}
