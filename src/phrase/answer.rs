//! What an utterance can mean at a step, and how surely it was heard.

use crate::units::{Unit, names};
use serde::{Deserialize, Serialize};

/// The meaning of one utterance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Answer {
    /// One of the step's choices, by its id.
    Choice(String),
    /// A number read off an instrument.
    Reading(Reading),
    /// The step or the caution was acknowledged.
    Done,
    /// The power is off: what can heat a coil is switched off.
    PowerOff,
    /// Agreement with a pending question.
    Yes,
    /// Disagreement with a pending question.
    No,
    /// A spoken control.
    Command(Command),
    /// An answer that is neither good nor bad.
    Escape(Escape),
    /// Free speech; the sound is kept, the text is best effort.
    Note(String),
    /// One of the trade's sums is asked for, by its name.
    Sum(String),
}

/// Values closer than this are the same reading.
const SAME: f64 = 1e-9;

impl Answer {
    /// Whether both mean the same, whatever unit was said with a reading.
    pub fn is_same(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Reading(a), Self::Reading(b)) => {
                a.kind == b.kind && a.unit == b.unit && (a.value - b.value).abs() < SAME
            }
            _ => self == other,
        }
    }
}

/// How a reading was given.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ReadingKind {
    /// A plain number.
    Plain,
    /// "About twelve".
    About,
    /// The meter shows over range ("O L", "open line").
    OverRange,
    /// The meter shows nothing.
    NoReading,
}

/// A number as it was said, already in the unit that was asked for where the two agree in quantity.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// How it was given.
    pub kind: ReadingKind,
    /// The number in `unit`; zero for `OverRange` and `NoReading`.
    pub value: f64,
    /// The unit of `value`.
    pub unit: Unit,
    /// The unit that was said, when one was said. It differs in quantity from what was asked when the answer is doubtful.
    pub said_unit: Option<Unit>,
}

names! {
    /// A spoken control, allowed at any step.
    Command {
        /// Say the prompt again.
        Repeat = "repeat",
        /// Say the longer explanation.
        Help = "help",
        /// Back to the check before.
        Back = "back",
        /// Leave this check out; asks why.
        Skip = "skip",
        /// Wait until told to go on.
        Pause = "pause",
        /// Go on after a pause.
        Resume = "resume",
        /// Amend the last reading.
        Correct = "correct",
        /// Say the last reading.
        LastReading = "last-reading",
        /// Say where in the procedure we are.
        Where = "where",
        /// Say what is left of everything that could be wrong.
        Suspects = "suspects",
        /// Take a free note.
        Note = "note",
        /// Less words from now on.
        Shorter = "shorter",
        /// More words from now on.
        Longer = "longer",
        /// Speak louder.
        Louder = "louder",
        /// Speak more quietly.
        Quieter = "quieter",
        /// Silence at once; ending is confirmed.
        Stop = "stop",
    }
}

names! {
    /// An answer that any step takes and that counts neither as good nor as bad.
    Escape {
        /// The lamp flickers.
        Flickers = "flickers",
        /// It does so only sometimes.
        Sometimes = "sometimes",
        /// The person is not sure.
        NotSure = "not-sure",
        /// The place cannot be reached.
        CannotReach = "cannot-reach",
        /// The tool or the part is not at hand.
        HaveNot = "have-not",
        /// The wire colours are not those of the profile.
        ColoursDiffer = "colours-differ",
        /// Something on the bike was changed meanwhile.
        Changed = "changed",
    }
}

/// One thing that may have been said.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Hypothesis {
    /// What it means.
    pub answer: Answer,
    /// The words of its best spelling.
    pub words: String,
    /// Calibrated probability that this is what was meant, 0 to 1.
    pub probability: f64,
}

/// What a recogniser made of one utterance: rivals, best first, and the chance that it was none of them.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Hypotheses {
    /// Distinct answers, best first.
    pub best: Vec<Hypothesis>,
    /// Probability that nothing of the grammar was said.
    pub stranger: f64,
    /// Free transcript, best effort, where the engine gives one.
    pub free: Option<String>,
    /// The best hypothesis is the beginning of another allowed phrase, or a number that may go on.
    pub may_go_on: bool,
}

/// What is left when the person denies the likeliest answer is at most this likely.
const ASKED_AT_MOST: f64 = 0.75;

impl Hypotheses {
    /// The same without what the person has just said not to have said. What the denied answers held goes to the others, up to
    /// 0.75: worth asking about, never enough to be taken.
    ///
    /// ```
    /// use probeside::phrase::{Answer, Hypotheses, Hypothesis};
    /// let said = |id: &str, probability| Hypothesis { answer: Answer::Choice(id.into()), words: id.into(), probability };
    /// let heard = Hypotheses { best: vec![said("four", 0.8), said("oh", 0.12)], ..Hypotheses::default() };
    /// let again = heard.without(&[Answer::Choice("four".into())]);
    /// assert_eq!(again.best.len(), 1);
    /// assert!((again.best[0].probability - 0.6).abs() < 1e-9);
    /// assert_eq!(heard.without(&[]), heard);
    /// ```
    pub fn without(&self, denied: &[Answer]) -> Self {
        let is_denied = |h: &&Hypothesis| denied.iter().any(|d| d.is_same(&h.answer));
        let lost: f64 = self.best.iter().filter(is_denied).map(|h| h.probability).sum();
        let left = self.best.iter().filter(|h| !is_denied(h));
        let share = |p: f64| (p / (1.0 - lost).max(p)).min(ASKED_AT_MOST).max(p);
        let best = left.map(|h| Hypothesis { probability: share(h.probability), ..h.clone() });
        Hypotheses { best: best.collect(), ..self.clone() }
    }
}

/// What hangs on an answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Stakes {
    /// "Go back" undoes it.
    Low,
    /// It leads to a conclusion or past a hazard.
    High,
}

/// What is done with an utterance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "verdict")]
pub enum Verdict {
    /// Taken.
    Accept {
        /// What was understood.
        heard: Hypothesis,
    },
    /// Asked back before it is taken; with two rivals, "this or that?".
    Confirm {
        /// The likeliest.
        heard: Hypothesis,
        /// A close second, if there is one.
        rival: Option<Hypothesis>,
    },
    /// Not an answer, or not clear enough to ask about.
    Reject {
        /// Free transcript, where there is one.
        free: Option<String>,
        /// Surely somebody or something else: talk, a radio, a noise.
        #[serde(default)]
        stranger: bool,
    },
}
