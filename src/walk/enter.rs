//! Entering a step: follows routes, then speaks cautions, changes to the bike, and the question, in this order.

use super::event::{Effect, SayKind, TimerKind};
use super::memory::{Detail, Frame, Hearing, Round};
use super::phase::Phase;
use super::walker::Walker;
use crate::bike::{Change, PointsAt};
use crate::expression;
use crate::procedure::{self, Ask, Route, Target};
use crate::session::Record;
use serde_json::json;
use std::sync::Arc;

/// A caution acknowledged less than this long ago is spoken in its brief form and needs no acknowledgement.
const CAUTION_FRESH_MS: u64 = 15 * 60_000;
/// More steps than this without an answer mean that the procedure loops through skipped steps.
const MOST_LEFT_OUT_IN_A_ROW: u32 = 1000;

/// Why a step is entered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum How {
    /// The walk moved on to it.
    Onward,
    /// "Go back", a resume or the end of a pause led to it: the bike's state is restated and confirmed.
    Restated,
    /// The same question is asked again.
    Again,
}

impl Walker {
    pub(super) fn begin(&mut self) {
        let world = self.world.clone();
        let procedure = self.procedure(&world);
        let scope = self.scope();
        let mut lines = vec![&procedure.title];
        lines.extend(&procedure.opening);
        for line in lines {
            match expression::render(line, &scope) {
                // What does not concern this bike comes out empty.
                Ok(text) if text.trim().is_empty() => {}
                Ok(text) => self.say(text, SayKind::Notice),
                Err(d) => return self.fault(&d.to_string()),
            }
        }
        self.go(&procedure.start);
    }

    /// Follows a route from the current step.
    pub(super) fn follow(&mut self, route: &Route) {
        match procedure::choose(route, &self.scope()) {
            Ok(target) => {
                let target = target.clone();
                self.go(&target);
            }
            Err(d) => self.fault(&d.to_string()),
        }
    }

    /// Goes to a target, or to what comes instead of it in best order.
    pub(super) fn go(&mut self, target: &Target) {
        self.go_on_to(target, false);
    }

    /// The same; whether a called procedure has just `returned` here.
    pub(super) fn go_on_to(&mut self, target: &Target, returned: bool) {
        if !self.asks_what_comes_next(target, returned) {
            self.lead_to(target);
        }
    }

    /// Goes to exactly this target.
    pub(super) fn lead_to(&mut self, target: &Target) {
        match target {
            Target::Step(id) => self.enter(id, How::Onward),
            Target::Again(_) => {
                let step = self.step_id();
                self.enter(&step, How::Again);
            }
            Target::Back(place) => match self.place.at.doubting.pop() {
                Some(frames) => {
                    self.place.at.frames = frames;
                    let step = self.step_id();
                    self.enter(&step, How::Again);
                }
                None => self.fault(&format!("{place}: `back` was reached without a doubted answer")),
            },
            Target::Each(id) => self.first_round(id),
            Target::Next(place) => self.next_round(&place.to_string()),
            Target::Call { procedure, then } => {
                self.frame_mut().then = Some((**then).clone());
                let start = match self.world.procedures.get(&**procedure) {
                    Some(called) => called.start.clone(),
                    None => {
                        return self.fault(&format!("{}: there is no procedure {}", procedure.place, procedure.value));
                    }
                };
                let called = procedure.value.clone();
                self.place.at.frames.push(Frame {
                    procedure: called,
                    rounds: Vec::new(),
                    step: String::new(),
                    then: None,
                });
                self.go(&start);
            }
            Target::Return(_) if self.place.at.frames.len() == 1 => self.finished(),
            Target::Return(place) => self.give_back(&place.to_string()),
            Target::Conclude(id) => self.conclude(id),
        }
    }

    /// Returns from the called procedure to its caller.
    pub(super) fn give_back(&mut self, place: &str) {
        if self.place.at.frames.len() < 2 {
            return self.fault(&format!("{place}: `return` was reached in a procedure that nothing called"));
        }
        self.place.at.frames.pop();
        match self.frame_mut().then.take() {
            Some(then) => self.go_on_to(&then, true),
            None => self.fault(&format!("{place}: the caller does not say where to go on")),
        }
    }

    /// Leaves all called procedures. Returns where the main one goes on, if one was called.
    pub(super) fn leaves_called(&mut self) -> Option<Target> {
        self.place.at.frames.truncate(1);
        self.place.at.doubting.clear();
        self.frame_mut().then.take()
    }

