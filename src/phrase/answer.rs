//! The meaning of an utterance, and how certain the recogniser is of it.

use crate::units::{Unit, names};
use serde::{Deserialize, Serialize};

/// What one utterance means.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Answer {
    /// One of the step's choices, by its id.
    Choice(String),
    /// A number read off an instrument.
    Reading(Reading),
    /// The user acknowledged the step or the caution.
    Done,
    /// The user confirmed that the power is off: everything that can heat a coil is switched off.
    PowerOff,
    /// The user agreed with a pending question.
    Yes,
    /// The user disagreed with a pending question.
    No,
    /// A spoken control.
    Command(Command),
    /// An answer that counts neither as good nor as bad.
    Escape(Escape),
    /// Free speech. The sound is kept; the text is best effort.
    Note(String),
    /// A request for one of the workshop sums, by its name.
    Sum(String),
}

/// Readings closer than this are equal.
const SAME: f64 = 1e-9;

impl Answer {
    /// Whether both answers mean the same, whatever unit a reading was given in.
    pub fn is_same(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Reading(a), Self::Reading(b)) => {
                a.kind == b.kind && a.unit == b.unit && (a.value - b.value).abs() < SAME
            }
            _ => self == other,
        }
    }
}

/// How the user gave a reading.
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

/// A spoken number, converted to the unit asked for if both units measure the same quantity.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// How the user gave it.
    pub kind: ReadingKind,
    /// The number in `unit`. Zero for `OverRange` and `NoReading`.
    pub value: f64,
    /// The unit of `value`.
    pub unit: Unit,
    /// The unit the user named, if any. If it measures another quantity than the one asked for, the answer is doubtful.
    pub said_unit: Option<Unit>,
}

names! {
    /// A spoken control, allowed at any step.
    Command {
        /// Say the prompt again.
        Repeat = "repeat",
        /// Say the longer explanation.
        Help = "help",
        /// Go back to the previous check.
        Back = "back",
        /// The check was made before; asks what it showed.
        Already = "already",
        /// Skip this check; asks why.
        Skip = "skip",
        /// Wait until the user says to go on.
        Pause = "pause",
        /// Go on after a pause.
        Resume = "resume",
        /// Amend the last reading.
        Correct = "correct",
        /// Say the last reading.
        LastReading = "last-reading",
        /// Say which step of the procedure this is.
        Where = "where",
        /// Say which suspects remain.
        Suspects = "suspects",
        /// Say why this check comes now.
        WhyThis = "why-this",
        /// Say which checks would come after it.
        WhatFollows = "what-follows",
        /// Take a free-form note.
        Note = "note",
        /// Use fewer words from now on.
        Shorter = "shorter",
        /// Use more words from now on.
        Longer = "longer",
        /// Speak louder.
        Louder = "louder",
        /// Speak more quietly.
        Quieter = "quieter",
        /// End for now, because parts have to come first; confirmed.
        AwaitParts = "await-parts",
        /// Be silent at once; ending the session is confirmed.
        Stop = "stop",
    }
}

names! {
    /// An answer that every step accepts and that counts neither as good nor as bad.
    Escape {
        /// The lamp flickers.
        Flickers = "flickers",
        /// The symptom comes and goes.
        Sometimes = "sometimes",
        /// The user is not sure.
        NotSure = "not-sure",
        /// The place cannot be reached.
        CannotReach = "cannot-reach",
        /// The tool or part is not at hand.
        HaveNot = "have-not",
        /// The wire colours differ from the profile.
        ColoursDiffer = "colours-differ",
        /// Something on the bike changed in the meantime.
        Changed = "changed",
    }
}

/// One possible meaning of an utterance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Hypothesis {
    /// What it means.
    pub answer: Answer,
    /// The words of the best-fitting spelling.
    pub words: String,
    /// Calibrated probability, 0 to 1, that the user meant this.
    pub probability: f64,
}

/// What the recogniser made of one utterance: rival answers, best first, and the probability that it was none of them.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Hypotheses {
    /// Distinct answers, best first.
    pub best: Vec<Hypothesis>,
    /// Probability that the user said nothing from the grammar.
    pub stranger: f64,
    /// Best-effort free transcript, if the engine gives one.
    pub free: Option<String>,
    /// The best hypothesis is the start of another allowed phrase, or a number that may continue.
    pub may_go_on: bool,
}

/// Upper limit for the rivals' probability after the user denies the likeliest answer.
const ASKED_AT_MOST: f64 = 0.75;

impl Hypotheses {
    /// These hypotheses without the answers the user has just denied. The rivals share the denied probability, up to 0.75: enough to ask
    /// about, never enough to accept.
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

/// What a wrong answer would cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Stakes {
    /// "Go back" undoes it.
    Low,
    /// It leads to a conclusion or past a hazard.
    High,
}

/// The decision about an utterance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "verdict")]
pub enum Verdict {
    /// Take the answer.
    Accept {
        /// The answer as heard.
        heard: Hypothesis,
    },
    /// Ask before taking the answer. With two rivals the question is "this or that?".
    Confirm {
        /// The likeliest answer.
        heard: Hypothesis,
        /// A close second, if any.
        rival: Option<Hypothesis>,
    },
    /// Not an answer, or too unclear to ask about.
    Reject {
        /// Free transcript, if any.
        free: Option<String>,
        /// Almost certainly not the user: other people's talk, a radio, a noise.
        #[serde(default)]
        stranger: bool,
    },
}
