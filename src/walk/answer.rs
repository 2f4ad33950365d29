//! Acts on what was heard: verdicts, confirmations, choices, and where they lead.

use super::enter::How;
use super::event::{Effect, SayKind, TimerKind, Tone};
use super::memory::{Frame, Printed, Told};
use super::phase::{After, Phase};
use super::readings::Sure;
use super::table::OnMiss;
use super::walker::Walker;
use crate::expression;
use crate::expression::Template;
use crate::phrase::{Answer, Escape, Hypothesis, Verdict, normalise};
use crate::procedure::{self, Ask, Choice, Meaning, Step, Target};
use crate::session::{Miss, Record};
use serde_json::{Value, json};

/// Why a walk was stopped: it waits for parts.
pub const FOR_PARTS: &str = "waiting for parts";
/// Speech that began this long ago has ended, whether or not its end was reported: the longest utterance is cut off at 20 s, and
/// recognising it takes a few more.
pub(super) const LONGEST_SPEECH_MS: u64 = 30_000;

impl Walker {
    pub(super) fn speech_began(&mut self) {
        self.talk.speech_since = Some(self.now.mono_ms);
        self.talk.cut_short = self.cuts_a_prompt();
        // Speech that yields no utterance is treated as silence.
        self.out.push(Effect::StartTimer { timer: TimerKind::Silence, ms: LONGEST_SPEECH_MS });
    }

    pub(super) fn heard(&mut self, listen: u64, verdict: Verdict, by_voice: bool, clip: Option<String>) {
        self.talk.speech_since = None;
        if self.talk.listening != Some(listen) {
            return;
        }
        if !self.rejects_over_prompt(&verdict, clip.as_ref()) {
            self.deaf();
            self.understood(verdict, by_voice, clip);
        }
        self.tell_what_waited();
    }

    /// Whether somebody is speaking, and has been for less than [`LONGEST_SPEECH_MS`].
    pub(super) fn is_speaking(&self) -> bool {
        self.talk.speech_since.is_some_and(|since| self.now.mono_ms.saturating_sub(since) < LONGEST_SPEECH_MS)
    }

    fn understood(&mut self, verdict: Verdict, by_voice: bool, clip: Option<String>) {
        match verdict {
            Verdict::Accept { heard } | Verdict::Confirm { heard, .. } if self.ends_pause(&heard) => {
                self.goes_on_with_answer(heard, clip);
            }
            Verdict::Accept { heard } if self.asks_back(&heard) => {
                self.talk.silences = 0;
                self.confirm(heard, None, clip);
            }
            Verdict::Accept { heard } => {
                self.talk.silences = 0;
                self.take(heard, clip, false);
            }
            // The result repeats the input, and nothing depends on it.
            Verdict::Confirm { heard, .. } if matches!(self.phase, Phase::Reckoning { .. }) => {
                self.talk.silences = 0;
                self.take(heard, clip, false);
            }
            Verdict::Confirm { heard, rival } => {
                self.talk.silences = 0;
                self.confirm(heard, rival, clip);
            }
            // A typed answer never comes from a stranger.
            Verdict::Reject { free, stranger } if stranger && by_voice => {
                if self.strangers_again() {
                    let why = Miss::Stranger;
                    self.note_down(Record::NoAnswer { step: self.step_id(), why, free, clip });
                    return self.leave_strangers_alone();
                }
                self.not_understood(Miss::Stranger, free, clip);
            }
            Verdict::Reject { free, .. } => self.not_understood(Miss::NoMatch, free, clip),
        }
    }

    /// Whether these words are confirmed before they are taken, however surely they were heard.
    fn asks_back(&self, heard: &Hypothesis) -> bool {
        let (Phase::Asking, Answer::Choice(id)) = (&self.phase, &heard.answer) else { return false };
        let Some(step) = self.step(&self.world) else { return false };
        let scope = self.scope();
        let is_said =
            |text: &Template| expression::render(text, &scope).is_ok_and(|words| normalise(&words) == heard.words);
        choices(step).iter().any(|choice| *choice.id == *id && choice.ask_back.iter().any(is_said))
    }

