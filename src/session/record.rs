//! The records of a walk. The walker emits them, the journal stores them, the review reads them.

use crate::advice::{Chosen, Weighed};
use crate::phrase::{Answer, Command, Escape, Reading};
use crate::units::{Quantity, Unit, names};
use serde::{Deserialize, Serialize};

/// A point in time: session time, which continues across a resume, and wall time with offset.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Now {
    /// Milliseconds of session time since the session started. Real, or counted in a typed walk or one heard from a file; the last entry of
    /// kind [`super::Kind::Time`] says which.
    pub mono_ms: u64,
    /// The machine's clock, RFC 3339 with offset: `2026-11-25T10:14:03.120+01:00`.
    pub wall: String,
}

names! {
    /// Why an utterance was rejected, in the terms of W3C VoiceXML 2.0, 5.2.6.
    Miss {
        /// The utterance matches nothing that may be said here, or its confidence is too low.
        NoMatch = "nomatch",
        /// Nobody spoke.
        NoInput = "noinput",
        /// Somebody other than the mechanic spoke. Older journals of format 1 used this name for everything that was not understood.
        Stranger = "stranger",
    }
}

impl Miss {
    /// In words, for a reader.
    pub fn words(self) -> &'static str {
        match self {
            Self::NoMatch => "not understood",
            Self::NoInput => "nobody spoke",
            Self::Stranger => "somebody else spoke",
        }
    }

    /// The miss with this name in a journal. Old names are accepted.
    fn in_journal(name: &str) -> Option<Self> {
        match name {
            "unsure" | "over-prompt" => Some(Self::NoMatch),
            "silence" => Some(Self::NoInput),
            name => Self::named(name),
        }
    }
}

fn miss<'de, D: serde::Deserializer<'de>>(from: D) -> Result<Miss, D::Error> {
    let name = String::deserialize(from)?;
    Miss::in_journal(&name).ok_or_else(|| serde::de::Error::unknown_variant(&name, &["nomatch", "noinput", "stranger"]))
}

