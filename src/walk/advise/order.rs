//! The order of the parts of the procedure that is walked: as they are written, or the best that may come next.
//!
//! A route that leads from one part to the beginning of another is a crossing. In best order the walker asks there, by an effect, which
//! of the parts that are not over, and whose needs are, comes next; it gets the choice by an event, so that it stays pure and a replay
//! needs no circuit. What a part needs of the bike and its cautions are its steps' own and come with them. Where the walk is among the
//! parts belongs to the position: "go back" takes it back.

use super::request::{Answered, Request};
use crate::advice::Chosen;
use crate::procedure::{self, Procedure, Seen, Target};
use crate::session::Record;
use crate::walk::event::{Effect, SayKind};
use crate::walk::memory::Ordered;
use crate::walk::phase::Phase;
use crate::walk::walker::Walker;
use crate::walk::world::World;
use serde_json::json;
use std::sync::Arc;

/// Which part comes next?
#[derive(Debug, Clone, PartialEq)]
pub struct Crossing {
    /// The part that comes next in the written order, where it may come; else the first that may.
    pub written: usize,
    /// The parts that may come next, in written order, by their numbers.
    pub may_come: Vec<usize>,
    /// The parts that are not over.
    pub left: Vec<usize>,
    /// What was seen so far.
    pub seen: Seen,
}

impl Walker {
    /// A walker that asks at every crossing which part comes next: [`Effect::Choose`] wants [`crate::walk::Event::Chosen`].
    #[must_use]
    pub fn in_best_order(mut self) -> Self {
        self.advice.ordered = Some(Ordered::Best);
        self
    }

    /// A walker that nobody hears, which begins with one part of `world`'s main procedure and asks which comes next when that is over. Of what
    /// was seen before it knows `seen`.
    pub fn through_part(world: Arc<World>, part: usize, seen: Seen) -> Self {
        let mut walker = Self::unheard(world);
        walker.advice.ordered = Some(Ordered::Only(part));
        walker.place.at.seen = seen;
        walker
    }

    /// The part at hand by its number.
    pub fn part_at_hand(&self) -> Option<usize> {
        self.place.at.parts.at
    }

    /// The id of the choice that is waited for.
    pub fn waits_for_choice(&self) -> Option<Request> {
        match self.phase {
            Phase::Choosing { id, .. } => Some(id),
            _ => None,
        }
    }

    /// What is to be chosen, while a choice is waited for.
    pub fn crossing(&self) -> Option<Crossing> {
        let Phase::Choosing { written, .. } = self.phase else { return None };
        let main = &self.world.procedures[&self.world.main];
        let may_come = self.may_come(main);
        let written = Some(written).filter(|part| may_come.contains(part)).or(may_come.first().copied())?;
        let left = (0..main.parts.len()).filter(|part| !self.place.at.parts.over.contains(part)).collect();
        Some(Crossing { written, may_come, left, seen: self.place.at.seen.clone() })
    }

    /// The parts that are not over and whose needs are.
    fn may_come(&self, main: &Procedure) -> Vec<usize> {
        let over = &self.place.at.parts.over;
        let may = |part: &usize| !over.contains(part) && main.needed_before(*part).is_subset(over);
        (0..main.parts.len()).filter(may).collect()
    }

    /// The first part of the walk, where it begins with one.
    pub(in crate::walk) fn begins_with_part(&mut self) -> bool {
        let Some(Ordered::Only(part)) = self.advice.ordered else { return false };
        self.begin_part(part, part);
        true
    }

    /// The part whose beginning a target is, where that is a crossing: not inside a called procedure, nor where an answer is doubted.
    pub(in crate::walk) fn crossed_into(&self, target: &Target) -> Option<usize> {
        if self.place.at.frames.len() > 1 || !self.place.at.doubting.is_empty() {
            return None;
        }
        self.world.procedures[&self.world.main].part_begun_by(target)
    }

    /// A route leads to the beginning of part `written`: the one at hand is over, or the walk goes back and what comes from there on
    /// is to be walked again. All loops are left.
    pub(in crate::walk) fn cross(&mut self, written: usize) {
        if self.advice.ordered.is_none() {
            return self.begin_part(written, written);
        }
        let parts = &mut self.place.at.parts;
        match parts.at {
            Some(at) if at < written => {
                parts.over.insert(at);
            }
            _ => parts.over.retain(|part| *part < written),
        }
        parts.at = None;
        let world = self.world.clone();
        let may_come = self.may_come(&world.procedures[&world.main]);
        match may_come.as_slice() {
            // Nothing is left: the written way.
            [] => self.begin_part(written, written),
            [only] if self.advice.ordered == Some(Ordered::Best) => self.begin_part(*only, written),
            _ => self.ask_which_part(written),
        }
    }

    pub(in crate::walk) fn ask_which_part(&mut self, written: usize) {
        let id = Request::new(self.id());
        self.out.push(Effect::Choose { id });
        self.phase = Phase::Choosing { id, written };
    }

    /// The choice is here: it is written down, and the walk goes on with that part.
    pub(in crate::walk) fn chosen_part(&mut self, answered: Answered<Chosen>) {
        let Some(chosen) = answered.taken_for(self.waits_for_choice()) else { return };
        let Phase::Choosing { written, .. } = self.phase else { return };
        let Some(crossing) = self.crossing() else { return };
        let world = self.world.clone();
        let parts = &world.procedures[&world.main].parts;
        let named = crossing.may_come.iter().copied().find(|part| parts[*part].id.value == chosen.part);
        let next = named.unwrap_or(crossing.written);
        self.phase = Phase::Asking;
        self.note_down(Record::Chosen {
            step: self.step_id(),
            written: parts[crossing.written].id.value.clone(),
            chosen: Chosen { part: parts[next].id.value.clone(), ..chosen },
        });
        self.begin_part(next, written);
    }

    /// Goes to the beginning of a part; says so where the route at hand leads to another.
    fn begin_part(&mut self, part: usize, written: usize) {
        let world = self.world.clone();
        let begun = &world.procedures[&world.main].parts[part];
        if part != written {
            match procedure::render(&begun.words, &self.scope()) {
                Ok(words) => self.sentence("next-part", json!({ "part": words }), SayKind::Notice),
                Err(d) => return self.fault(&d.to_string()),
            }
        }
        self.place.at.parts.at = Some(part);
        self.frame_mut().rounds.clear();
        self.lead_to(&begun.first);
    }
}
