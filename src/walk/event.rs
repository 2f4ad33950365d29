//! The walker's inputs (events) and outputs (effects).

use super::advise::{Answered, Request};
use crate::advice::{Chosen, Weighed};
use crate::phrase::{Answer, Grammar, Verdict};
use crate::session::Record;
use serde::{Deserialize, Serialize};

/// A key or a foot pedal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Pedal {
    /// Start listening now, or carry on if the walk is waiting.
    Listen,
    /// Repeat the last prompt.
    Repeat,
}

/// Something that happened.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "event")]
pub enum Event {
    /// The walk begins.
    Begin,
    /// An utterance was recognised, as far as possible.
    Heard {
        /// The listen that it answers.
        listen: u64,
        /// The decision about it.
        verdict: Verdict,
        /// Start of speech, in samples at 16 kHz since listening was started.
        begin: u64,
        /// End of speech, likewise.
        end: u64,
        /// Id of the clip with its audio.
        clip: Option<String>,
    },
    /// Somebody began to speak.
    SpeechBegan,
    /// A prompt ended.
    PromptEnded {
        /// The prompt's id.
        id: u64,
        /// Whether it was played to its end (`false`: it was cut).
        whole: bool,
    },
    /// A record is on disk.
    Recorded {
        /// The record's id.
        id: u64,
    },
    /// The adviser's answer to [`Effect::Weigh`]: the suspects that are left.
    Weighed(Answered<Weighed>),
    /// The answer to [`Effect::Choose`]: the part that comes next.
    Chosen(Answered<Chosen>),
    /// A record could not be stored.
    RecordFailed {
        /// The record's id.
        id: u64,
        /// Why, as a sentence.
        why: String,
        /// Whether it can never be stored. It is then dropped and not tried again.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        never: bool,
    },
    /// The storage for the record is nearly full.
    RecordNearlyFull,
    /// Audio is no longer kept: the disk takes none.
    SoundDropped,
    /// A timer is due.
    Timer {
        /// Which timer.
        timer: TimerKind,
    },
    /// The microphone was lost.
    MicrophoneLost {
        /// Why, as a sentence.
        why: String,
    },
    /// The microphone is back.
    MicrophoneBack,
    /// The loudspeaker was lost: prompts are only printed.
    LoudspeakerLost {
        /// Why, as a sentence.
        why: String,
    },
    /// The loudspeaker is back.
    LoudspeakerBack,
    /// The wall clock was set back.
    ClockSetBack {
        /// By this many milliseconds.
        by_ms: u64,
    },
    /// A key or a pedal was pressed.
    Pressed {
        /// Which one.
        pedal: Pedal,
    },
    /// Barge-in was switched on or off.
    SpokenOver {
        /// Whether the user may speak over prompts from here on.
        allowed: bool,
    },
    /// The program was restarted on this session.
    Resumed {
        /// Milliseconds of wall time since the last event.
        gap_ms: u64,
        /// Whether the journal's end was torn and repaired.
        #[serde(default)]
        repaired: bool,
    },
    /// Something outside asks the program to end: an interrupt key, or the end of the answers.
    Stop {
        /// Why, in words.
        why: String,
    },
}

/// What a timer is for. At most one of each kind runs at a time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TimerKind {
    /// The user is silent.
    Silence,
    /// A watched event has not been reported.
    Watch,
    /// Current may flow in a coil, and nobody has confirmed that the power is off.
    CoilHeat,
}

/// Why something is said. The speech output may treat the kinds differently; a transcript shows them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SayKind {
    /// A caution. An answer does not interrupt it.
    Caution,
    /// What to do and what to report.
    Prompt,
    /// An answer said back.
    Echo,
    /// A question about what was heard.
    Question,
    /// Anything else.
    Notice,
    /// A conclusion.
    Conclusion,
}

/// A short tone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Tone {
    /// Listening has started.
    Listening,
    /// The answer was accepted.
    Accepted,
    /// The answer was not understood.
    NotUnderstood,
}

/// Something that the caller has to do.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "effect")]
pub enum Effect {
    /// Say something once everything queued before it is said.
    Say {
        /// The prompt's id, for [`Event::PromptEnded`].
        id: u64,
        /// The words.
        text: String,
        /// Why it is said.
        kind: SayKind,
    },
    /// Stop speaking at once. Every prompt still queued ends as cut.
    Cut,
    /// Play a tone.
    Tone {
        /// Which tone.
        tone: Tone,
    },
    /// Listen for one utterance.
    Listen {
        /// The listen's id.
        id: u64,
        /// The allowed phrases.
        grammar: Grammar,
        /// High-stakes answers: they end in a conclusion or move on from a hazard.
        high: Vec<Answer>,
        /// Whether barge-in is allowed.
        bargein: bool,
    },
    /// Stop listening.
    Deaf,
    /// Write this record. With `sync`, [`Event::Recorded`] follows once it is on disk.
    Record {
        /// The record's id.
        id: u64,
        /// The record.
        record: Record,
        /// Whether it must be on disk before the walk goes on.
        sync: bool,
    },
    /// Weigh the suspects that are left after [`super::Walker::observed`]. [`Event::Weighed`] must follow sooner or later.
    Weigh {
        /// The request's id.
        id: Request,
    },
    /// Choose what comes next at [`super::Walker::crossing`]. [`Event::Chosen`] must follow sooner or later.
    Choose {
        /// The request's id.
        id: Request,
    },
    /// Start or restart a timer.
    StartTimer {
        /// Which timer.
        timer: TimerKind,
        /// Milliseconds from now.
        ms: u64,
    },
    /// Stop a timer.
    StopTimer {
        /// Which timer.
        timer: TimerKind,
    },
    /// Change the loudness of speech from now on.
    Loudness {
        /// Louder (`false`: quieter).
        louder: bool,
    },
    /// The walk is over.
    Finish {
        /// Exit code.
        code: u8,
        /// Why, as a sentence.
        why: String,
    },
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::advice::{Next, Spot};
    use crate::bike::BikeState;
    use serde_json::json;

    #[test]
    fn answers_are_written_with_their_request_and_those_of_old_journals_are_read() {
        let spot = Spot { step: "whole".into(), rounds: vec![("each".into(), 1)], state: BikeState::default() };
        let chosen = Chosen { next: Next::Check(Box::new(spot)), bits: 1.5, minutes: 4.0, ..Chosen::default() };
        let event = Event::Chosen(Answered::to(Request::new(7), chosen.clone()));
        let written = json!({"event": "chosen", "id": 7, "answer": chosen});
        assert_eq!(serde_json::to_value(&event).unwrap(), written);
        let old = json!({"event": "chosen", "id": 7, "chosen": chosen});
        for journalled in [written, old] {
            assert_eq!(Event::deserialize(journalled).unwrap(), event);
        }
        let old = json!({"event": "weighed", "id": 9, "weighed": Weighed::default()});
        assert_eq!(Event::deserialize(old).unwrap(), Event::Weighed(Answered::to(Request::new(9), Weighed::default())));
        let old = json!({"event": "record-failed", "id": 3, "why": "full"});
        let failed = Event::RecordFailed { id: 3, why: "full".into(), never: false };
        assert_eq!(serde_json::to_value(&failed).unwrap(), old);
        assert_eq!(Event::deserialize(old).unwrap(), failed);
    }
}
