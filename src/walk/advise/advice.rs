//! Advice: the walker's questions to an adviser and what the walker does with the answers: "what is left", the check that does not fit, and
//! what a conclusion did not rule out. `order.rs` handles the order of the parts.
//!
//! The walker asks for advice by an effect and receives it by an event. It thus stays pure, and a replay uses the advice in the journal.
//! Observations belong to the position: "go back" removes them.

use super::observation::{Check, Observation, Saw};
use super::order::Crossing;
use super::request::{Answered, Request};
use crate::advice::{Chosen, Suspect, Weighed};
use crate::bike::{BikeState, StateNeed};
use crate::circuit::Question;
use crate::expression;
use crate::phrase::{Reading, ReadingKind};
use crate::procedure::{Ask, Meaning, Route};
use crate::session::Record;
use crate::units::Unit;
use crate::walk::event::{Effect, SayKind};
use crate::walk::memory::{Doubt, Frame, Pending, round_of};
use crate::walk::phase::{After, Phase};
use crate::walk::walker::Walker;
use serde_json::json;
use std::sync::Arc;

/// Number of suspects that are named aloud.
const NAMED: usize = 3;
/// Answers that a conclusion is said to rest on.
const MOST_REASONS: usize = 2;
/// A suspect of lower weight than this is not named.
const WORTH_A_WORD: f64 = 0.02;
/// A suspect of more weight than this has most of it.
const MOST: f64 = 0.5;

/// Gives advice. `diagnose` has the implementation that simulates the circuit.
pub trait Advice {
    /// The suspects after these answers, given in order. The same answers always give the same suspects.
    fn weigh(&mut self, observed: &[Arc<Observation>]) -> Weighed;

    /// Announces the next question, so that the adviser can compute ahead what its answer needs.
    fn prepare(&mut self, next: &Check);

    /// What comes next, after these answers. Called in best order only.
    fn choose(&mut self, crossing: &Crossing, observed: &[Arc<Observation>]) -> Chosen;
}

/// Whether these names, `KIND`, `KIND:PLACE` or `KIND@SEVERITY`, mean a suspect.
fn is_meant(suspect: &str, means: &[String]) -> bool {
    let kind = suspect.split_once(':').map_or(suspect, |(kind, _)| kind);
    means
        .iter()
        .map(|name| name.split_once('@').map_or(name.as_str(), |(kind, _)| kind))
        .any(|n| n == suspect || n == kind)
}

/// The changes that turn one bike state into another.
pub(in crate::walk) fn toward(from: &BikeState, to: &BikeState) -> StateNeed {
    StateNeed {
        switches: to.switches.clone(),
        unplugged: to.unplugged.clone(),
        plugged: from.unplugged.difference(&to.unplugged).cloned().collect(),
        points: to.points.clone(),
        engine: to.engine,
        crank: to.crank,
        fitted: to.fitted.clone(),
        removed: from.fitted.keys().filter(|name| !to.fitted.contains_key(*name)).cloned().collect(),
        instrument: to.instrument.clone(),
        lay_down: to.instrument.is_none(),
    }
}

impl Walker {
    /// Makes this walker ask for advice after every answer: each [`Effect::Weigh`] needs a [`crate::walk::Event::Weighed`].
    #[must_use]
    pub fn advised(mut self) -> Self {
        self.advice.wanted = true;
        self
    }

    /// The answers so far, including the latest. While a check is repeated, also those that came after its first answer.
    pub fn observed(&self) -> Vec<Arc<Observation>> {
        let saved = self.advice.doubt.as_ref().and_then(|doubt| doubt.saved.as_ref());
        let mut all = saved.map_or(&self.place.at, |saved| &saved.0).observed.clone();
        if let Some((fresh, _)) = &self.advice.fresh {
            put(&mut all, fresh);
        }
        all
    }

    /// The suspects after the last answer.
    pub fn suspects(&self) -> Option<&Weighed> {
        self.place.at.weighed.as_deref()
    }

    /// The id of the pending request for advice.
    pub fn waits_for_advice(&self) -> Option<Request> {
        match self.phase {
            Phase::Weighing { id, .. } => Some(id),
            _ => None,
        }
    }

    /// The check whose question is open, so that an adviser can prepare.
    pub fn check_at_hand(&self) -> Option<Check> {
        if !self.advice.wanted || !self.is_asking() {
            return None;
        }
        self.check_at(&self.place.at.frames, &self.bike.state)
    }

    fn check_at(&self, frames: &[Frame], state: &BikeState) -> Option<Check> {
        let frame = frames.last()?;
        let step = self.world.procedures.get(&frame.procedure)?.step(&frame.step)?;
        let question = Question::new(step, &self.scope_at(frames)).ok()?;
        Some(Check {
            procedure: frame.procedure.clone(),
            step: frame.step.clone(),
            round: round_of(frames),
            state: state.clone(),
            question,
        })
    }

