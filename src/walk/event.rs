//! What the walker is told and what it asks for.

use super::advise::{Answered, Request};
use crate::advice::{Chosen, Weighed};
use crate::phrase::{Answer, Grammar, Verdict};
use crate::session::Record;
use serde::{Deserialize, Serialize};

/// A key or a foot pedal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Pedal {
    /// Start listening now (or go on, when the walk waits).
    Listen,
    /// Say it again.
    Repeat,
}

/// Something that happened.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "event")]
pub enum Event {
    /// The walk begins.
    Begin,
    /// An utterance was understood as far as it could be.
    Heard {
        /// The listen it answers.
        listen: u64,
        /// What was decided about it.
        verdict: Verdict,
        /// Begin of speech in samples of 16 kHz since the ears were opened.
        begin: u64,
        /// End of speech, likewise.
        end: u64,
        /// Id of the clip that holds its sound.
        clip: Option<String>,
    },
    /// Somebody began to speak.
    SpeechBegan,
    /// A prompt came to its end.
    PromptEnded {
        /// Its id.
        id: u64,
        /// It was said whole (else it was cut).
        whole: bool,
    },
    /// A record is on disk.
    Recorded {
        /// Its id.
        id: u64,
    },
    /// The advice that [`Effect::Weigh`] asked for: what is left.
    Weighed(Answered<Weighed>),
    /// The part that comes next, as [`Effect::Choose`] asked.
    Chosen(Answered<Chosen>),
    /// A record could not be stored.
    RecordFailed {
        /// Its id.
        id: u64,
        /// Why, a sentence.
        why: String,
        /// It can never be stored: it is left out, and not tried again.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        never: bool,
    },
    /// The record has little room left.
    RecordNearlyFull,
    /// Sound is not kept from here on: the disk takes none.
    SoundDropped,
    /// A timer is due.
    Timer {
        /// Which.
        timer: TimerKind,
    },
    /// The microphone is gone.
    MicrophoneLost {
        /// Why, a sentence.
        why: String,
    },
    /// The microphone is back.
    MicrophoneBack,
    /// The loudspeaker is gone: prompts are only printed.
    LoudspeakerLost {
        /// Why, a sentence.
        why: String,
    },
    /// The loudspeaker is back.
    LoudspeakerBack,
    /// The wall clock was set back.
    ClockSetBack {
        /// By so many milliseconds.
        by_ms: u64,
    },
    /// A key or a pedal was pressed.
    Pressed {
        /// Which.
        pedal: Pedal,
    },
    /// From here on prompts may be spoken over, or not.
    SpokenOver {
        /// They may.
        allowed: bool,
    },
    /// The program was started again on this session.
    Resumed {
        /// Milliseconds of wall time since the last event before.
        gap_ms: u64,
        /// The journal's end was torn and mended.
        #[serde(default)]
        repaired: bool,
    },
    /// The program is asked to end from outside (interrupt key, end of the answers).
    Stop {
        /// Why, in words.
        why: String,
    },
}

/// What a timer is for; one of each kind runs at a time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TimerKind {
    /// The person is silent.
    Silence,
    /// A watched event has not been reported.
    Watch,
    /// Current can stand in a coil, and nobody has confirmed that the power is off.
    CoilHeat,
}

/// Why something is said; a mouth may treat them differently, a transcript shows it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SayKind {
    /// A caution. Not interruptible by an answer.
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
    /// Now listening.
    Listening,
    /// Taken.
    Taken,
    /// Not understood.
    NotUnderstood,
}

/// Something to be done.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", tag = "effect")]
pub enum Effect {
    /// Say something, after what is being said.
    Say {
        /// Its id, for [`Event::PromptEnded`].
        id: u64,
        /// The words.
        text: String,
        /// Why.
        kind: SayKind,
    },
    /// Silence at once; every prompt still waiting ends cut.
    Cut,
    /// A tone.
    Tone {
        /// Which.
        tone: Tone,
    },
    /// Listen for one utterance.
    Listen {
        /// Its id.
        id: u64,
        /// What may be said.
        grammar: Grammar,
        /// Answers on which much hangs: they end in a conclusion or move on from a hazard.
        high: Vec<Answer>,
        /// Speaking over a prompt is allowed.
        bargein: bool,
    },
    /// Stop listening.
    Deaf,
    /// Write this down; with `sync`, [`Event::Recorded`] follows once it is on disk.
    Record {
        /// Its id.
        id: u64,
        /// What.
        record: Record,
        /// It has to be on disk before the walk goes on.
        sync: bool,
    },
    /// Say what is left after [`super::Walker::observed`]: [`Event::Weighed`] has to follow, sooner or later.
    Weigh {
        /// Its id.
        id: Request,
    },
    /// Say which part comes next at [`super::Walker::crossing`]: [`Event::Chosen`] has to follow, sooner or later.
    Choose {
        /// Its id.
        id: Request,
    },
    /// Start a timer (again).
    StartTimer {
        /// Which.
        timer: TimerKind,
        /// Milliseconds from now.
        ms: u64,
    },
    /// Stop a timer.
    StopTimer {
        /// Which.
        timer: TimerKind,
    },
    /// Speak louder or more quietly from now on.
    Loudness {
        /// Louder (else quieter).
        louder: bool,
    },
    /// The walk is over.
    Finish {
        /// Exit code.
        code: u8,
        /// Why, a sentence.
        why: String,
    },
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn answers_are_written_with_their_request_and_those_of_old_journals_are_read() {
        let chosen = Chosen { part: "coils".into(), bits: 1.5, minutes: 4.0 };
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
