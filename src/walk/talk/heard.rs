//! Tracks which prompts played to their end. A prompt cut by the pedal, by speech or by a lost loudspeaker does not count. A prompt that
//! could only be printed may have been read; it is spoken again when the loudspeaker is back.

use crate::session::Record;
use crate::walk::enter::How;
use crate::walk::event::SayKind;
use crate::walk::memory::Printed;
use crate::walk::phase::Phase;
use crate::walk::table::OnLoudspeaker;
use crate::walk::walker::Walker;
use serde_json::json;

impl Walker {
    /// Handles the end of a prompt, whole or cut.
    pub(in crate::walk) fn hear_out(&mut self, id: u64, whole: bool) {
        let Some(spoken) = self.talk.speaking.remove(&id) else { return };
        if whole {
            let how = if self.talk.loudspeaker_gone { Printed::Only } else { Printed::No };
            self.talk.heard_whole.insert(spoken.text, how);
        }
    }

    /// Whether this text was spoken to its end (or printed, without a loudspeaker) since it was last required.
    pub(in crate::walk) fn was_heard(&self, text: &str) -> bool {
        self.mute || self.talk.heard_whole.contains_key(text)
    }

    /// Requires this text to be heard again.
    pub(in crate::walk) fn hear_again(&mut self, text: &str) {
        self.talk.heard_whole.remove(text);
    }

    /// Whether a caution is playing or queued.
    pub(in crate::walk) fn is_cautioning(&self) -> bool {
        self.talk.speaking.values().any(|spoken| spoken.kind == SayKind::Caution)
    }

    /// How the current caution was heard. `None` if it was not.
    pub(in crate::walk) fn caution_heard(&self) -> Option<Printed> {
        if self.mute {
            return Some(Printed::No);
        }
        self.talk.heard_whole.get(&self.cautions.text).copied()
    }

    /// "Ready" to a caution that did not play to its end: repeats it.
    pub(in crate::walk) fn caution_again(&mut self, now: String, rest: Vec<String>) {
        self.caution_anew("caution-again", now, rest);
    }

    /// Says why, then the caution at hand and those that follow.
    fn caution_anew(&mut self, why: &str, now: String, rest: Vec<String>) {
        self.sentence(why, json!({}), SayKind::Notice);
        self.talk.last_said.clear();
        let restated = self.cautions.restates;
        self.cautions_then_ask([now].into_iter().chain(rest).collect(), restated);
    }

    pub(in crate::walk) fn loudspeaker_lost(&mut self, why: &str) {
        if std::mem::replace(&mut self.talk.loudspeaker_gone, true) {
            return;
        }
        let (step, detail) = (self.step_id(), why.to_owned());
        self.note_down(Record::Interrupted { step, what: "loudspeaker-lost".into(), detail });
    }

    /// Cautions that were only printed do not stay acknowledged. Those of the current step are requested now, others when they come up
    /// again.
    pub(in crate::walk) fn loudspeaker_back(&mut self) {
        if !std::mem::take(&mut self.talk.loudspeaker_gone) {
            return;
        }
        let (step, detail) = (self.step_id(), String::new());
        self.note_down(Record::Interrupted { step, what: "loudspeaker-back".into(), detail });
        let printed = std::mem::take(&mut self.cautions.printed);
        self.cautions.agreed.retain(|text, _| !printed.contains(text));
        self.talk.heard_whole.retain(|_, how| *how == Printed::No);
        let world = self.world.clone();
        let cautions = self.step(&world).map_or(&[][..], |step| &step.cautions);
        let procedure = self.procedure(&world);
        let due = cautions.iter().filter_map(|id| procedure.caution(id)).any(|c| printed.contains(&c.say.value));
        match self.phase.row().loudspeaker {
            // A caution whose full form was only printed is not reduced to its brief form, which may be playing.
            OnLoudspeaker::ThisCaution if due || self.caution_heard().is_none() && !self.is_cautioning() => {
                let Phase::Caution { now, rest } = self.phase.clone() else { return };
                self.deaf();
                self.caution_anew("loudspeaker-back", now, rest);
            }
            OnLoudspeaker::StepsCautions if due => {
                self.deaf();
                self.sentence("loudspeaker-back", json!({}), SayKind::Notice);
                let step = self.step_id();
                self.enter(&step, How::Restated);
            }
            OnLoudspeaker::Guard if self.bike.guard.raised => self.guard_aloud(),
            OnLoudspeaker::Later | OnLoudspeaker::ThisCaution | OnLoudspeaker::StepsCautions | OnLoudspeaker::Guard => {
            }
        }
    }
}
