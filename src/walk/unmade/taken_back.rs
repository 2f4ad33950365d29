//! What the prompt of a step had already asked for is taken back, if the check was made before. The bike counts as changed until somebody says
//! that it is as it was.

use crate::bike::{BikeState, Change, StateNeed};
use crate::procedure::Step;
use crate::session::Record;
use crate::walk::advise::toward;
use crate::walk::walker::Walker;

impl Walker {
    /// The bike is as it was before the step at hand; `text` asked for that. Then asks what the check showed.
    pub(in crate::walk) fn left_as_it_was(&mut self, made_in: Box<BikeState>, text: &str) {
        if let Some((_, before)) = self.bike.before.take() {
            let (back, need) = (self.state_taken_back(&before), self.need_back(&before));
            let told = self.changes_back(&before);
            let was = std::mem::replace(&mut self.bike.state, back);
            if was != self.bike.state {
                let record = Record::State { step: self.step_id(), told, state: self.bike.state.clone() };
                self.note_down(record);
            }
            self.request_state_change(was, &need, text);
            if self.bike.guard.cure.as_deref() == Some(text) {
                self.confirm_state_change();
            }
        }
        self.ask_what_it_showed(made_in);
    }

    /// Remembers the state before the changes that the prompt of `step` asks for.
    pub(in crate::walk) fn remember_before(&mut self, step: &Step) {
        let key = self.untested_key(step);
        if !self.mute && self.bike.before.as_ref().is_none_or(|(of, _)| *of != key) {
            self.bike.before = Some((key, self.bike.state.clone()));
        }
    }

    /// What the bike may be like while nobody has said whether the changes of the step at hand were made: all that is fitted before or after
    /// them, the instrument, and a key that nobody has confirmed to be off.
    fn state_in_doubt(&self, before: &BikeState) -> BikeState {
        let mut may_be = self.bike.state.clone();
        for (name, between) in &before.fitted {
            may_be.fitted.entry(name.clone()).or_insert_with(|| between.clone());
        }
        may_be.instrument = may_be.instrument.or_else(|| before.instrument.clone());
        may_be.switches.extend(self.key_may_be_at().map(|at| ("key".to_owned(), at.clone())));
        may_be
    }

    /// The state before the step at hand, as far as its changes are taken back: what it fitted or took off is off, and so is an instrument that
    /// it moved. Nobody is asked to turn the key on or to start the engine. Where the engine was turned, nobody knows where the points stand.
    fn state_taken_back(&self, before: &BikeState) -> BikeState {
        let now = &self.bike.state;
        let mut back = before.clone();
        back.fitted.retain(|name, between| now.fitted.get(name) == Some(between));
        back.instrument = back.instrument.filter(|one| now.instrument.as_ref() == Some(one));
        back.points.retain(|set, at| now.points.get(set) == Some(at));
        back.crank = back.crank.filter(|crank| now.crank == Some(*crank));
        back.engine = now.engine;
        let Some(key) = self.world.bike.switch("key") else { return back };
        let feeds = |at: &String| key.positions.iter().find(|one| one.name.value == *at).is_none_or(|one| one.works);
        match (now.switches.get("key"), back.switches.get("key")) {
            (Some(at), _) if !feeds(at) => drop(back.switches.insert("key".to_owned(), at.clone())),
            (Some(_), None) => {
                let off = key.position(false).map(|off| ("key".to_owned(), off.to_owned()));
                back.switches.extend(off);
            }
            _ => {}
        }
        back
    }

    /// What takes the changes of the step at hand back.
    fn need_back(&self, before: &BikeState) -> StateNeed {
        toward(&self.state_in_doubt(before), &self.state_taken_back(before))
    }

    /// The same in words.
    pub(in crate::walk) fn changes_back(&self, before: &BikeState) -> Vec<String> {
        let bike = &self.world.bike;
        let is_done_by_hand = |change: &&Change| !matches!(change, Change::Engine(_) | Change::Points { .. });
        let all = self.state_in_doubt(before).changes(&self.need_back(before), bike);
        let words = |change| self.world.vocabulary.change_words(change, bike).ok();
        all.iter().filter(is_done_by_hand).filter_map(words).collect()
    }
}
