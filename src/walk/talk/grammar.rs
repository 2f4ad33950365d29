//! What the user may say in each phase, and which answers are high-stakes.

use crate::expression;
use crate::expression::Scope;
use crate::phrase::{Answer, Command, Escape, Grammar, NumberSlot, Phrase, normalise};
use crate::procedure::{Ask, Procedure, ReadingAsk, Route, SignalWord, Step, Target};
use crate::walk::answer::choices;
use crate::walk::event::{Effect, TimerKind, Tone};
use crate::walk::phase::Phase;
use crate::walk::table::{Hears, OnSilence};
use crate::walk::walker::Walker;
use crate::walk::world::World;

/// Working time where no step sets one: cautions and confirmations.
const OTHER_WORKING_TIME_S: f64 = 20.0;

impl Walker {
    /// Listens once everything has been said, or over the prompts if barge-in is allowed.
    pub(in crate::walk) fn listen_when_quiet(&mut self) {
        self.talk.listen_after = true;
        if self.talk.speaking.is_empty() { self.listen() } else { self.listen_over() }
    }

    pub(in crate::walk) fn prompt_ended(&mut self, id: u64, whole: bool) {
        self.hear_out(id, whole);
        if !self.talk.speaking.is_empty() {
            return self.less_to_be_heard();
        }
        if let Phase::Closing { code, why } = &self.phase {
            let (code, why) = (*code, why.clone());
            self.last_words_said(code, why);
        } else if self.talk.listen_after && !self.goes_on_listening() {
            self.listen();
        }
    }

    /// The grammar of the listen that begins once everything has been said, if one does.
    pub fn will_listen(&self) -> Option<Grammar> {
        let soon = self.talk.listen_after && !self.talk.speaking.is_empty();
        soon.then(|| self.grammar().ok()).flatten().map(|(grammar, _)| grammar)
    }

    /// Stops listening.
    pub(in crate::walk) fn deaf(&mut self) {
        self.talk.listen_after = false;
        self.talk.over = None;
        self.out.push(Effect::StopTimer { timer: TimerKind::Silence });
        // Drops the current utterance too.
        self.talk.speech_since = None;
        if self.talk.listening.take().is_some() {
            self.out.push(Effect::Deaf);
        }
    }

    fn listen(&mut self) {
        if self.talk.over.is_some() {
            self.deaf();
        }
        self.talk.listen_after = false;
        if self.talk.microphone_gone {
            self.talk.listen_after = true;
            return;
        }
        let (grammar, high) = match self.grammar() {
            _ if self.mute => Default::default(),
            Ok(both) => both,
            Err(why) => return self.fault(&why),
        };
        let id = self.id();
        self.talk.listening = Some(id);
        if !std::mem::take(&mut self.talk.no_tone) {
            self.tone(Tone::Listening);
        }
        self.out.push(Effect::Listen { id, grammar, high, bargein: false });
        self.start_silence();
    }

    /// Starts the silence timer if the phase reacts to silence.
    pub(in crate::walk) fn start_silence(&mut self) {
        let world = self.world.clone();
        let seconds = match self.phase.row().silence {
            OnSilence::Patient => return,
            OnSilence::StepTime => self.step(&world).map_or(OTHER_WORKING_TIME_S, |s| s.time),
            OnSilence::OtherTime => OTHER_WORKING_TIME_S,
        };
        self.out.push(Effect::StartTimer { timer: TimerKind::Silence, ms: (seconds * 1000.0) as u64 });
    }

    /// The current grammar, and its high-stakes answers.
    pub(in crate::walk) fn grammar(&self) -> Result<(Grammar, Vec<Answer>), String> {
        let world = self.world.clone();
        let words = &world.vocabulary;
        let row = self.phase.row();
        let mut grammar = Grammar { denied: self.talk.denied.clone(), ..Grammar::default() };
        let mut high = Vec::new();
        for heard in row.hears {
            match heard {
                Hears::Answers if self.readings.correcting.is_some() => {}
                Hears::AnswersToOwnPause if !self.talk.answer_ends_pause => {}
                Hears::Answers | Hears::AnswersToOwnPause => {
                    if let Some(step) = self.step(&world) {
                        step_phrases(&world, self.procedure(&world), step, &self.scope(), &mut grammar, &mut high)?;
                    }
                }
                Hears::Controls => {
                    let mut all = words.command_phrases();
                    all.retain(|p| matches!(p.answer, Answer::Command(c) if row.controls.contains(&c)));
                    grammar.phrases.extend(all);
                }
                Hears::Escapes => {
                    grammar.phrases.extend(words.escape_phrases());
                    high.extend(final_escapes(self.procedure(&world)));
                }
                Hears::Reasons => grammar.phrases.extend(words.escape_phrases()),
                Hears::Sums => grammar.phrases.extend(words.sum_phrases()),
                Hears::YesNo => {
                    // "No" to "did you say no smell?" is no answer of the step.
                    let yes_no = words.yes_no_phrases();
                    grammar.phrases.retain(|phrase| yes_no.iter().all(|other| other.words != phrase.words));
                    grammar.phrases.extend(yes_no);
                }
                Hears::Ready => grammar.phrases.extend(words.done_phrases()),
                Hears::Note => grammar.note = true,
                Hears::Amended => grammar.number = self.slot_of_amended()?,
                Hears::Input => self.hear_input(&mut grammar),
            }
        }
        match &self.phase {
            Phase::Confirming { heard, .. } if high.contains(&heard.answer) => high.push(Answer::Yes),
            Phase::Caution { now, .. } if is_hazard(self.procedure(&world), now) => high.push(Answer::Done),
            _ => {}
        }
        if self.bike.guard.raised {
            grammar.phrases.extend(words.power_off_phrases());
            high.push(Answer::PowerOff);
        }
        Ok((grammar, high))
    }

