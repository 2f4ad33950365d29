//! "I have done that already": the answer of a check that was made before is only told. It is evidence with a slip rate of its own, it changes
//! nothing about the bike, and it never stands for a caution, an action, or anything that counts only as it is now.
//!
//! The next step may rely on the state that the check would have left, and on its cautions: it asks for both itself.

use crate::bike::{BikeState, Change};
use crate::expression;
use crate::procedure::{self, Step};
use crate::session::Record;
use crate::walk::enter::How;
use crate::walk::event::{Effect, SayKind, TimerKind};
use crate::walk::memory::{Hearing, Told};
use crate::walk::phase::Phase;
use crate::walk::walker::Walker;
use serde_json::json;

impl Walker {
    /// Handles "I have done that already".
    pub(in crate::walk) fn was_done_before(&mut self) {
        let world = self.world.clone();
        let Some(step) = self.step(&world) else { return };
        if !self.may_be_told(step) {
            self.sentence("told-not", json!({}), SayKind::Notice);
            return self.listen_when_quiet();
        }
        self.out.push(Effect::StopTimer { timer: TimerKind::Watch });
        self.readings.correcting = None;
        self.talk.denied.clear();
        self.talk.misses = 0;
        let asked = self.bike.before.clone().filter(|(key, _)| *key == self.untested_key(step));
        let Some((_, before)) = asked else {
            return match self.state_if_made(step) {
                Ok(made_in) => self.ask_of_unasked(step, made_in),
                Err(why) => self.fault(&why),
            };
        };
        let made_in = Box::new(self.bike.state.clone());
        let changes = self.changes_back(&before);
        self.talk.last_said.clear();
        if changes.is_empty() {
            return self.left_as_it_was(made_in, "");
        }
        let text = self.words("told-leave", json!({ "changes": changes }));
        self.hear_again(&text);
        self.say_as(text.clone(), SayKind::Prompt, Hearing::Whole);
        self.sentence("acknowledge", json!({}), SayKind::Prompt);
        self.phase = Phase::Undoing { made_in, text };
        self.listen_when_quiet();
    }

    /// Whether a check that was made before counts. Not in a procedure that only makes safe or proves an instrument; not where an answer is in
    /// doubt or a check is made once more; not after a repair, which may have changed what it would show; and not for a look at what is put back.
    fn may_be_told(&self, step: &Step) -> bool {
        let doubted = format!("{}/{}/{:?}/", self.frame().procedure, step.id.value, self.round());
        let in_doubt = !self.place.at.doubting.is_empty()
            || self.is_repeating()
            || self.place.detour.is_some()
            || self.was_answered(&step.id.value)
            || self.place.doubted.iter().any(|one| one.starts_with(&doubted));
        !step.has_to_be_done_now()
            && self.procedure(&self.world).finds_faults()
            && !in_doubt
            && !self.place.at.mended
            && !self.looks_at_what_is_put_back(step)
    }

    /// Whether the step only puts back what the walk took off, and asks about that.
    fn looks_at_what_is_put_back(&self, step: &Step) -> bool {
        let asked = self.bike.before.as_ref().filter(|(key, _)| *key == self.untested_key(step));
        let before = asked.map_or(&self.bike.state, |(_, before)| before);
        let Ok(need) = procedure::render_state(&step.state, &self.scope(), &self.world.bike) else { return false };
        let changes = before.changes(&need, &self.world.bike);
        let puts_back = changes.iter().any(|change| matches!(change, Change::PlugIn(_) | Change::Remove(_)));
        puts_back && step.state.instrument.is_none()
    }

    /// Whether the answer of a step in the round at hand is only told.
    pub(in crate::walk) fn is_told(&self, step: &str) -> bool {
        self.place.at.told.contains_key(&self.check_key(step))
    }

    /// The state in which the step at hand would be made, from here.
    fn state_if_made(&self, step: &Step) -> Result<Box<BikeState>, String> {
        let need = procedure::render_state(&step.state, &self.scope(), &self.world.bike).map_err(|d| d.to_string())?;
        Ok(Box::new(self.bike.state.after(&self.restored(need))))
    }