    /// Called once an answer is on disk. Returns whether it asked for advice first.
    pub(in crate::walk) fn asks_for_advice(&mut self, then: &After) -> bool {
        if !self.advice.wanted {
            return false;
        }
        self.advice.fresh = self.observation(then).map(|one| (Arc::new(one), None));
        if self.advice.fresh.is_none() {
            return false;
        }
        let id = Request::new(self.id());
        self.out.push(Effect::Weigh { id });
        self.phase = Phase::Weighing { id, then: Box::new(then.clone()) };
        true
    }

    /// The latest answer as an observation for the adviser. `None` if it carries no information.
    fn observation(&self, then: &After) -> Option<Observation> {
        let taken = match then {
            After::Read { taken, .. } => Some(taken),
            _ => None,
        };
        let frames = taken.map_or(&self.place.at.frames, |taken| &taken.frames);
        let old = taken.and_then(|t| self.place.at.observed.iter().find(|one| one.reading == Some(t.number)));
        let told = match then {
            After::Chosen { told, .. } => told,
            _ => &taken.and_then(|taken| taken.told.clone()),
        };
        let state = old.map_or(told.as_deref().unwrap_or(&self.bike.state), |old| &old.check.state);
        let check = self.check_at(frames, state)?;
        let step = self.world.procedures.get(&check.procedure)?.step(&check.step)?;
        let scope = self.scope_at(frames);
        let asked = expression::render(step.brief.as_ref().unwrap_or(&step.say), &scope).ok()?;
        let (saw, at_random, words) = match (then, &step.ask) {
            (After::Chosen { choice, echo, .. }, Ask::Choice(choices) | Ask::Watch { choices, .. }) => {
                let id = choices.get(*choice)?.id.value.clone();
                let saw = Saw::Choice(id);
                let at_random = saw.at_random(choices.len(), (0.0, 0.0));
                (saw, at_random, echo.clone())
            }
            (After::Read { taken, .. }, Ask::Reading(ask)) => {
                let words = self.named_reading(taken, step);
                let (low, high) =
                    (expression::evaluate_number(&ask.low, &scope), expression::evaluate_number(&ask.high, &scope));
                let saw = saw(&taken.reading, ask.resolution);
                let at_random = saw.at_random(0, (low.ok()?, high.ok()?));
                (saw, at_random, words)
            }
            // A step without a question matters only if it makes something as good as new.
            (After::Done, _) if !check.question.mends.is_empty() => (Saw::Done, 1.0, String::new()),
            _ => return None,
        };
        Some(Observation {
            check,
            saw,
            at_random,
            words: if told.is_some() { self.words("told-words", json!({"answer": words})) } else { words },
            asked,
            confirmed: self.advice.was_confirmed,
            comes_and_goes: self.comes_and_goes(),
            told: told.is_some(),
            history: old.map_or(self.place.history.len(), |old| old.history),
            reading: taken.map(|taken| taken.number),
        })
    }

    /// Handles the advice: records it and goes on with the walk.
    pub(in crate::walk) fn weighed(&mut self, answered: Answered<Weighed>) {
        let Some(weighed) = answered.for_request(self.waits_for_advice()) else { return };
        let Phase::Weighing { then, .. } = &self.phase else { return };
        let then = (**then).clone();
        self.phase = Phase::Asking;
        if let Some((observation, advice)) = &mut self.advice.fresh {
            let (step, round) = (observation.check.step.clone(), observation.check.round.clone());
            *advice = Some(Arc::new(weighed.clone()));
            self.note_down(Record::Weighed { step, round, weighed });
        }
        self.go_on_with(then);
    }

    /// Stores the latest answer in the position, so that "go back" removes it.
    pub(in crate::walk) fn observe(&mut self) {
        let Some((observation, advice)) = self.advice.fresh.take() else { return };
        put(&mut self.place.at.observed, &observation);
        self.place.at.weighed = advice.or(self.place.at.weighed.take());
    }

    /// An amended reading that leads the same way replaces the old one in every position that "go back" can restore.
    pub(in crate::walk) fn observe_everywhere(&mut self) {
        let Some((observation, _)) = &self.advice.fresh else { return };
        for position in &mut self.place.history {
            if position.observed.iter().any(|one| one.reading == observation.reading) {
                put(&mut position.observed, observation);
            }
        }
        self.observe();
    }

