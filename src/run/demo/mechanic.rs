//! The simulated mechanic of `probeside demo`: knows what every step of the story shows, says it, and corrects what was misunderstood.

use super::super::mechanic_view::MechanicView;
use super::faulty::FaultyBike;
use super::story::Story;
use crate::hear::{self, ScriptAnswer};
use crate::phrase::{self, Answer, Command, Grammar, Vocabulary};
use crate::speak::{Espeak, Voice};
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::rc::Rc;

/// Speeds of speech in turn: nobody says everything equally fast.
const SPEEDS: [f32; 3] = [1.0, 0.9, 0.95];
/// The mechanic gives up after this many consecutive utterances that were not accepted.
const MOST_REPEATS: usize = 16;
/// More utterances than this mean that the walk loops.
const MOST_SAID: usize = 600;

/// The simulated mechanic.
pub struct Mechanic {
    story: Story,
    /// The bike, if the story says what is wrong with it.
    bike: Option<FaultyBike>,
    voice: Espeak,
    vocabulary: Vocabulary,
    view: Rc<RefCell<MechanicView>>,
    show: bool,
    /// How often each place was answered.
    said: BTreeMap<String, usize>,
    /// How often each answer with several wordings was given, by its first wording.
    replied: BTreeMap<String, usize>,
    /// Number of utterances so far.
    spoken: usize,
    /// Number of utterances since the last one that was accepted.
    rejected: usize,
    /// The last answer's words, and all answers that they can mean.
    last: (String, Vec<Answer>),
    /// Number of answers that had been accepted at the last look.
    seen: Option<usize>,
    /// The command that corrects a misunderstanding, given as soon as it is allowed.
    objection: Option<Command>,
}

impl Mechanic {
    /// A mechanic who tells `story` and sees the question in `view`. `show`: print the words.
    pub fn new(
        story: Story,
        bike: Option<FaultyBike>,
        voice: Espeak,
        vocabulary: Vocabulary,
        view: Rc<RefCell<MechanicView>>,
        show: bool,
    ) -> Self {
        Self {
            story,
            bike,
            voice,
            vocabulary,
            view,
            show,
            said: BTreeMap::new(),
            replied: BTreeMap::new(),
            spoken: 0,
            rejected: 0,
            last: (String::new(), Vec::new()),
            seen: None,
            objection: None,
        }
    }

    /// The next utterance. Ends when there is nothing left to say.
    pub fn speak(&mut self) -> ScriptAnswer {
        let view = self.view.borrow().clone();
        self.notice(&view);
        let Some(words) = self.words(&view).filter(|_| self.rejected < MOST_REPEATS && self.spoken < MOST_SAID) else {
            return ScriptAnswer::End;
        };
        if self.show {
            crate::terminal::outln!("        mechanic: \"{words}\"");
        }
        self.spoken += 1;
        self.rejected += 1;
        let speed = SPEEDS[self.spoken % SPEEDS.len()];
        match self.voice.synthesise(&words, speed) {
            Ok(pcm) => ScriptAnswer::Sound(hear::resample::resample(&pcm.samples, pcm.rate, hear::RATE)),
            Err(why) => {
                crate::terminal::errln!("{why}");
                ScriptAnswer::End
            }
        }
    }

    /// Compares the accepted answer with the intended one.
    fn notice(&mut self, view: &MechanicView) {
        let Some((count, accepted)) = &view.accepted else { return };
        if self.seen.replace(*count) == Some(*count) {
            return;
        }
        self.rejected = 0;
        if !self.means(accepted) {
            self.objection = match accepted {
                Answer::Reading(_) => Some(Command::Correct),
                Answer::Command(Command::Pause) => Some(Command::Resume),
                Answer::Choice(_) | Answer::Escape(_) | Answer::Done => Some(Command::Back),
                _ => None,
            };
        }
    }

    /// Whether this is what the last utterance meant.
    fn means(&self, answer: &Answer) -> bool {
        self.last.1.iter().any(|meant| meant.is_same(answer))
    }

