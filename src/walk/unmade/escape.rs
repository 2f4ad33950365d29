//! Answers that are neither good nor bad: "not sure", "can't reach it", "only sometimes".

use crate::phrase::Escape;
use crate::procedure::{Ask, COMES_AND_GOES, Procedure};
use crate::session::Record;
use crate::walk::event::{SayKind, Tone};
use crate::walk::phase::After;
use crate::walk::walker::Walker;
use serde_json::{Value, json};

/// The check is skipped at this many "not sure" answers. Each earlier one gets the explanation.
const UNSURE_BEFORE_LEFT_OUT: u32 = 2;

impl Walker {
    pub(in crate::walk) fn take_escape(&mut self, escape: Escape, clip: Option<String>) {
        let record = Record::Escaped { step: self.step_id(), round: self.round(), escape, clip };
        self.write(record, After::Escaped { escape });
    }

    /// Called once an escape is on disk: says it back and acts on it.
    pub(in crate::walk) fn escaped(&mut self, escape: Escape) {
        let world = self.world.clone();
        let procedure = self.procedure(&world);
        self.tone(Tone::Accepted);
        match escape {
            Escape::NotSure => {
                self.talk.unsure += 1;
                if self.talk.unsure >= UNSURE_BEFORE_LEFT_OUT {
                    return self.skip_check(escape.name());
                }
                self.explain();
                self.listen_when_quiet();
            }
            Escape::CannotReach | Escape::HaveNot => self.skip_check(escape.name()),
            Escape::ColoursDiffer => {
                self.sentence("colours-differ", json!({}), SayKind::Notice);
                self.explain();
                self.listen_when_quiet();
            }
            Escape::Flickers | Escape::Sometimes | Escape::Changed => self.escape_leads(escape, procedure),
        }
    }

    /// What comes and goes leads on from a question that was to be told freely; elsewhere the procedure says where an escape leads.
    fn escape_leads(&mut self, escape: Escape, procedure: &Procedure) {
        let world = self.world.clone();
        let Some(step) = self.step(&world) else { return };
        self.sentence(&format!("escape-{}", escape.name()), json!({}), SayKind::Echo);
        let comes_and_goes = escape != Escape::Changed;
        if comes_and_goes {
            self.place.at.seen.see(COMES_AND_GOES, Value::Bool(true));
        }
        // Before the checks may come in any order, what makes the bike safe comes as it is written.
        let stays = comes_and_goes && self.advice.best && !self.place.at.free;
        match procedure.escapes.get(escape.name()).filter(|_| !stays) {
            _ if comes_and_goes && matches!(step.ask, Ask::Note(_)) => {
                self.confirm_state_change();
                self.done();
            }
            Some(route) => {
                self.remember();
                let route = route.clone();
                self.follow(&route);
            }
            None => {
                self.explain();
                self.listen_when_quiet();
            }
        }
    }
}