    pub(super) fn confirm(&mut self, heard: Hypothesis, rival: Option<Hypothesis>, clip: Option<String>) {
        if self.phase.row().miss == OnMiss::Silent || heard.answer == Answer::PowerOff {
            return self.not_understood(Miss::NoMatch, None, clip);
        }
        // A doubtful "yes" or a doubtful control word does not justify a confirmation.
        let plain = matches!(heard.answer, Answer::Yes | Answer::No | Answer::Done);
        if plain || matches!(self.phase, Phase::StopConfirm { .. } | Phase::Offering) {
            return self.not_understood(Miss::NoMatch, None, clip);
        }
        if let Phase::Confirming { heard: asked, told, .. } = &self.phase {
            let open = Phase::asking(told.clone());
            // Another phrase for the same choice counts as "yes". The same phrase again is no clearer than before. Anything else instead of
            // "no" is confirmed in its turn.
            if asked.answer.is_same(&heard.answer) {
                let agrees = matches!(heard.answer, Answer::Choice(_)) && asked.words != heard.words && rival.is_none();
                if agrees {
                    self.phase = open;
                    return self.take(heard, clip, true);
                }
                return self.not_understood(Miss::NoMatch, None, clip);
            }
            self.talk.denied.push(asked.answer.clone());
            self.phase = open;
        }
        self.talk.last_said.clear();
        let a = self.said_back(&heard.answer, &heard.words);
        match rival.filter(|r| !matches!(r.answer, Answer::Yes | Answer::No | Answer::Done)) {
            Some(rival) => {
                let b = self.said_back(&rival.answer, &rival.words);
                self.sentence("this-or-that", json!({"a": a, "b": b}), SayKind::Question);
            }
            None => self.sentence("did-you-say", json!({"a": a}), SayKind::Question),
        }
        let told = match &self.phase {
            Phase::Asking => None,
            Phase::Telling { made_in } => Some(made_in.clone()),
            // In other phases the open question is asked again.
            _ => return self.not_understood(Miss::NoMatch, None, clip),
        };
        self.phase = Phase::Confirming { heard, clip, told };
        self.listen_when_quiet();
    }

    /// Words for an answer when it is confirmed.
    fn said_back(&self, answer: &Answer, words: &str) -> String {
        let world = self.world.clone();
        match (answer, self.step(&world)) {
            (Answer::Choice(id), Some(step)) => {
                let choice = choices(step).iter().find(|c| *c.id == *id);
                let echo = choice.and_then(|c| expression::render(&c.echo, &self.scope()).ok());
                match (echo, choice.and_then(|c| c.phrases.first())) {
                    (Some(echo), _) => echo,
                    (None, Some(phrase)) => phrase.value.clone(),
                    _ => words.to_owned(),
                }
            }
            (Answer::Reading(reading), Some(step)) => self.reading_words(reading, step),
            _ => words.to_owned(),
        }
    }

    pub(super) fn not_understood(&mut self, why: Miss, free: Option<String>, clip: Option<String>) {
        self.note_down(Record::NoAnswer { step: self.step_id(), why, free, clip });
        let lead = self.phase.row().miss;
        // Stays silent, so that a radio gets no reply during a break, and no tone either.
        if lead == OnMiss::Silent {
            self.talk.no_tone = true;
            return self.listen_when_quiet();
        }
        self.tone(Tone::NotUnderstood);
        self.talk.misses += 1;
        if matches!(self.phase, Phase::Asking | Phase::Telling { .. } | Phase::Correcting { .. }) {
            // The denied answer may have been right after all: allow it next time.
            self.talk.denied.clear();
        }
        match lead {
            OnMiss::Explains => {}
            OnMiss::AsksBack if self.talk.misses > 1 => {
                if let Phase::Confirming { told, .. } = &self.phase {
                    self.phase = Phase::asking(told.clone());
                }
                self.talk.last_said.clear();
            }
            _ => {
                self.sentence("not-understood-1", json!({}), SayKind::Notice);
                self.repeat_last();
                return self.listen_when_quiet();
            }
        }
        match self.talk.misses {
            1 => {
                self.sentence("not-understood-1", json!({}), SayKind::Notice);
                self.name_choices();
            }
            2 => {
                self.sentence("not-understood-2", json!({}), SayKind::Notice);
                self.explain();
                self.name_choices();
            }
            _ => {
                self.sentence("not-understood-3", json!({}), SayKind::Notice);
                self.repeat_last();
                self.name_choices();
            }
        }
        self.listen_when_quiet();
    }

    /// Repeats the last question.
    pub(super) fn repeat_last(&mut self) {
        let said = std::mem::take(&mut self.talk.last_said);
        for (text, kind) in said {
            self.say(text, kind);
        }
    }

    /// Says the step's explanation.
    pub(super) fn explain(&mut self) {
        let world = self.world.clone();
        let Some(step) = self.step(&world) else { return };
        match expression::render(&step.more, &self.scope()) {
            Ok(text) => self.say(text, SayKind::Notice),
            Err(d) => self.fault(&d.to_string()),
        }
    }