    fn words(&mut self, view: &MechanicView) -> Option<String> {
        let grammar = &view.grammar;
        let has = |wanted: &Answer| grammar.phrases.iter().any(|p| p.answer == *wanted);
        if has(&Answer::Yes) {
            let agrees = view.questioned.as_ref().is_none_or(|asked| self.means(asked));
            return self.in_turn(if agrees { Answer::Yes } else { Answer::No }, grammar);
        }
        if let Some(command) = self.objection
            && has(&Answer::Command(command))
        {
            self.objection = None;
            // Afterwards the reading to be corrected is said again.
            self.last.1.push(Answer::Command(command));
            return self.in_turn(Answer::Command(command), grammar);
        }
        if !view.asking && grammar.number.is_some() {
            return Some(self.number_again(grammar).unwrap_or_else(|| self.last.0.clone()));
        }
        let words = if view.asking { self.own(view) } else { None };
        let words = words.or_else(|| self.in_turn(Answer::Done, grammar));
        let words = words.or_else(|| self.in_turn(Answer::PowerOff, grammar))?;
        let all = phrase::understand(&words, grammar, &self.vocabulary).best;
        self.last = (words.clone(), all.into_iter().map(|heard| heard.answer).collect());
        Some(words)
    }

    /// The story's answer at the current step: each in turn, then other wordings of the last. Where it has none, what the bike shows.
    fn own(&mut self, view: &MechanicView) -> Option<String> {
        let place = view.round.as_ref().map(|r| format!("{} {r}", view.step));
        let key = place.filter(|p| self.story.answers.contains_key(p)).unwrap_or(view.step.clone());
        let Some(all) = self.story.answers.get(&key) else { return self.shown(view) };
        let turn = self.said.entry(key).or_default();
        *turn += 1;
        match all.get(*turn - 1) {
            Some(words) => Some(words.clone()),
            None => {
                let again = (*turn - all.len(), all.last()?.clone());
                let number = if again.0 % 2 == 1 { self.number_again(&view.grammar) } else { None };
                number.or_else(|| other_wording(&again.1, again.0, &view.grammar))
            }
        }
    }

    /// What the bike shows at the current question.
    fn shown(&mut self, view: &MechanicView) -> Option<String> {
        let answer = match self.bike.as_mut()?.answer(view.asked.as_deref()?) {
            Ok(answer) => answer,
            Err(why) => {
                crate::terminal::errln!("{why}");
                return None;
            }
        };
        match &answer {
            Answer::Note(_) => Some(self.story.complaint.clone()),
            Answer::Reading(_) => Some(self.vocabulary.answer_words(&answer, view.grammar.number.as_ref()?.resolution)),
            _ => self.in_turn(answer, &view.grammar),
        }
    }

    /// The last number, in the program's own words.
    fn number_again(&self, grammar: &Grammar) -> Option<String> {
        let resolution = grammar.number.as_ref()?.resolution;
        let reading = self.last.1.iter().find(|meant| matches!(meant, Answer::Reading(_)))?;
        Some(self.vocabulary.answer_words(reading, resolution))
    }

    /// One of the wordings of an answer, a different one each time, so that a badly recognised wording does not block the walk.
    fn in_turn(&mut self, answer: Answer, grammar: &Grammar) -> Option<String> {
        let all: Vec<&str> = wordings(grammar, &answer).collect();
        let turn = self.replied.entry(self.vocabulary.answer_words(&answer, 1.0)).or_default();
        *turn += 1;
        all.get((*turn - 1) % all.len().max(1)).map(|words| (*words).to_owned())
    }
}

/// All wordings of an answer.
fn wordings<'a>(grammar: &'a Grammar, answer: &'a Answer) -> impl Iterator<Item = &'a str> {
    grammar.phrases.iter().filter(move |p| p.answer == *answer).map(|p| p.words.as_str())
}

/// What to say after not being understood: another wording of the same answer, or the same again.
fn other_wording(words: &str, turn: usize, grammar: &Grammar) -> Option<String> {
    let meant = grammar.phrases.iter().find(|p| p.words == words).map(|p| &p.answer);
    let others: Vec<&str> =
        meant.map_or_else(Vec::new, |meant| wordings(grammar, meant).filter(|other| *other != words).collect());
    let other = others.get((turn - 1) % others.len().max(1)).copied();
    Some(other.unwrap_or(words).to_owned())
}
