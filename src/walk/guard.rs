//! The guard over hot coils. It is on while current may flow in a primary winding with the engine stopped, and it keeps asking until
//! somebody confirms that the power is off. An instruction is not an action: a change counts as done once the user answers the step that
//! asked for it, and only if its prompt was heard to the end. Nothing else ends the guard: no pause, no end of the walk, no failed write.

use super::answer::LONGEST_SPEECH_MS;
use super::event::{Effect, SayKind, TimerKind, Tone};
use super::phase::{After, Left, Phase};
use super::table::OnHeat;
use super::walker::Walker;
use crate::bike::{BikeState, Change, Engine, StateNeed};
use crate::circuit::Model;
use crate::session::Record;
use serde_json::json;

/// Current may flow in a coil this long before the guard speaks. Once a prompt has asked for a change that ends the current, the user has
/// this long to make it.
const HEAT_MS: u64 = 60_000;
/// Interval of the guard's prompts after the first. A late request for the change extends the first minute by only this much, however often
/// it is made.
const AGAIN_MS: u64 = 30_000;
/// If the guard is due while the walk waits for a disk or an adviser, it waits this long once, then speaks. It does the same once, after
/// [`AGAIN_MS`], if its last prompt has not ended: a loudspeaker that takes longer is stuck.
const BUSY_MS: u64 = 2_000;
/// Number of states whose circuit result is cached: the current and the previous one, each with and without power.
const REMEMBERED: usize = 4;

/// Reason given when a walk was stopped.
pub(super) const STOPPED: &str = "the walk was stopped before a conclusion";

impl Walker {
    /// Whether current may flow in a coil, as far as anybody has confirmed.
    pub fn is_power_on(&mut self) -> bool {
        let state = self.bike.state.clone();
        self.bike.guard.suspect.is_some() || self.heats(&state)
    }

    /// Whether the guard's timer runs. While the user works with the engine running, no coil carries a steady current.
    fn is_guarded(&mut self) -> bool {
        let left_alone = matches!(
            self.phase,
            Phase::Waiting { .. } | Phase::Stuck { .. } | Phase::Guarding { .. } | Phase::Closing { .. } | Phase::Over
        );
        let runs = self.bike.state.engine == Some(Engine::Running) && self.bike.guard.suspect.is_none();
        self.is_power_on() && (left_alone || !runs)
    }

    /// Whether current can flow in a coil in this state; never where the bike has no coil. Without wiring data the key decides: any position but
    /// off counts as on.
    fn heats(&mut self, state: &BikeState) -> bool {
        if self.mute || self.world.bike.coils.is_empty() {
            return false;
        }
        if let Some((_, heats)) = self.bike.guard.known.iter().find(|(known, _)| known == state) {
            return *heats;
        }
        let world = self.world.clone();
        let model = Model::new(&world.bike);
        let wired = *self.bike.guard.wired.get_or_insert_with(|| model.tells_how_coils_are_fed());
        let by_wiring = if wired { model.heats_a_coil(state).ok() } else { None };
        let heats = by_wiring.unwrap_or_else(|| {
            let key = state.switches.get("key");
            let positions = world.bike.switch("key").map_or(&[][..], |key| &key.positions);
            let off = |at: &String| positions.iter().any(|p| *p.name.value == *at && !p.works);
            !key.is_some_and(|at| off(at) || at == "disconnects")
        });
        if self.bike.guard.known.len() >= REMEMBERED {
            self.bike.guard.known.remove(0);
        }
        self.bike.guard.known.push((state.clone(), heats));
        heats
    }

    /// Starts or stops the guard's timer.
    pub(super) fn watch_heat(&mut self) {
        let guarded = self.is_guarded();
        if guarded && self.bike.guard.due_ms.is_none() {
            self.bike.guard.since_ms = self.now.mono_ms;
            // The pending prompt is about a current that has ended.
            self.bike.guard.prompt = None;
            self.guard_in(HEAT_MS);
        } else if !guarded && self.bike.guard.due_ms.take().is_some() {
            self.out.push(Effect::StopTimer { timer: TimerKind::CoilHeat });
        }
        if !self.is_power_on() {
            self.bike.guard.raised = false;
        }
    }

