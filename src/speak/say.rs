//! What is said and how it is reported: the shape every mouth has.
//!
//! Prompts given to a mouth are said one after another. The driver reads [`MouthEvent`]s from the channel that it gave at
//! construction; each prompt gets exactly one `PromptEnded`, after a `PromptBegan` unless it was cut before it began.

use std::time::Duration;
use tokio::sync::mpsc::UnboundedSender;

/// Samples per second in which mouths report lengths; the same as the ears count.
pub const RATE: u32 = 16_000;

/// Where mouths put what happens.
pub type MouthSender = UnboundedSender<MouthEvent>;

/// One prompt.
#[derive(Debug, Clone, PartialEq)]
pub struct Say {
    /// The caller's number for it.
    pub id: u64,
    /// Plain text.
    pub text: String,
    /// False for cautions: [`Mouth::interrupt`] leaves it alone.
    pub interruptible: bool,
    /// Factor on the amplitude, 1 as synthesised; peaks are limited, so 2 is louder without clipping.
    pub volume: f32,
    /// Factor on the speed of speech, 1 as usual.
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
    /// The answer was taken.
    Taken,
    /// The answer was not understood.
    NotUnderstood,
}

/// What a mouth reports.
#[derive(Debug, Clone, PartialEq)]
pub enum MouthEvent {
    /// The prompt's first sample is on its way to the loudspeaker.
    PromptBegan {
        /// The [`Say::id`].
        id: u64,
    },
    /// The prompt is over: its last sample has left the loudspeaker, or it was cut.
    PromptEnded {
        /// The [`Say::id`].
        id: u64,
        /// False when it was cut.
        whole: bool,
        /// How long it sounded (or would have, if printed), in samples at [`RATE`].
        samples: u64,
    },
    /// The loudspeaker or the voice is gone; prompts are printed meanwhile. A sentence for people.
    Lost(String),
    /// Prompts sound again.
    Back,
}

/// A way to say things.
pub trait Mouth {
    /// Queues a prompt. Its synthesis may take a moment; this returns at once.
    fn say(&mut self, say: Say);

    /// Queues a tone after what is being said. Tones report nothing. A mouth without tones leaves it out.
    fn tone(&mut self, _tone: Tone) {}

    /// Silence at once: everything queued is dropped, cautions too. A mouth that takes no time has nothing queued.
    fn cut(&mut self) {}

    /// Drops interruptible prompts, the current one included; a caution goes on.
    fn interrupt(&mut self) {}

    /// The sound still on its way to the loudspeaker after it was handed over: the microphone hears a prompt that long after
    /// it was written. Already waited for before `PromptEnded`.
    fn latency(&self) -> Duration {
        Duration::ZERO
    }

    /// Whether prompts take real time. Printing and files do not.
    fn is_live(&self) -> bool;
}
