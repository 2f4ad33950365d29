//! Skipped checks: why they are skipped, and where the walk goes on.

use crate::expression;
use crate::phrase::Escape;
use crate::procedure::Step;
use crate::session::Record;
use crate::walk::event::SayKind;
use crate::walk::phase::After;
use crate::walk::walker::Walker;
use serde_json::json;

impl Walker {
    /// Skips the check. The reason is written to disk first.
    pub(in crate::walk) fn skip_check(&mut self, why: &str) {
        let record = Record::Untested { step: self.step_id(), round: self.round(), why: why.to_owned() };
        self.write(record, After::Skipped { lacks: why == Escape::HaveNot.name() });
    }

    /// Called once the reason is on disk: announces the skip and follows the step's route for it.
    pub(in crate::walk) fn check_skipped(&mut self, lacks: bool) {
        let world = self.world.clone();
        let Some(step) = self.step(&world) else { return };
        let words = self.untested_words(step);
        let key = self.untested_key(step);
        self.tested(step);
        self.place.untested.push((key, words));
        self.remember();
        self.sentence("left-out", json!({}), SayKind::Echo);
        if self.is_repeating() {
            return self.leave_doubt();
        }
        if let Some(name) = self.missing().filter(|_| lacks) {
            self.goes_without(&name);
            if let Some(then) = self.leaves_called() {
                return self.go_on_to(&then, true);
            }
        }
        let route = step.untested.clone();
        self.follow(&route);
    }

    fn untested_words(&self, step: &Step) -> String {
        let prompt = expression::render(step.brief.as_ref().unwrap_or(&step.say), &self.scope()).unwrap_or_default();
        let side = self.side_words();
        self.words("not-tested-step", json!({"step": step.id.value.replace('-', " "), "prompt": prompt, "side": side}))
    }
}
