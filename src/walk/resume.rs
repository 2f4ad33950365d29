//! Continuing after a pause, an interrupting question, or a restart of the program.

use super::enter::How;
use super::event::SayKind;
use super::memory::TakenReading;
use super::phase::{After, Left, Phase};
use super::table::OnResumed;
use super::walker::Walker;
use crate::bike::{BikeState, InstrumentKind, StateNeed};
use crate::procedure::Ask;
use crate::session::Record;
use serde_json::json;

/// A pause longer than this makes battery readings stale.
const BATTERY_STALE_MS: u64 = 4 * 3_600_000;

impl Walker {
    /// Handles "carry on".
    pub(super) fn carry_on(&mut self) {
        let gap = self.talk.waiting_since.take().map_or(0, |since| self.now.mono_ms.saturating_sub(since));
        self.talk.silences = 0;
        self.sentence("going-on", json!({}), SayKind::Notice);
        match &self.phase {
            Phase::Waiting { left: Left::Owed(_) } => self.write_again(),
            _ => self.pick_up(gap),
        }
    }

    /// Continues with what an interruption left open.
    pub(super) fn pick_up(&mut self, gap_ms: u64) {
        let left = self.take_left();
        self.phase = Phase::Asking;
        match left {
            Left::Step => self.go_on_after(gap_ms),
            Left::Stored(then) => self.go_on_with(*then),
            Left::Crossing { written } => self.ask_what_comes_next(*written),
            Left::Owed(owed) => {
                self.phase = Phase::Stuck { owed };
                self.sentence("storage-waits", json!({}), SayKind::Notice);
                self.listen_when_quiet();
            }
        }
    }

    fn go_on_after(&mut self, gap_ms: u64) {
        if gap_ms >= BATTERY_STALE_MS && self.battery_again() {
            return;
        }
        if self.offers_again() {
            return;
        }
        let step = self.step_id();
        if step.is_empty() {
            return self.begin();
        }
        self.enter(&step, How::Restated);
    }

    /// A battery's charge changes within hours: repeats the battery check that was made, then the walk goes on.
    fn battery_again(&mut self) -> bool {
        let world = self.world.clone();
        let at_battery = |taken: &&TakenReading| {
            let frame = taken.frames.last().expect("the stack of calls is never empty");
            let step = world.procedures[&frame.procedure].step(&taken.step);
            step.is_some_and(|s| {
                matches!(s.ask, Ask::Reading(_))
                    && s.state.instrument.as_ref().is_some_and(|(kind, a, b)| {
                        *kind == InstrumentKind::Voltmeter && a.starts_with("battery.") && b.starts_with("battery.")
                    })
            })
        };
        let Some(taken) = self.readings.all.iter().find(at_battery).cloned() else { return false };
        if taken.step == self.step_id() {
            return false;
        }
        self.sentence("battery-again", json!({}), SayKind::Notice);
        self.place.detour = Some(self.place.at.clone());
        self.place.at.frames = taken.frames;
        self.enter(&taken.step, How::Restated);
        true
    }

    /// The program was restarted on this session: restates what is known before anything else.
    pub(super) fn resumed(&mut self, gap_ms: u64, repaired: bool) {
        // A stop that was not on disk yet when the program broke off stops nothing now.
        let stopping = matches!(&self.phase, Phase::Writing { owed, .. } if matches!(owed.then, After::Stopped));
        let was_stopped = std::mem::take(&mut self.ending.stopped) || stopping;
        self.ending.stop_why = None;
        self.talk.speaking.clear();
        self.talk.listening = None;
        self.talk.over = None;
        self.talk.speech_since = None;
        self.talk.heard_whole.clear();
        self.cautions.printed.clear();
        self.talk.loudspeaker_gone = false;
        self.ending.stop_asked = false;
        self.talk.deferred.clear();
        self.talk.microphone_gone = false;
        self.doubt_the_power();
        self.cautions.agreed.clear();
        let detail = format!("after {} s", gap_ms / 1000);
        self.note_down(Record::Interrupted { step: self.step_id(), what: "resumed".into(), detail });
        self.sentence("resumed", json!({}), SayKind::Notice);
        if repaired {
            self.sentence("repaired", json!({}), SayKind::Notice);
        }
        if self.is_power_on() {
            self.ask_for_power_off();
        }
        let goes_on = self.phase.row().resumed;
        match goes_on {
            _ if was_stopped => self.phase = Phase::Waiting { left: std::mem::take(&mut self.ending.left) },
            OnResumed::Closes => return self.repeat_last(),
            OnResumed::Guards => return self.listen_when_quiet(),
            _ => {}
        }
        if !self.readings.all.is_empty() {
            self.say_last_reading();
        }
        let was_waiting = self.talk.waiting_since.take();
        let state = std::mem::take(&mut self.bike.state);
        let told = self.state_words(&state);
        if !told.is_empty() {
            self.sentence("restate-state", json!({"state": told.join(" ")}), SayKind::Notice);
        }
        self.bike.state = state;
        // The key may have been turned off meanwhile: a step that needs it on says so again.
        self.bike.state.switches.remove("key");
        let waited = was_waiting.map_or(0, |since| self.now.mono_ms.saturating_sub(since));
        match goes_on {
            OnResumed::StaysBusy if !was_stopped => {}
            _ => self.pick_up(gap_ms.max(waited)),
        }
    }

    /// A bike state in words.
    fn state_words(&self, state: &BikeState) -> Vec<String> {
        let need = StateNeed {
            switches: state.switches.clone(),
            unplugged: state.unplugged.clone(),
            fitted: state.fitted.clone(),
            instrument: state.instrument.clone(),
            ..Default::default()
        };
        let changes = BikeState::default().changes(&need, &self.world.bike);
        changes.iter().filter_map(|c| self.world.vocabulary.change_words(c, &self.world.bike).ok()).collect()
    }
}
