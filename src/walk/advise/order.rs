//! The order of the parts of the walked procedure: as written, or best first.
//!
//! A route from one part to the beginning of another is a crossing. In best order the walker asks there, by an effect, which part comes
//! next. It offers the parts that are not finished and whose prerequisites are. The choice arrives by an event, so the walker stays pure
//! and a replay needs no circuit. The needs and cautions of a part belong to its steps and come with them. The position holds the walk's
//! place among the parts, so "go back" restores it.

use super::request::{Answered, Request};
use crate::advice::Chosen;
use crate::expression;
use crate::expression::Seen;
use crate::procedure::{Procedure, Target};
use crate::session::Record;
use crate::walk::event::{Effect, SayKind};
use crate::walk::memory::Ordered;
use crate::walk::phase::Phase;
use crate::walk::walker::Walker;
use crate::walk::world::World;
use serde_json::json;
use std::sync::Arc;

/// The question which part comes next.
#[derive(Debug, Clone, PartialEq)]
pub struct Crossing {
    /// The next part in the written order if it may come, otherwise the first that may.
    pub written: usize,
    /// Numbers of the parts that may come next, in written order.
    pub may_come: Vec<usize>,
    /// The parts that are not finished.
    pub left: Vec<usize>,
    /// What was seen so far.
    pub seen: Seen,
}

impl Walker {
    /// Makes this walker ask at every crossing which part comes next: each [`Effect::Choose`] needs a [`crate::walk::Event::Chosen`].
    #[must_use]
    pub fn in_best_order(mut self) -> Self {
        self.advice.ordered = Some(Ordered::Best);
        self
    }

    /// An unheard walker that begins with one part of `world`'s main procedure and asks for the next part when that is finished. `seen`
    /// holds the earlier observations.
    pub fn through_part(world: Arc<World>, part: usize, seen: Seen) -> Self {
        let mut walker = Self::unheard(world);
        walker.advice.ordered = Some(Ordered::Only(part));
        walker.place.at.seen = seen;
        walker
    }

    /// The number of the current part.
    pub fn part_at_hand(&self) -> Option<usize> {
        self.place.at.parts.at
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
        let Phase::Choosing { written, .. } = self.phase else { return None };
        let main = &self.world.procedures[&self.world.main];
        let may_come = self.may_come(main);
        let written = Some(written).filter(|part| may_come.contains(part)).or(may_come.first().copied())?;
        let left = (0..main.parts.len()).filter(|part| !self.place.at.parts.over.contains(part)).collect();
        Some(Crossing { written, may_come, left, seen: self.place.at.seen.clone() })
    }

    /// The unfinished parts whose prerequisites are finished.
    fn may_come(&self, main: &Procedure) -> Vec<usize> {
        let over = &self.place.at.parts.over;
        let may = |part: &usize| !over.contains(part) && main.needed_before(*part).is_subset(over);
        (0..main.parts.len()).filter(may).collect()
    }

    /// Begins the walk with its first part, if it begins with a part.
    pub(in crate::walk) fn begins_with_part(&mut self) -> bool {
        let Some(Ordered::Only(part)) = self.advice.ordered else { return false };
        self.begin_part(part, part);
        true
    }

    /// The part that a target begins, if that is a crossing. Inside a called procedure or while an answer is doubted there are no
    /// crossings.
    pub(in crate::walk) fn crossed_into(&self, target: &Target) -> Option<usize> {
        if self.place.at.frames.len() > 1 || !self.place.at.doubting.is_empty() {
            return None;
        }
        self.world.procedures[&self.world.main].part_begun_by(target)
    }

    /// A route leads to the beginning of part `written`. Either the current part is finished, or the walk goes back and will walk again
    /// everything from there on. Leaves all loops.
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
            // No part is left: follow the written route.
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

    /// Handles the choice: records it and goes on with that part.
    pub(in crate::walk) fn chosen_part(&mut self, answered: Answered<Chosen>) {
        let Some(chosen) = answered.for_request(self.waits_for_choice()) else { return };
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

    /// Goes to the beginning of a part. Says so if the route leads to another one.
    fn begin_part(&mut self, part: usize, written: usize) {
        let world = self.world.clone();
        let begun = &world.procedures[&world.main].parts[part];
        if part != written {
            match expression::render(&begun.words, &self.scope()) {
                Ok(words) => self.sentence("next-part", json!({ "part": words }), SayKind::Notice),
                Err(d) => return self.fault(&d.to_string()),
            }
        }
        self.place.at.parts.at = Some(part);
        self.frame_mut().rounds.clear();
        self.lead_to(&begun.first);
    }
}
