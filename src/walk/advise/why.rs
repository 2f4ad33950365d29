//! "Why this" and "what comes after": the reasons of the choice at hand, in words. And what the user has not got is not asked for again.

use crate::advice::{Outcome, Why};
use crate::bike::InstrumentKind;
use crate::units::Unit;
use crate::walk::event::SayKind;
use crate::walk::walker::Walker;
use serde_json::json;
use std::sync::Arc;

/// Checks after this one that are named.
const NAMED_AFTER: usize = 2;

impl Walker {
    /// The reasons for the check at hand, if it was chosen.
    fn why(&self) -> Option<Arc<Why>> {
        self.place.at.why.clone().filter(|_| self.advice.best && self.place.at.free)
    }

    /// Handles "why this": names what the answers speak for, and the minutes it takes.
    pub(in crate::walk) fn say_why(&mut self) {
        let Some(why) = self.why() else {
            self.sentence("why-written", json!({}), SayKind::Notice);
            return self.listen_when_quiet();
        };
        let telling: Vec<&Outcome> = why.outcomes.iter().filter(|one| !one.suspects.is_empty()).collect();
        let words = |one: &&Outcome| self.words("why-outcome", json!({"answer": one.answer, "suspects": one.suspects}));
        let minutes = |minutes: f64| self.world.vocabulary.say_number(minutes.round().max(1.0), Unit::Minute, 1.0);
        let longer = why.otherwise.filter(|otherwise| otherwise.round() > why.minutes.round().max(1.0));
        let values = json!({
            "outcomes": telling.iter().map(words).collect::<Vec<_>>(),
            "minutes": minutes(why.minutes),
            "otherwise": longer.map(minutes).unwrap_or_default(),
        });
        self.sentence("why", values, SayKind::Notice);
        self.listen_when_quiet();
    }

    /// Handles "what comes after": the next check after each of the likeliest answers.
    pub(in crate::walk) fn say_what_follows(&mut self) {
        let Some(why) = self.why().filter(|why| !why.outcomes.is_empty()) else {
            self.sentence("follows-written", json!({}), SayKind::Notice);
            return self.listen_when_quiet();
        };
        let words = |one: &Outcome| {
            let then = one.then.clone().unwrap_or_default();
            self.words("follows-outcome", json!({"answer": one.answer, "check": then}))
        };
        let all: Vec<String> = why.outcomes.iter().take(NAMED_AFTER).map(words).collect();
        self.sentence("follows", json!({"outcomes": all}), SayKind::Notice);
        self.listen_when_quiet();
    }

    /// The one thing that the step at hand asks for and that the user has not shown to have. Nothing in the written order.
    pub(in crate::walk) fn missing(&self) -> Option<String> {
        if !self.advice.best || !self.place.at.free {
            return None;
        }
        let observed = &self.place.at.observed;
        let had = |name: &&str| {
            observed.iter().filter(|one| !one.told).any(|one| one.check.state.at_hand().any(|other| other == *name))
        };
        let all: Vec<&str> = self.bike.state.at_hand().collect();
        let new: Vec<&str> = all.iter().copied().filter(|name| !had(name)).collect();
        match (&new[..], &all[..]) {
            ([one], _) | ([], [one]) => Some((*one).to_owned()),
            _ => None,
        }
    }

    /// Leaves out, from here on, whatever needs this instrument or test part.
    pub(in crate::walk) fn goes_without(&mut self, name: &str) {
        let kind = InstrumentKind::named(name);
        let lacking = &mut self.place.at.lacking;
        lacking.insert(name.to_owned());
        lacking.extend(kind.iter().flat_map(|kind| kind.comes_with()).map(|kind| kind.name().to_owned()));
        let state = &mut self.bike.state;
        state.fitted.remove(name);
        if state.instrument.as_ref().is_some_and(|one| self.place.at.lacking.contains(one.kind.name())) {
            state.instrument = None;
        }
        let words = match kind {
            Some(kind) => self.world.vocabulary.instrument(kind).to_owned(),
            None => name.replace('-', " "),
        };
        self.sentence("goes-without", json!({"name": words}), SayKind::Notice);
    }
}