    /// Accepts an answer that needs no further confirmation.
    pub(super) fn take(&mut self, heard: Hypothesis, clip: Option<String>, confirmed: bool) {
        if let Answer::Command(command) = heard.answer
            && self.phase.row().controls.contains(&command)
        {
            return self.command(command);
        }
        if heard.answer == Answer::PowerOff && self.bike.guard.raised {
            return self.power_is_off("voice");
        }
        let phase = self.phase.clone();
        match (phase, heard.answer.clone()) {
            (Phase::Caution { now, rest }, Answer::Done) => self.caution_acknowledged(now, rest),
            (Phase::Restate, Answer::Done) => {
                self.confirm_state_change();
                self.ask();
            }
            (Phase::Undoing { made_in, text }, Answer::Done) => self.left_as_it_was(made_in, &text),
            (Phase::Confirming { heard, clip, told }, Answer::Yes) => {
                self.phase = Phase::asking(told);
                self.take(heard, clip, true);
            }
            (Phase::Confirming { heard, told, .. }, Answer::No) => {
                self.talk.denied.push(heard.answer);
                self.ask_as_before(told);
            }
            (Phase::Doubting { answer, words, confidence, clip, told }, Answer::Yes) => {
                let heard = Hypothesis { answer, words, probability: confidence };
                self.take_reading(heard, clip, Sure::OfTheValue, told);
            }
            (Phase::Doubting { told, .. }, Answer::No) => self.ask_as_before(told),
            (Phase::Offering, Answer::Yes) => self.repeat_doubtful(),
            (Phase::Offering, Answer::No) => {
                self.sentence("going-on", json!({}), SayKind::Notice);
                self.leave_doubt();
            }
            (Phase::StopConfirm { .. }, Answer::Yes) => {
                let why = if self.ending.awaits_parts { FOR_PARTS } else { "stopped by word" };
                self.stop_for_good(why);
            }
            (Phase::StopConfirm { .. }, Answer::No) => self.go_on_after_stop_question(),
            (Phase::SkipWhy, Answer::Note(text)) => self.skip_check(&text),
            (Phase::SkipWhy, Answer::Escape(escape)) => self.skip_check(escape.name()),
            (Phase::Noting, Answer::Note(text)) => self.keep_note(text, clip),
            (Phase::Asking, Answer::Sum(name)) => self.begin_sum(&name),
            (Phase::Reckoning { sum, given }, Answer::Reading(reading)) => self.take_input(sum, given, &reading),
            (Phase::Reckoning { sum, given }, Answer::Done) => self.take_usual_input(sum, given),
            (Phase::Correcting { .. }, Answer::Reading(_)) => {
                self.take_reading(heard, clip, Sure::of_words(confirmed), None);
            }
            (Phase::Telling { made_in }, _) => self.take_step_answer(heard, clip, confirmed, Some(made_in)),
            (Phase::Asking, _) => self.take_step_answer(heard, clip, confirmed, None),
            (Phase::Confirming { told, .. } | Phase::Doubting { told, .. }, _) => {
                self.phase = Phase::asking(told.clone());
                self.take_step_answer(heard, clip, confirmed, told);
            }
            _ => self.not_understood(Miss::NoMatch, None, clip),
        }
    }

    fn caution_acknowledged(&mut self, id: String, rest: Vec<String>) {
        let Some(how) = self.caution_heard() else { return self.caution_again(id, rest) };
        let world = self.world.clone();
        let procedure = self.procedure(&world);
        self.tone(Tone::Accepted);
        self.place.at.owed_cautions.retain(|owed| *owed != id);
        if let Some(caution) = procedure.caution(&id) {
            self.cautions.agreed.insert(caution.say.value.clone(), self.now.mono_ms);
            let printed = how == Printed::Only;
            if printed {
                self.cautions.printed.insert(caution.say.value.clone());
            }
            let record = Record::Acknowledged {
                step: self.step_id(),
                round: self.round(),
                caution: id,
                signal: caution.signal.name().to_owned(),
                said: self.cautions.words.clone(),
                printed,
            };
            self.note_down(record);
        }
        self.talk.last_said.clear();
        let restated = self.cautions.restates;
        self.cautions_then_ask(rest, restated);
    }