    /// The number slot of the reading that is amended.
    fn slot_of_amended(&self) -> Result<Option<NumberSlot>, String> {
        let Phase::Correcting { index } = &self.phase else { return Ok(None) };
        let taken = &self.readings.all[*index];
        let frame = taken.frames.last().expect("the stack of calls is never empty");
        match self.world.procedures[&frame.procedure].step(&taken.step).map(|s| &s.ask) {
            Some(Ask::Reading(ask)) => slot(ask, &self.scope()).map(Some),
            _ => Ok(None),
        }
    }

    /// A sum's next input. "Ready" takes the default.
    fn hear_input(&self, grammar: &mut Grammar) {
        if let Phase::Reckoning { sum, given } = &self.phase
            && let Some(input) = sum.inputs.get(given.len())
        {
            grammar.number = Some(crate::walk::reckon::slot(input));
            if input.usual.is_some() {
                grammar.phrases = self.world.vocabulary.done_phrases();
            }
        }
    }

    /// Lists the choices for a user who was not understood three times.
    pub(in crate::walk) fn name_choices(&mut self) {
        let world = self.world.clone();
        let Some(step) = self.step(&world) else { return };
        let scope = self.scope();
        let phrases = match &step.ask {
            Ask::Reading(ask) => {
                vec![self.words("say-a-number", serde_json::json!({"unit": world.vocabulary.unit_words(ask.unit)}))]
            }
            Ask::Done(_) => world.vocabulary.done_phrases().into_iter().take(1).map(|p| p.words).collect(),
            Ask::Note(_) => vec![self.words("say-anything", serde_json::json!({}))],
            Ask::Choice(_) | Ask::Watch { .. } => {
                choices(step).iter().filter_map(|c| expression::render(c.phrases.first()?, &scope).ok()).collect()
            }
        };
        self.sentence("choices", serde_json::json!({"choices": phrases}), crate::walk::event::SayKind::Notice);
    }
}

/// What the user may say while the question of `step` is open (its answers, the spoken controls and the escapes), and the high-stakes
/// answers. Lets tools inspect a procedure without walking it.
///
/// # Errors
/// A phrase or a limit that cannot be evaluated for this bike.
pub fn asked(
    world: &World,
    procedure: &Procedure,
    step: &Step,
    scope: &Scope,
) -> Result<(Grammar, Vec<Answer>), String> {
    let (mut grammar, mut high) = (Grammar::default(), Vec::new());
    step_phrases(world, procedure, step, scope, &mut grammar, &mut high)?;
    let mut commands = world.vocabulary.command_phrases();
    commands.retain(|p| p.answer != Answer::Command(Command::Resume));
    grammar.phrases.extend(commands);
    grammar.phrases.extend(world.vocabulary.escape_phrases());
    high.extend(final_escapes(procedure));
    Ok((grammar, high))
}

/// Escapes that can end in a conclusion.
fn final_escapes(procedure: &Procedure) -> impl Iterator<Item = Answer> {
    let ends = |e: &&Escape| procedure.escapes.get(e.name()).is_some_and(concludes);
    Escape::ALL.iter().filter(ends).map(|e| Answer::Escape(*e))
}

fn step_phrases(
    world: &World,
    procedure: &Procedure,
    step: &Step,
    scope: &Scope,
    grammar: &mut Grammar,
    high: &mut Vec<Answer>,
) -> Result<(), String> {
    let hazardous = step.cautions.iter().any(|id| is_hazard(procedure, id));
    for choice in choices(step) {
        let answer = Answer::Choice(choice.id.value.clone());
        for phrase in choice.phrases.iter().chain(&choice.ask_back) {
            let words = normalise(&expression::render(phrase, scope).map_err(|d| d.to_string())?);
            grammar.phrases.push(Phrase { words, answer: answer.clone() });
        }
        if hazardous || concludes(&choice.go) {
            high.push(answer);
        }
    }
    match &step.ask {
        Ask::Reading(ask) => grammar.number = Some(slot(ask, scope)?),
        Ask::Done(go) => {
            grammar.phrases.extend(world.vocabulary.done_phrases());
            if hazardous || concludes(go) {
                high.push(Answer::Done);
            }
        }
        Ask::Note(_) => grammar.note = true,
        Ask::Choice(_) | Ask::Watch { .. } => {}
    }
    Ok(())
}

/// Whether a caution has the signal word for danger or warning.
fn is_hazard(procedure: &Procedure, caution: &str) -> bool {
    let caution = procedure.caution(caution);
    caution.is_some_and(|c| matches!(c.signal, SignalWord::Danger | SignalWord::Warning))
}

/// Whether a route can end in a conclusion.
fn concludes(go: &Route) -> bool {
    go.0.iter().any(|c| matches!(c.to, Target::Conclude(_)))
}

fn slot(ask: &ReadingAsk, scope: &Scope) -> Result<NumberSlot, String> {
    let low = expression::evaluate_number(&ask.low, scope).map_err(|d| d.to_string())?;
    let high = expression::evaluate_number(&ask.high, scope).map_err(|d| d.to_string())?;
    // The range includes implausible values, so that they can be questioned.
    let wide = (high - low).abs() * 0.25;
    let low = if low >= 0.0 { (low - wide).max(0.0) } else { low - wide };
    let high = high + wide;
    Ok(NumberSlot { quantity: ask.quantity, unit: ask.unit, low, high, resolution: ask.resolution })
}
