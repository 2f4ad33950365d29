//! The trait of every speech output, its prompts, tones and events.
//!
//! A mouth says its prompts one after another. The driver reads [`MouthEvent`]s from the channel that it gave at construction. Each prompt gets
//! exactly one `PromptEnded`, preceded by a `PromptBegan` unless it was cut before it began.

use std::time::Duration;
use tokio::sync::mpsc::UnboundedSender;

/// Sample rate in which mouths report lengths; equal to that of the ears.
pub const RATE: u32 = 16_000;

/// The channel on which mouths report.
pub type MouthSender = UnboundedSender<MouthEvent>;

/// One prompt.
#[derive(Debug, Clone, PartialEq)]
pub struct Say {
    /// The caller's id of the prompt.
    pub id: u64,
    /// Plain text.
    pub text: String,
    /// False for cautions, which [`Mouth::interrupt`] does not stop.
    pub interruptible: bool,
    /// Gain on the synthesised amplitude; peaks are limited, so 2 is louder without clipping.
    pub volume: f32,
    /// Speed of speech relative to the usual one.
    pub speed: f32,
}

impl Say {
    /// An interruptible prompt at usual volume and speed.
    pub fn new(id: u64, text: impl Into<String>) -> Self {
        Self { id, text: text.into(), interruptible: true, volume: 1.0, speed: 1.0 }
    }
}

/// A short sound with a meaning.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Tone {
    /// The microphone is open.
    Listening,
    /// The answer was accepted.
    Accepted,
    /// The answer was not understood.
    NotUnderstood,
}

/// Event from a mouth.
#[derive(Debug, Clone, PartialEq)]
pub enum MouthEvent {
    /// The prompt's first sample is on its way to the loudspeaker.
    PromptBegan {
        /// The [`Say::id`].
        id: u64,
    },
    /// The prompt has ended: its last sample has left the loudspeaker, or it was cut.
    PromptEnded {
        /// The [`Say::id`].
        id: u64,
        /// False when it was cut.
        whole: bool,
        /// Its length as played, or as estimated if printed, in samples at [`RATE`].
        samples: u64,
    },
    /// The loudspeaker or the voice is lost, with a sentence for the user; prompts are printed meanwhile.
    Lost(String),
    /// Prompts are audible again.
    Back,
}

/// A speech output.
pub trait Mouth {
    /// Queues a prompt and returns at once; synthesis may take a moment.
    fn say(&mut self, say: Say);

    /// Queues a tone after what is being said. Tones cause no events. A mouth without tones ignores it.
    fn tone(&mut self, _tone: Tone) {}

    /// Stops at once and drops everything queued, cautions included. A mouth without real time has nothing queued.
    fn cut(&mut self) {}

    /// Drops interruptible prompts, the current one included; a caution continues.
    fn interrupt(&mut self) {}

    /// Output latency: the microphone hears a prompt this long after it was written. `PromptEnded` already includes it.
    fn latency(&self) -> Duration {
        Duration::ZERO
    }

    /// Whether prompts take real time. Printing and files do not.
    fn is_live(&self) -> bool;
}