    fn first_round(&mut self, id: &str) {
        let world = self.world.clone();
        let Some(each) = self.procedure(&world).each(id) else {
            return self.fault(&format!("there is no loop {id}"));
        };
        let items = match expression::evaluate_list(&each.over, &self.scope()) {
            Ok(items) => items,
            Err(d) => return self.fault(&d.to_string()),
        };
        // A loop that is re-entered from inside starts over.
        let rounds = &mut self.frame_mut().rounds;
        if let Some(at) = rounds.iter().position(|r| r.each == id) {
            rounds.truncate(at);
        }
        if items.is_empty() {
            let then = each.then.clone();
            return self.follow(&then);
        }
        let bind = each.bind.value.clone();
        let items = items.into_iter().map(Arc::new).collect();
        self.frame_mut().rounds.push(Round { each: id.to_owned(), bind, items, at: 0 });
        let first = each.first.value.clone();
        self.enter(&first, How::Onward);
    }

    fn next_round(&mut self, place: &str) {
        let world = self.world.clone();
        let Some(round) = self.frame_mut().rounds.last_mut() else {
            return self.fault(&format!("{place}: `next` was reached outside a loop"));
        };
        round.at += 1;
        let over = round.at >= round.items.len();
        let id = round.each.clone();
        let each = self.procedure(&world).each(&id).expect("a round belongs to a loop");
        if over {
            self.frame_mut().rounds.pop();
            let then = each.then.clone();
            self.follow(&then);
        } else {
            let first = each.first.value.clone();
            self.enter(&first, How::Onward);
        }
    }

    /// Enters step `id` of the current procedure.
    pub(super) fn enter(&mut self, id: &str, how: How) {
        let world = self.world.clone();
        let Some(step) = self.procedure(&world).step(id) else {
            return self.fault(&format!("there is no step {id}"));
        };
        self.frame_mut().step = id.to_owned();
        self.readies(id);
        if let (Some(when), Some(otherwise)) = (&step.when, &step.otherwise) {
            match expression::evaluate_bool(when, &self.scope()) {
                Ok(true) => {}
                Ok(false) => {
                    self.place.steps_taken += 1;
                    if self.place.steps_taken > MOST_LEFT_OUT_IN_A_ROW {
                        return self.fault(&format!("{}: the procedure goes in a circle", step.id.place));
                    }
                    return self.follow(otherwise);
                }
                Err(d) => return self.fault(&d.to_string()),
            }
        }
        self.place.steps_taken = 0;
        if how != How::Again {
            self.talk.misses = 0;
            self.talk.denied.clear();
            self.talk.unsure = 0;
        }
        self.talk.silences = 0;
        self.talk.last_said.clear();
        self.talk.heard_whole.clear();
        let all = self.cautions_due(step);
        let restated = how == How::Restated;
        self.cautions.restates = restated;
        self.cautions_then_ask(all, restated);
    }

    /// Speaks the remaining cautions one by one, then the changes and the question.
    pub(super) fn cautions_then_ask(&mut self, mut due: Vec<String>, restated: bool) {
        let world = self.world.clone();
        let procedure = self.procedure(&world);
        // Consecutive brief cautions with the same signal word are spoken as one.
        let mut brief: Option<(String, String)> = None;
        while !due.is_empty() {
            let id = due.remove(0);
            let Some(caution) = procedure.caution(&id) else {
                return self.fault(&format!("there is no caution {id}"));
            };
            let heard = self.cautions.agreed.get(&caution.say.value).copied();
            let fresh = heard.is_some_and(|at| self.now.mono_ms.saturating_sub(at) < CAUTION_FRESH_MS);
            let text = if heard.is_some() { &caution.brief } else { &caution.say };
            let text = match self.worded(text) {
                Ok(text) => text,
                Err(d) => return self.fault(&d.to_string()),
            };
            if !fresh {
                self.cautions.words.clone_from(&text);
            }
            let signal = self.words(&format!("signal-{}", caution.signal.name().to_lowercase()), json!({}));
            brief = match brief.take() {
                Some((word, said)) if fresh && word == signal => Some((word, format!("{said} {text}"))),
                before => {
                    self.say_caution(before);
                    Some((signal, text))
                }
            };
            if !fresh {
                self.say_caution(brief.take());
                let asks = if self.cautions.agreed.is_empty() { "acknowledge" } else { "acknowledge-again" };
                self.sentence(asks, json!({}), SayKind::Caution);
                self.phase = Phase::Caution { now: id, rest: due };
                self.listen_when_quiet();
                return;
            }
        }
        self.say_caution(brief);
        if restated { self.restate() } else { self.ask() }
    }