    fn take_step_answer(&mut self, heard: Hypothesis, clip: Option<String>, confirmed: bool, told: Told) {
        let world = self.world.clone();
        let Some(step) = self.step(&world) else { return };
        self.out.push(Effect::StopTimer { timer: TimerKind::Watch });
        match (&heard.answer, &step.ask) {
            (Answer::Choice(id), Ask::Choice(choices) | Ask::Watch { choices, .. }) => {
                let Some(at) = choices.iter().position(|c| *c.id == *id) else {
                    return self.not_understood(Miss::NoMatch, None, clip);
                };
                let echo = match self.worded(&choices[at].echo) {
                    Ok(echo) => echo,
                    Err(d) => return self.fault(&d.to_string()),
                };
                let means = choices[at].means;
                self.write_answer(
                    &heard,
                    &echo,
                    means,
                    confirmed,
                    clip,
                    After::Chosen { choice: at, echo: echo.clone(), told },
                );
            }
            (Answer::Reading(_), Ask::Reading(_)) => self.take_reading(heard, clip, Sure::of_words(confirmed), told),
            // "Not sure": then it is made now.
            (Answer::Escape(_), _) if told.is_some() => self.ask_again(),
            (Answer::Note(text), Ask::Note(_)) => {
                let then = match world.vocabulary.is_said_in(Escape::Sometimes, text) {
                    true => After::Escaped { escape: Escape::Sometimes },
                    false => After::Done,
                };
                self.write_answer(&heard, "", Meaning::Neither, confirmed, clip, then)
            }
            (Answer::Done, Ask::Done(_)) => {
                self.write_answer(&heard, "", Meaning::Neither, confirmed, clip, After::Done)
            }
            (Answer::Escape(escape), _) => self.take_escape(*escape, clip),
            _ => self.not_understood(Miss::NoMatch, None, clip),
        }
    }

    fn write_answer(
        &mut self,
        heard: &Hypothesis,
        echo: &str,
        means: Meaning,
        confirmed: bool,
        clip: Option<String>,
        then: After,
    ) {
        let record = Record::Answered {
            step: self.step_id(),
            round: self.round(),
            answer: heard.answer.clone(),
            words: heard.words.clone(),
            echo: echo.to_owned(),
            means: means.name().to_owned(),
            confidence: heard.probability,
            confirmed,
            clip,
            told: then.is_told(),
        };
        self.advice.was_confirmed = confirmed;
        self.write(record, then);
    }

    /// Called once a choice is on disk: says it back and goes where it leads.
    pub(super) fn chosen(&mut self, at: usize, echo: &str, told: Told) {
        let world = self.world.clone();
        let Some(step) = self.step(&world) else { return };
        let choice = &choices(step)[at];
        self.remember();
        self.observe();
        self.answered(step, told.as_deref(), echo);
        self.see(&step.id.value.replace('-', "_"), Value::String(choice.id.value.clone()));
        self.tone(Tone::Accepted);
        self.say_as_told(told.is_some());
        self.sentence("echo", json!({"answer": echo}), SayKind::Echo);
        self.lead_on(&choice.id.value, choice.doubt.as_ref(), &choice.go, choice.means);
    }

    /// Saves the position for "go back".
    pub(super) fn remember(&mut self) {
        self.talk.told_of_strangers = false;
        self.bike.before = None;
        if !self.mute {
            self.place.history.push(self.place.at.clone());
        }
    }

    /// Stores an observation under `name`, and in a loop also under `name_round`.
    pub(super) fn see(&mut self, name: &str, value: Value) {
        if let Some(round) = self.round() {
            self.place.at.seen.see(&format!("{name}_{round}"), value.clone());
        }
        self.place.at.seen.see(name, value);
    }

    /// Follows an answer: to its doubt target the first time, then to its route.
    pub(super) fn lead_on(&mut self, answer: &str, doubt: Option<&Target>, go: &procedure::Route, means: Meaning) {
        if let Some(saved) = self.place.detour.take()
            && means != Meaning::Bad
        {
            self.place.at.frames = saved.frames;
            let step = self.step_id();
            return self.enter(&step, How::Restated);
        }
        if self.ends_repeat(answer) {
            return;
        }
        if let Some(doubt) = doubt.filter(|_| !self.is_free()) {
            let key = format!("{}/{}/{:?}/{answer}", self.frame().procedure, self.frame().step, self.round());
            if self.place.doubted.insert(key) {
                let frames: Vec<Frame> = self.place.at.frames.clone();
                self.place.at.doubting.push(frames);
                return self.go(doubt);
            }
        }
        // In best order a check that does not fit is made up for by other checks.
        if !self.is_free() && self.offers_repeat(answer, go, means) {
            return;
        }
        self.follow(go);
    }
}

/// The choices of a step. Empty if it asks for something else.
pub(super) fn choices(step: &Step) -> &[Choice] {
    match &step.ask {
        Ask::Choice(choices) | Ask::Watch { choices, .. } => choices,
        _ => &[],
    }
}
