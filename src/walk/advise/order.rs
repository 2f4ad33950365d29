//! The order of the checks of the walked procedure: as written, or best first.
//!
//! In best order the walker asks after every answer, by an effect, what comes next, wherever the written route leads to another check or to a
//! conclusion. The choice arrives by an event, so the walker stays pure and a replay needs no circuit. A check's cautions, and the state of the
//! bike that it needs, come with its step. Steps that only put back what a check needed are walked as they are written, and so is a called
//! procedure.

use super::request::{Answered, Request};
use crate::advice::{Chosen, Next, Spot};
use crate::expression::{self, Seen};
use crate::procedure::{Ask, COMES_AND_GOES, Checks, Step, Target};
use crate::session::Record;
use crate::walk::enter::How;
use crate::walk::event::{Effect, SayKind};
use crate::walk::memory::Round;
use crate::walk::phase::Phase;
use crate::walk::walker::Walker;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::sync::Arc;

/// The question what comes next.
#[derive(Debug, Clone, PartialEq)]
pub struct Crossing {
    /// What was seen so far.
    pub seen: Seen,
    /// Checks that were skipped: `PROCEDURE/STEP/ROUND`.
    pub skipped: Vec<String>,
    /// Steps before an instrument's first reading that were come to.
    pub readied: BTreeSet<String>,
    /// Names of the instruments and test parts that the user does not have.
    pub lacking: BTreeSet<String>,
}

impl Crossing {
    /// Whether the trouble comes and goes.
    pub fn comes_and_goes(&self) -> bool {
        self.seen.has(COMES_AND_GOES)
    }
}

impl Walker {
    /// Whether the trouble was said to come and go.
    pub(in crate::walk) fn comes_and_goes(&self) -> bool {
        self.place.at.seen.has(COMES_AND_GOES)
    }

    /// Makes this walker ask what comes next: each [`Effect::Choose`] needs a [`crate::walk::Event::Chosen`].
    #[must_use]
    pub fn in_best_order(mut self) -> Self {
        self.advice.best = true;
        self
    }

    /// The id of the pending choice.
    pub fn waits_for_choice(&self) -> Option<Request> {
        match self.phase {
            Phase::Choosing { id, .. } => Some(id),
            _ => None,
        }
    }

    /// The pending choice, if there is one.
    pub fn crossing(&self) -> Option<Crossing> {
        matches!(self.phase, Phase::Choosing { .. }).then(|| Crossing {
            seen: self.place.at.seen.clone(),
            skipped: self.place.untested.iter().map(|(key, _)| key.clone()).collect(),
            readied: self.place.at.readied.clone(),
            lacking: self.place.at.lacking.clone(),
        })
    }

    /// The place of the current step, for coming back to it. `None` inside a called procedure, while an answer is doubted, and where the
    /// checks come as they are written.
    pub fn spot(&self) -> Option<Spot> {
        let main = &self.world.procedures[&self.world.main];
        let [frame] = &self.place.at.frames[..] else { return None };
        if main.checks.is_none() || !self.place.at.doubting.is_empty() || !self.place.at.free {
            return None;
        }
        let rounds = frame.rounds.iter().map(|round| (round.each.clone(), round.at)).collect();
        Some(Spot { step: frame.step.clone(), rounds, state: self.bike.state.clone() })
    }

    fn checks(&self) -> Option<&Checks> {
        self.world.procedures[&self.world.main].checks.as_ref()
    }

    /// Remembers a step that comes before an instrument's first reading.
    pub(in crate::walk) fn readies(&mut self, step: &str) {
        let made = self.checks().is_some_and(|checks| checks.before.iter().any(|one| one.step.value == step));
        if made && self.place.at.frames.len() == 1 {
            self.place.at.readied.insert(step.to_owned());
        }
    }

    /// Whether the checks come in any order here.
    pub(in crate::walk) fn is_free(&self) -> bool {
        self.advice.best && self.place.at.free && self.place.at.frames.len() == 1
    }