    fn say_caution(&mut self, caution: Option<(String, String)>) {
        if let Some((signal, text)) = caution {
            let said = self.words("caution", json!({"signal": signal, "text": text}));
            self.hear_again(&said);
            self.cautions.text.clone_from(&said);
            self.say(said, SayKind::Caution);
        }
    }

    /// Restates how the bike's state differs and asks for confirmation, then asks the question.
    fn restate(&mut self) {
        let told = match self.changes() {
            Ok(told) => told,
            Err(d) => return self.fault(&d),
        };
        if told.is_empty() {
            return self.ask();
        }
        match self.world.vocabulary.sentence("state-differs", &json!({"changes": told.join(" ")})) {
            Ok(text) => {
                self.agree_state(told, &text);
                self.say_as(text, SayKind::Prompt, Hearing::Whole);
            }
            Err(why) => return self.fault(&why.to_string()),
        }
        self.sentence("acknowledge", json!({}), SayKind::Prompt);
        self.phase = Phase::Restate;
        self.listen_when_quiet();
    }

    /// The changes that the current step needs, in words.
    fn changes(&self) -> Result<Vec<String>, String> {
        if self.mute {
            return Ok(Vec::new());
        }
        let world = self.world.clone();
        let Some(step) = self.step(&world) else { return Ok(Vec::new()) };
        let need = procedure::render_state(&step.state, &self.scope(), &world.bike).map_err(|d| d.to_string())?;
        let changes = self.bike.state.changes(&self.restored(need), &self.world.bike);
        let in_the_prompt = |c: &&Change| matches!(c, Change::Engine(_) | Change::Points { to: PointsAt::Turning, .. });
        let spoken = changes.iter().filter(|c| !in_the_prompt(c));
        spoken.map(|c| world.vocabulary.change_words(c, &world.bike).map_err(|e| e.to_string())).collect()
    }

    /// Assumes from here on that the bike is in the state that the step needs.
    fn agree_state(&mut self, told: Vec<String>, text: &str) {
        let world = self.world.clone();
        let Some(step) = self.step(&world) else { return };
        let Ok(need) = procedure::render_state(&step.state, &self.scope(), &world.bike) else { return };
        let need = self.restored(need);
        let next = self.bike.state.after(&need);
        self.bike.restoring = None;
        self.remember_before(step);
        let before = std::mem::replace(&mut self.bike.state, next);
        if before != self.bike.state {
            let record = Record::State { step: self.step_id(), told, state: self.bike.state.clone() };
            self.note_down(record);
        }
        self.request_state_change(before, &need, text);
    }

    /// Speaks the changes and the step's question, records that it was asked, and listens.
    pub(super) fn ask(&mut self) {
        let Some(asked) = self.ask_aloud() else { return };
        let record = Record::Entered {
            procedure: self.frame().procedure.clone(),
            step: self.step_id(),
            round: self.round(),
            asked,
        };
        self.note_down(record);
    }

    /// Speaks the changes and the step's question, and listens. Returns what was said, or `None` after a fault.
    pub(super) fn ask_aloud(&mut self) -> Option<String> {
        let world = self.world.clone();
        let step = self.step(&world)?;
        let told = match self.changes() {
            Ok(told) => told,
            Err(d) => {
                self.fault(&d);
                return None;
            }
        };
        let prompt = match (&step.brief, self.talk.detail) {
            (Some(brief), Detail::Short) => brief,
            // It was asked in full before.
            (Some(brief), Detail::Normal) if self.was_answered(&step.id.value) && !self.is_told(&step.id.value) => {
                brief
            }
            _ => &step.say,
        };
        let prompt = self.worded(prompt);
        let more = self.worded(&step.more);
        let (prompt, more) = match (prompt, more) {
            (Ok(prompt), Ok(more)) => (prompt, more),
            (Err(d), _) | (_, Err(d)) => {
                self.fault(&d.to_string());
                return None;
            }
        };
        let mut asked = told.join(" ");
        let changes = if told.is_empty() { prompt.clone() } else { asked.clone() };
        if !told.is_empty() {
            self.say_as(asked.clone(), SayKind::Prompt, Hearing::Whole);
            asked.push(' ');
        }
        asked.push_str(&prompt);
        self.agree_state(told, &changes);
        self.say(prompt, SayKind::Prompt);
        if self.talk.detail == Detail::Long {
            self.say(more, SayKind::Prompt);
        }
        self.phase = Phase::Asking;
        if let Ask::Watch { within, .. } = &step.ask {
            let ms = (within * 1000.0) as u64;
            self.out.push(Effect::StartTimer { timer: TimerKind::Watch, ms });
        }
        self.listen_when_quiet();
        Some(asked)
    }
}