    /// Handles "what is left": names the suspects, their probability, and the evidence.
    pub(in crate::walk) fn say_suspects(&mut self) {
        if !self.advice.wanted {
            self.sentence("left-no-model", json!({}), SayKind::Notice);
            return self.listen_when_quiet();
        }
        let Some(weighed) = self.place.at.weighed.clone() else {
            self.sentence("left-nothing-yet", json!({}), SayKind::Notice);
            return self.listen_when_quiet();
        };
        let named: Vec<&Suspect> =
            weighed.suspects.iter().take(NAMED).filter(|suspect| suspect.weight >= WORTH_A_WORD).collect();
        let named_weight: f64 = named.iter().map(|suspect| suspect.weight).sum();
        let because: Vec<&str> =
            named.first().map(|first| first.because.iter().map(|b| b.answer.as_str()).collect()).unwrap_or_default();
        let values = json!({
            "suspects": named.iter().map(|s| format!("{}, {}", s.words, self.share(s.weight))).collect::<Vec<_>>(),
            "others": self.share(1.0 - named_weight - weighed.outside),
            "outside": self.share(weighed.outside),
            "because": because,
        });
        self.sentence("left", values, SayKind::Notice);
        self.listen_when_quiet();
    }

    /// A probability in words.
    fn share(&self, weight: f64) -> String {
        let percent = (weight * 100.0).round();
        if percent < 1.0 {
            return self.words("left-hardly", json!({}));
        }
        self.world.vocabulary.say_number(percent.min(99.0), Unit::Percent, 1.0)
    }

    /// What a conclusion that condemns these parts and means these faults does not rule out, in words.
    pub(in crate::walk) fn not_ruled_out(&self, condemned: &[String], means: &[String]) -> Vec<String> {
        let Some(weighed) = &self.place.at.weighed else { return Vec::new() };
        let told = |s: &Suspect| match means {
            [] => s.parts.iter().any(|part| condemned.contains(part)),
            _ => is_meant(&s.fault, means),
        };
        let one =
            |words: &str, weight| self.words("not-ruled-out-one", json!({"words": words, "share": self.share(weight)}));
        let others = weighed.suspects.iter().filter(|s| s.weight >= WORTH_A_WORD && !told(s));
        let mut all: Vec<String> = others.map(|s| one(&s.words, s.weight)).collect();
        if weighed.outside >= WORTH_A_WORD {
            all.push(one(&self.words("left-outside", json!({})), weighed.outside));
        }
        all
    }

    /// In best order: the answers that a conclusion that means these faults rests on.
    pub(in crate::walk) fn rests_on(&self, means: &[String]) -> Option<String> {
        let weighed = self.place.at.weighed.as_ref().filter(|_| self.is_free())?;
        let suspect = weighed.suspects.iter().find(|s| is_meant(&s.fault, means))?;
        let answers: Vec<&str> = suspect.because.iter().take(MOST_REASONS).map(|one| one.answer.as_str()).collect();
        (!answers.is_empty()).then(|| self.words("concluded-because", json!({"items": answers})))
    }

    /// A sentence for a conclusion that means these faults, if the answers together do not speak for it: what they speak for, and the check
    /// that decides, which is the last one.
    pub(in crate::walk) fn speaks_for_another(&self, means: &[String]) -> Option<String> {
        let weighed = self.place.at.weighed.as_ref().filter(|_| !means.is_empty())?;
        let (meant, others): (Vec<&Suspect>, Vec<&Suspect>) =
            weighed.suspects.iter().partition(|s| is_meant(&s.fault, means));
        let meant: f64 = meant.iter().map(|s| s.weight).sum();
        let other = others.first().filter(|s| s.weight > meant.max(WORTH_A_WORD));
        if meant >= WORTH_A_WORD && other.is_none_or(|s| s.weight <= MOST) {
            return None;
        }
        let check = self.place.at.observed.last()?;
        let values = json!({
            "words": other.map(|s| s.words.clone()).unwrap_or_default(),
            "share": other.map(|s| self.share(s.weight)).unwrap_or_default(),
            "check": check.asked,
        });
        Some(self.words("concluded-disagrees", values))
    }

    /// Before an answer is followed: if the answers do not fit together, offers once to repeat the doubtful check. Returns whether it did.
    pub(in crate::walk) fn offers_repeat(&mut self, answer: &str, go: &Route, means: Meaning) -> bool {
        let Some(doubtful) = self.place.at.weighed.as_ref().and_then(|weighed| weighed.doubtful.clone()) else {
            return false;
        };
        let Some(observation) = self.place.at.observed.get(doubtful.number).cloned() else { return false };
        if observation.saw == Saw::Done || observation.history >= self.place.history.len() {
            return false;
        }
        if !self.advice.doubts_told.insert(format!("{}/{}", observation.check.procedure, observation.place())) {
            return false;
        }
        self.advice.doubt = Some(Doubt {
            pending: Pending { answer: answer.to_owned(), go: go.clone(), means },
            history: observation.history,
            state: observation.check.state.clone(),
            was: observation.name(),
            saved: None,
        });
        self.offer_repeat(&observation.asked, &observation.words);
        true
    }