/// One record. It names its step and, inside a loop, the round (`left`).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "record")]
pub enum Record {
    /// A step was entered and its prompt spoken.
    Entered {
        /// Procedure id.
        procedure: String,
        /// Step id.
        step: String,
        /// Loop item id.
        round: Option<String>,
        /// The full prompt.
        asked: String,
    },
    /// A caution was spoken and acknowledged.
    Acknowledged {
        /// Step.
        step: String,
        /// Loop item.
        round: Option<String>,
        /// Caution id.
        caution: String,
        /// Signal word.
        signal: String,
        /// The spoken text.
        said: String,
        /// It was printed instead of spoken, because the loudspeaker was lost.
        #[serde(default, skip_serializing_if = "is_false")]
        printed: bool,
    },
    /// An answer that is a choice, an acknowledgement of a step or a note.
    Answered {
        /// Step.
        step: String,
        /// Loop item.
        round: Option<String>,
        /// The answer.
        answer: Answer,
        /// The words heard or typed.
        words: String,
        /// The spoken confirmation of the answer.
        echo: String,
        /// `good`, `bad`, `neither`.
        means: String,
        /// Probability of the hypothesis.
        confidence: f64,
        /// The walker asked for confirmation and got it.
        confirmed: bool,
        /// Id of the clip with its sound, if any.
        clip: Option<String>,
        /// The check was made before this walk, or before this step; this is what the user says that it showed.
        #[serde(default, skip_serializing_if = "is_false")]
        told: bool,
    },
    /// A reading.
    Read {
        /// Step.
        step: String,
        /// Loop item.
        round: Option<String>,
        /// Number of the reading in this session, from 1. A correction keeps the number of the reading that it corrects.
        number: u32,
        /// Its name: `rest_voltage`.
        name: String,
        /// The measured quantity.
        quantity: Quantity,
        /// The reading.
        reading: Reading,
        /// The unit asked for. If the reading is plain or about, `reading.value` is in this unit.
        unit: Unit,
        /// The band it falls into, by id.
        band: Option<String>,
        /// `good`, `bad`, `neither`.
        verdict: String,
        /// Lower limit of the good band, if any.
        low: Option<f64>,
        /// Upper limit of the good band, if any.
        high: Option<f64>,
        /// The source of the limits.
        source: String,
        /// The words heard or typed.
        words: String,
        /// Probability of the hypothesis.
        confidence: f64,
        /// The walker asked for confirmation and got it.
        confirmed: bool,
        /// The number of the reading that this one amends.
        amends: Option<u32>,
        /// Clip id.
        clip: Option<String>,
        /// It was measured before, as for [`Record::Answered`].
        #[serde(default, skip_serializing_if = "is_false")]
        told: bool,
    },
    /// An escape.
    Escaped {
        /// Step.
        step: String,
        /// Loop item.
        round: Option<String>,
        /// The escape.
        escape: Escape,
        /// Clip id.
        clip: Option<String>,
    },
    /// A check was skipped.
    Untested {
        /// Step.
        step: String,
        /// Loop item.
        round: Option<String>,
        /// Why, in the user's words or by the escape's name.
        why: String,
    },
    /// A note.
    Noted {
        /// Step.
        step: String,
        /// Loop item.
        round: Option<String>,
        /// Best-effort text.
        text: String,
        /// Clip id.
        clip: Option<String>,
    },
    /// A spoken command was carried out.
    Controlled {
        /// Step.
        step: String,
        /// The command.
        command: Command,
    },
    /// An utterance was rejected, or nobody spoke.
    #[serde(rename = "not-taken")]
    NoAnswer {
        /// Step.
        step: String,
        /// Why.
        #[serde(deserialize_with = "miss")]
        why: Miss,
        /// Free transcript.
        free: Option<String>,
        /// Clip id.
        clip: Option<String>,
    },
    /// One of the workshop sums was calculated during the walk.
    Reckoned {
        /// Step.
        step: String,
        /// Loop item.
        round: Option<String>,
        /// The sum's name.
        sum: String,
        /// Its inputs by name, each in its unit.
        inputs: Vec<(String, f64, Unit)>,
        /// The result.
        value: f64,
        /// Its unit.
        unit: Unit,
        /// The source of the formula.
        source: String,
    },
    /// The suspects after an answer.
    Weighed {
        /// Step that was answered.
        step: String,
        /// Loop item.
        round: Option<String>,
        /// The suspects.
        weighed: Weighed,
    },
    /// What comes next in the best order.
    Chosen {
        /// The step before.
        step: String,
        /// The choice.
        chosen: Chosen,
    },
    /// The bike's state as agreed from here on, and the changes in words.
    State {
        /// Step.
        step: String,
        /// The changes that the user was told to make.
        told: Vec<String>,
        /// The whole state.
        state: crate::bike::BikeState,
    },
    /// The walk was interrupted or resumed.
    Interrupted {
        /// Step.
        step: String,
        /// `pause`, `standby`, `strangers`, `microphone-lost`, `microphone-back`, `loudspeaker-lost`, `loudspeaker-back`, `clock-set-back`,
        /// `resumed`, `stopped`.
        what: String,
        /// Details in words.
        detail: String,
    },
    /// Current could flow through a coil when the walk stopped or ended, so the walker asked for the power to be switched off.
    PowerOff {
        /// Step.
        step: String,
        /// Whether somebody confirmed it. Otherwise the walk ended without confirmation.
        confirmed: bool,
        /// `voice` or `pedal`. Empty if nobody confirmed it.
        by: String,
    },
    /// A conclusion was reached.
    Concluded {
        /// Procedure.
        procedure: String,
        /// Conclusion id.
        conclusion: String,
        /// Loop item.
        round: Option<String>,
        /// Cause.
        cause: String,
        /// Remedy.
        remedy: String,
        /// What it rules out.
        rules_out: Vec<String>,
        /// What was not tested, including the checks skipped in this walk.
        not_tested: Vec<String>,
        /// The remaining suspects other than the condemned parts, in words.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        not_ruled_out: Vec<String>,
        /// What to check again after the repair.
        recheck: Vec<String>,
        /// What to reconnect or switch off before leaving the bike.
        put_back: Vec<String>,
        /// Whether the walk ends here (a called procedure's conclusion may not end it).
        last: bool,
    },
}

/// For serde: false is omitted.
fn is_false(flag: &bool) -> bool {
    !flag
}

impl Record {
    /// Whether `stored` is this record. A stored record may use an old name for a miss.
    pub fn is_stored_as(&self, stored: &serde_json::Value) -> bool {
        if serde_json::to_value(self).is_ok_and(|value| value == *stored) {
            return true;
        }
        let Record::NoAnswer { step, free, clip, why } = self else { return false };
        let name = stored.get("why").and_then(serde_json::Value::as_str).unwrap_or_default();
        let was_so_called = match name {
            "unsure" | "over-prompt" => *why == Miss::NoMatch,
            "silence" => *why == Miss::NoInput,
            // It was once the name of every miss.
            "stranger" => *why != Miss::NoInput,
            _ => false,
        };
        let Ok(Record::NoAnswer { step: its_step, free: its_free, clip: its_clip, .. }) = Record::deserialize(stored)
        else {
            return false;
        };
        was_so_called && *step == its_step && *free == its_free && *clip == its_clip
    }
}
