//! Tracks which prompts were heard whole. A prompt cut by the pedal, by speech or by a lost loudspeaker does not count. A prompt that could
//! only be printed may have been read; it is said again when the loudspeaker is back.

use crate::session::Record;
use crate::walk::enter::How;
use crate::walk::event::SayKind;
use crate::walk::memory::Printed;
use crate::walk::phase::Phase;
use crate::walk::table::OnLoudspeaker;
use crate::walk::walker::Walker;
use serde_json::json;

impl Walker {
    /// A prompt has ended, whole or cut.
    pub(in crate::walk) fn hear_out(&mut self, id: u64, whole: bool) {
        let Some(spoken) = self.talk.speaking.remove(&id) else { return };
        if whole {
            let how = if self.talk.loudspeaker_gone { Printed::Only } else { Printed::No };
            self.talk.heard_whole.insert(spoken.text, how);
        }
    }

    /// This was said, or printed where nothing could be said, to its end since it was last asked for.
    pub(in crate::walk) fn was_heard(&self, text: &str) -> bool {
        self.mute || self.talk.heard_whole.contains_key(text)
    }

    /// From here on it has to be heard anew.
    pub(in crate::walk) fn hear_again(&mut self, text: &str) {
        self.talk.heard_whole.remove(text);
    }

    /// A caution is being said, or waits to be.
    pub(in crate::walk) fn is_cautioning(&self) -> bool {
        self.talk.speaking.values().any(|spoken| spoken.kind == SayKind::Caution)
    }

    /// How the caution at hand was heard; nothing where it was not.
    pub(in crate::walk) fn caution_heard(&self) -> Option<Printed> {
        if self.mute {
            return Some(Printed::No);
        }
        self.talk.heard_whole.get(&self.cautions.text).copied()
    }

    /// "Ready" to a caution that was not heard to its end: once more.
    pub(in crate::walk) fn caution_again(&mut self, now: String, rest: Vec<String>) {
        self.sentence("caution-again", json!({}), SayKind::Notice);
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

    /// Cautions that were only printed have not been acknowledged for good: those of the step at hand are asked for now, others where they
    /// come again.
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
            // One whose full form was only printed is not left at its brief form, which may be sounding.
            OnLoudspeaker::ThisCaution if due || self.caution_heard().is_none() && !self.is_cautioning() => {
                let Phase::Caution { now, rest } = self.phase.clone() else { return };
                self.deaf();
                self.sentence("loudspeaker-back", json!({}), SayKind::Notice);
                self.talk.last_said.clear();
                let restated = self.cautions.restates;
                self.cautions_then_ask([now].into_iter().chain(rest).collect(), restated);
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