    fn guard_in(&mut self, ms: u64) {
        self.bike.guard.due_ms = Some(self.now.mono_ms + ms);
        self.out.push(Effect::StartTimer { timer: TimerKind::CoilHeat, ms });
    }

    /// The state was `before`. The prompt `text` asks for the change to the present state; the change is not done yet.
    pub(super) fn request_state_change(&mut self, before: BikeState, need: &StateNeed, text: &str) {
        if self.mute {
            return;
        }
        let now = self.bike.state.clone();
        if self.heats(&before) && !self.heats(&now) {
            self.bike.guard.suspect.get_or_insert(before);
        }
        if let Some(suspect) = self.bike.guard.suspect.clone()
            && !self.heats(&suspect.after(need))
            && !text.is_empty()
        {
            self.bike.guard.cure = Some(text.to_owned());
            self.time_for_doing();
        }
        self.watch_heat();
    }

    /// Allows time for the requested change once, not again at each repeat of the request.
    fn time_for_doing(&mut self) {
        let now = self.now.mono_ms;
        if let Some(due) = self.bike.guard.due_ms
            && !self.bike.guard.raised
        {
            let latest = self.bike.guard.since_ms + HEAT_MS + AGAIN_MS;
            let until = due.max(latest.min(now + HEAT_MS));
            self.guard_in(until.saturating_sub(now));
        }
    }

    /// Whether the guard's last prompt has not ended.
    fn is_guard_sounding(&self) -> bool {
        self.bike.guard.prompt.is_some_and(|id| self.talk.speaking.contains_key(&id))
    }

    /// Whether the guard speaks even though somebody else does: it has waited as long as the longest speech.
    pub(super) fn guard_waits_no_more(&self) -> bool {
        self.bike.guard.due_ms.is_some_and(|due| self.now.mono_ms >= due + LONGEST_SPEECH_MS)
    }

    /// An answer confirms the requested change: it is done if its prompt was heard to the end.
    pub(super) fn confirm_state_change(&mut self) {
        if let Some(text) = &self.bike.guard.cure
            && self.was_heard(text)
        {
            self.bike.guard.cure = None;
            self.bike.guard.suspect = None;
            self.watch_heat();
        }
    }

    /// After an interruption of unknown length nobody knows where the engine stopped or whether the key was turned.
    pub(super) fn doubt_the_power(&mut self) {
        let mut left = self.bike.state.clone();
        left.points.clear();
        left.engine = None;
        if self.bike.guard.suspect.is_none() && self.heats(&left) {
            self.bike.guard.suspect = Some(left);
        }
        self.bike.guard.due_ms = None;
        self.bike.guard.put_off = false;
    }

    /// The position that the key may still be in.
    pub(super) fn key_may_be_at(&self) -> Option<&String> {
        let suspect = self.bike.guard.suspect.as_ref().and_then(|state| state.switches.get("key"));
        suspect.or_else(|| self.bike.state.switches.get("key"))
    }

    /// What ends the current: the key off and, if that is not enough, the removal of what is fitted.
    fn power_off_need(&mut self) -> (BikeState, StateNeed) {
        let state = self.bike.guard.suspect.clone().unwrap_or_else(|| self.bike.state.clone());
        let mut need = StateNeed::default();
        if let Some(off) = self.world.bike.switch("key").and_then(|key| key.position(false)) {
            need.switches.insert("key".to_owned(), off.to_owned());
        }
        if self.heats(&state.after(&need)) {
            need.removed = state.fitted.keys().cloned().collect();
        }
        (state, need)
    }

    /// Asks the user to switch the power off.
    pub(super) fn ask_for_power_off(&mut self) {
        self.say_power_off("power-off");
    }

    /// The same after a minute of current.
    pub(super) fn say_coils_hot(&mut self) {
        self.say_power_off("coils-hot");
    }

    fn say_power_off(&mut self, sentence: &str) {
        if self.mute {
            return;
        }
        let (state, need) = self.power_off_need();
        let changes: Vec<Change> = state.changes(&need, &self.world.bike);
        let words: Vec<String> =
            changes.iter().filter_map(|c| self.world.vocabulary.change_words(c, &self.world.bike).ok()).collect();
        let text = self.words(sentence, json!({ "changes": words }));
        self.bike.guard.said.clone_from(&text);
        self.bike.guard.raised = true;
        self.hear_again(&text);
        self.say(text, SayKind::Caution);
        self.bike.guard.prompt = self.talk.speaking.last_key_value().map(|(id, _)| *id);
        self.guard_in(AGAIN_MS);
    }