    /// Asks what comes next, if the target is a check or a conclusion and the checks come in any order. Returns whether it did. What an
    /// action prepares follows it, unless a called procedure has `returned` here.
    pub(in crate::walk) fn asks_what_comes_next(&mut self, target: &Target, returned: bool) -> bool {
        let Some(checks) = self.checks() else { return false };
        if self.place.at.frames.len() > 1 || !self.place.at.doubting.is_empty() {
            return false;
        }
        let begins = matches!(target, Target::Step(id) if id.value == checks.from.value);
        self.place.at.free |= begins;
        if !self.is_free() {
            return false;
        }
        let main = &self.world.procedures[&self.world.main];
        let at = main.step(&self.frame().step);
        let prepares = at.is_some_and(|at| matches!(at.ask, Ask::Done(_) | Ask::Note(_)) && !at.puts_back());
        let asks = match target {
            Target::Step(_) if prepares && !returned && !begins => false,
            Target::Step(id) if main.step(id).is_some_and(|step| self.repairs(step)) => false,
            Target::Step(id) => main.step(id).is_some_and(|step| !step.puts_back()),
            Target::Each(_) | Target::Next(_) | Target::Conclude(_) => true,
            Target::Call { .. } | Target::Return(_) | Target::Again(_) | Target::Back(_) => false,
        };
        if asks {
            self.ask_what_comes_next(target.clone());
        }
        asks
    }

    /// Whether a step repairs something for good. One that puts a part in for a test names that part.
    fn repairs(&self, step: &Step) -> bool {
        if step.mends.is_empty() || !matches!(step.ask, Ask::Done(_)) {
            return false;
        }
        let mends = expression::render_names(&step.mends, &self.scope()).unwrap_or_default();
        let places = self.world.bike.fault_places();
        !mends.is_empty() && !mends.iter().any(|name| places.contains(name))
    }

    pub(in crate::walk) fn ask_what_comes_next(&mut self, written: Target) {
        let id = Request::new(self.id());
        self.out.push(Effect::Choose { id });
        self.phase = Phase::Choosing { id, written: Box::new(written) };
    }

    /// Handles the choice: records it and goes on with it.
    pub(in crate::walk) fn chosen_next(&mut self, answered: Answered<Chosen>) {
        let Some(chosen) = answered.for_request(self.waits_for_choice()) else { return };
        let Phase::Choosing { written, .. } = &self.phase else { return };
        let written = written.clone();
        self.phase = Phase::Asking;
        self.note_down(Record::Chosen { step: self.step_id(), chosen: chosen.clone() });
        self.place.at.why = chosen.why.map(Arc::new);
        if chosen.comes_and_goes && !self.comes_and_goes() {
            self.place.at.seen.see(COMES_AND_GOES, Value::Bool(true));
            if chosen.next != Next::Sound {
                self.sentence("fits-sometimes", json!({}), SayKind::Notice);
            }
        }
        match chosen.next {
            Next::Written => self.lead_to(&written),
            Next::Check(spot) => self.go_to(*spot),
            Next::Found(found) => self.conclude_found(*found),
            Next::Sound => {
                let unshown = |checks: &Checks| checks.unshown.clone().filter(|_| self.comes_and_goes());
                match self.checks().map(|checks| unshown(checks).unwrap_or_else(|| checks.conclude.clone())) {
                    Some(id) => self.conclude(&id),
                    None => self.lead_to(&written),
                }
            }
        }
    }

    /// Whether a step was answered in the round at hand, or its answer told.
    pub(in crate::walk) fn was_answered(&self, step: &str) -> bool {
        let round = self.round().map(|round| format!("_{round}")).unwrap_or_default();
        let seen = &self.place.at.seen;
        seen.has(&format!("{step}{round}")) || seen.has(&format!("{step}_band{round}"))
    }

    /// Goes to a check, with the bike in the state that it starts from.
    fn go_to(&mut self, spot: Spot) {
        // The check brings its own cautions, and the state that it starts from.
        self.place.at.owed_cautions.clear();
        let world = self.world.clone();
        self.frame_mut().rounds.clear();
        for (id, at) in spot.rounds {
            let Some(each) = self.procedure(&world).each(&id) else {
                return self.fault(&format!("there is no loop {id}"));
            };
            let items = match expression::evaluate_list(&each.over, &self.scope()) {
                Ok(items) if at < items.len() => items.into_iter().map(Arc::new).collect(),
                Ok(_) => return self.fault(&format!("the loop {id} has no round {at}")),
                Err(d) => return self.fault(&d.to_string()),
            };
            self.frame_mut().rounds.push(Round { each: id, bind: each.bind.value.clone(), items, at });
        }
        if self.was_answered(&spot.step) && !self.is_told(&spot.step) {
            self.sentence("once-more", json!({}), SayKind::Notice);
        }
        self.bike.restoring = Some(spot.state);
        self.enter(&spot.step, How::Onward);
    }
}