    fn offer_repeat(&mut self, check: &str, answer: &str) {
        self.talk.last_said.clear();
        self.sentence("does-not-fit", json!({"check": check, "answer": answer}), SayKind::Question);
        self.phase = Phase::Offering;
        self.listen_when_quiet();
    }

    /// Makes the offer again after an interruption. Returns whether there was one.
    pub(in crate::walk) fn offers_again(&mut self) -> bool {
        let Some(history) = self.advice.doubt.as_ref().filter(|doubt| doubt.saved.is_none()).map(|doubt| doubt.history)
        else {
            return false;
        };
        match self.place.at.observed.iter().find(|one| one.history == history).cloned() {
            Some(one) => self.offer_repeat(&one.asked, &one.words),
            None => self.leave_doubt(),
        }
        true
    }

    /// Handles "yes": repeats the doubtful check in the bike state in which it was made.
    pub(in crate::walk) fn repeat_doubtful(&mut self) {
        let Some(mut doubt) = self.advice.doubt.take() else { return };
        let Some(position) = self.place.history.get(doubt.history).cloned() else { return self.leave_doubt() };
        let saved = std::mem::replace(&mut self.place.at, position);
        doubt.saved = Some(Box::new((saved, self.bike.state.clone())));
        self.bike.restoring = Some(doubt.state.clone());
        self.advice.doubt = Some(doubt);
        let step = self.step_id();
        self.enter(&step, crate::walk::enter::How::Restated);
    }

    /// Handles "no", or a check that cannot be repeated: the walk goes on where it was.
    pub(in crate::walk) fn leave_doubt(&mut self) {
        let Some(doubt) = self.advice.doubt.take() else { return };
        if let Some(saved) = doubt.saved {
            let (at, state) = *saved;
            self.place.at = at;
            self.bike.restoring = Some(state);
        }
        self.lead_on(&doubt.pending.answer, None, &doubt.pending.go, doubt.pending.means);
    }

    /// Whether a check is being repeated.
    pub(in crate::walk) fn is_repeating(&self) -> bool {
        self.advice.doubt.as_ref().is_some_and(|doubt| doubt.saved.is_some())
    }

    /// Ends the repeat once its answer and position are stored. Returns true if the answer is the same as before: the walk goes on where it
    /// was. Otherwise the walk goes on from here, and what came after the first answer no longer counts.
    pub(in crate::walk) fn ends_repeat(&mut self, answer: &str) -> bool {
        let Some(mut doubt) = self.advice.doubt.take_if(|doubt| doubt.saved.is_some()) else { return false };
        let Some(before) = self.place.history.pop() else { return false };
        let (again, weighed) = (self.place.at.observed.last().cloned(), self.place.at.weighed.clone());
        if answer != doubt.was {
            self.place.history.truncate(doubt.history);
            self.place.history.push(before);
            // Later observations still count as evidence, although they are off the path now.
            let mut all = doubt.saved.map(|saved| saved.0.observed).unwrap_or_default();
            for one in all.iter_mut().filter(|one| one.history > doubt.history) {
                Arc::make_mut(one).history = usize::MAX;
            }
            all.extend(again);
            self.place.at.observed = all;
            self.readings.all.iter_mut().filter(|r| r.history > doubt.history).for_each(|r| r.history = doubt.history);
            self.sentence("repeat-differs", json!({}), SayKind::Notice);
            return false;
        }
        self.sentence("repeat-same", json!({}), SayKind::Notice);
        if let Some(saved) = &mut doubt.saved
            && let Some(again) = again
        {
            saved.0.made_now(&again.check.key());
            saved.0.observed.push(again);
            saved.0.weighed = weighed;
        }
        self.advice.doubt = Some(doubt);
        self.leave_doubt();
        true
    }

    /// The changes to the bike for the current step if a check is repeated out of turn.
    pub(in crate::walk) fn restored(&self, need: StateNeed) -> StateNeed {
        match &self.bike.restoring {
            Some(state) => toward(&self.bike.state, &state.after(&need)),
            None => need,
        }
    }
}

fn saw(reading: &Reading, resolution: f64) -> Saw {
    match reading.kind {
        ReadingKind::OverRange | ReadingKind::NoReading => Saw::OverRange,
        kind => Saw::Number { value: reading.value, resolution, about: kind == ReadingKind::About },
    }
}

/// Adds an answer, or replaces the reading that it amends.
fn put(all: &mut Vec<Arc<Observation>>, one: &Arc<Observation>) {
    let same = |old: &&mut Arc<Observation>| one.reading.is_some() && old.reading == one.reading;
    match all.iter_mut().find(same) {
        Some(old) => *old = one.clone(),
        None => all.push(one.clone()),
    }
}