    /// Handles the guard's timer.
    pub(super) fn guard_due(&mut self) {
        self.bike.guard.due_ms = None;
        if !self.is_guarded() {
            return;
        }
        let due = self.phase.row().heat;
        let busy = due == OnHeat::Shortly;
        let sounding = self.is_guard_sounding();
        if (busy || sounding) && !std::mem::replace(&mut self.bike.guard.put_off, true) {
            return self.guard_in(if sounding { AGAIN_MS } else { BUSY_MS });
        }
        self.bike.guard.put_off = busy;
        let state = self.bike.state.clone();
        match due {
            OnHeat::Nothing => {}
            OnHeat::Shortly => self.ask_for_power_off(),
            OnHeat::SpeaksOrWaits if self.heats(&state) => self.wait_for_power_off(),
            // If the last prompt asked for power off, any answer lets the walk go on.
            OnHeat::Speaks | OnHeat::SpeaksOrWaits => self.guard_aloud(),
        }
    }

    /// Asks between two listens.
    pub(super) fn guard_aloud(&mut self) {
        self.deaf();
        self.ask_for_power_off();
        self.listen_when_quiet();
    }

    /// Handles "power is off".
    pub(super) fn power_is_off(&mut self, by: &str) {
        let (_, need) = self.power_off_need();
        self.bike.state = self.bike.state.after(&need);
        self.bike.guard.suspect = None;
        self.bike.guard.cure = None;
        let record = Record::PowerOff { step: self.step_id(), confirmed: true, by: by.to_owned() };
        self.note_down(record);
        self.tone(Tone::Accepted);
        self.watch_heat();
        match self.phase.clone() {
            Phase::Guarding { code, why } => return self.end(code, why),
            Phase::Waiting { .. } => self.sentence("paused", json!({}), SayKind::Notice),
            Phase::Stuck { .. } => self.sentence("storage-waits", json!({}), SayKind::Notice),
            _ => self.repeat_last(),
        }
        self.listen_when_quiet();
    }

    /// A pedal counts as "power is off" if the guard asked for it and the prompt was heard to the end.
    pub(super) fn pedal_means_power_off(&mut self) {
        if self.bike.guard.raised && self.was_heard(&self.bike.guard.said) {
            return self.power_is_off("pedal");
        }
        if !self.is_guard_sounding() {
            self.guard_aloud();
        }
    }

    /// The closing words are spoken: the dialogue is over, the guard is not.
    pub(super) fn last_words_said(&mut self, code: u8, why: String) {
        if self.is_power_on() {
            self.phase = Phase::Guarding { code, why };
            return self.guard_aloud();
        }
        self.end(code, why);
    }

    /// Ends at once, whatever is still being said or written. Says and records that nobody has confirmed power off.
    pub(super) fn end_at_once(&mut self) {
        let (code, why) = match &self.phase {
            Phase::Closing { code, why } | Phase::Guarding { code, why } => (*code, why.clone()),
            _ => {
                self.ending.stopped = true;
                // The walk's own stop already covers what is left open.
                match self.take_left() {
                    Left::Owed(owed) if matches!(owed.then, After::Stopped) => {}
                    left => self.ending.left = left,
                }
                (1, STOPPED.to_owned())
            }
        };
        self.out.push(Effect::Cut);
        self.talk.speaking.clear();
        self.deaf();
        if self.is_power_on() {
            let record = Record::PowerOff { step: self.step_id(), confirmed: false, by: String::new() };
            self.note_down(record);
            self.sentence("power-not-confirmed", json!({}), SayKind::Caution);
        }
        self.end(code, why);
    }

    fn end(&mut self, code: u8, why: String) {
        self.deaf();
        if self.bike.guard.due_ms.take().is_some() {
            self.out.push(Effect::StopTimer { timer: TimerKind::CoilHeat });
        }
        self.phase = Phase::Over;
        self.out.push(Effect::Finish { code, why });
    }
}
