//! What an utterance can mean at a step, and how surely it was heard.

use crate::trade::{Unit, names};
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