    /// Asks what a check showed whose own question was not asked yet, and names it.
    fn ask_of_unasked(&mut self, step: &Step, made_in: Box<BikeState>) {
        let check = match self.worded(step.brief.as_ref().unwrap_or(&step.say)) {
            Ok(check) => check,
            Err(d) => return self.fault(&d.to_string()),
        };
        let asked = self.words("told-what", json!({ "check": check }));
        let record = Record::Entered {
            procedure: self.frame().procedure.clone(),
            step: self.step_id(),
            round: self.round(),
            asked: asked.clone(),
        };
        self.note_down(record);
        self.talk.last_said.clear();
        self.say(asked, SayKind::Question);
        self.phase = Phase::Telling { made_in };
        self.listen_when_quiet();
    }

    /// Asks what the check at hand showed.
    pub(in crate::walk) fn ask_what_it_showed(&mut self, made_in: Box<BikeState>) {
        self.talk.last_said.clear();
        self.sentence("told-what", json!({"check": ""}), SayKind::Question);
        self.phase = Phase::Telling { made_in };
        self.listen_when_quiet();
    }

    /// Asks the open question again: the step's, or what a check showed that was made before.
    pub(in crate::walk) fn ask_as_before(&mut self, told: Told) {
        match told {
            Some(made_in) => self.ask_what_it_showed(made_in),
            None => self.ask_again(),
        }
    }

    /// Says that the answer which is said back next is only told.
    pub(in crate::walk) fn say_as_told(&mut self, told: bool) {
        if told {
            self.sentence("told-back", json!({}), SayKind::Echo);
        }
    }

    /// A check was answered: now, or as told of the state in which it was made.
    pub(in crate::walk) fn answered(&mut self, step: &Step, told: Option<&BikeState>, answer: &str) {
        let key = self.untested_key(step);
        let Some(made_in) = told else {
            self.tested(step);
            self.place.at.told_last = None;
            self.place.at.made_now(&key);
            return self.repaired(step);
        };
        self.keep_told(step, answer);
        self.place.at.told_last = Some((key, self.place.at.frames.clone()));
        self.bike.restoring = Some(made_in.clone());
        for caution in self.unheard_cautions(step) {
            if !self.place.at.owed_cautions.contains(&caution) {
                self.place.at.owed_cautions.push(caution);
            }
        }
    }

    /// Keeps the told answer of a step in words, for the conclusion.
    pub(in crate::walk) fn keep_told(&mut self, step: &Step, answer: &str) {
        let prompt = expression::render(step.brief.as_ref().unwrap_or(&step.say), &self.scope()).unwrap_or_default();
        let (name, side) = (step.id.value.replace('-', " "), self.side_words());
        let values = json!({"step": name, "prompt": prompt, "side": side, "answer": answer});
        let words = self.words("not-tested-told", values);
        self.place.at.told.insert(self.untested_key(step), words);
    }

    /// Remembers that the step made something as good as new.
    pub(in crate::walk) fn repaired(&mut self, step: &Step) {
        let mends = expression::render_names(&step.mends, &self.scope()).unwrap_or_default();
        self.place.at.mended |= !mends.is_empty();
    }

    /// The cautions of a step that nobody has acknowledged.
    fn unheard_cautions(&self, step: &Step) -> Vec<String> {
        let procedure = self.procedure(&self.world);
        let unheard = |id: &&String| {
            procedure.caution(id).is_some_and(|caution| !self.cautions.agreed.contains_key(&caution.say.value))
        };
        step.cautions.iter().map(|id| &id.value).filter(unheard).cloned().collect()
    }

    /// The cautions before a step: those that are owed since a check was told of, then its own.
    pub(in crate::walk) fn cautions_due(&self, step: &Step) -> Vec<String> {
        let procedure = self.procedure(&self.world);
        let own = step.cautions.iter().map(|id| id.value.clone());
        let is_own = |id: &&String| step.cautions.iter().any(|own| own.value == **id);
        let owed = self.place.at.owed_cautions.iter().filter(|id| procedure.caution(id).is_some() && !is_own(id));
        owed.cloned().chain(own).collect()
    }

    /// Before a conclusion that rests on an answer which is only told: asks that check now. Returns whether it did.
    pub(in crate::walk) fn asks_what_was_told(&mut self) -> bool {
        let Some((_, frames)) = self.place.at.told_last.take() else { return false };
        self.sentence("told-see", json!({}), SayKind::Notice);
        self.place.at.frames = frames;
        let step = self.step_id();
        self.enter(&step, How::Onward);
        true
    }
}
