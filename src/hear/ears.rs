//! The shape every source of answers has: a microphone, a WAV file, typed lines, a pedal or a script.
//!
//! The driver opens the ears when a listen begins, closes them when the answer is settled, and reads [`EarEvent`]s from the
//! channel it gave at construction. An utterance may come twice: early, after a short silence, and again, longer or the same,
//! with `last` set once a long silence has passed. A driver that is sure of the early one closes the ears; one that is not
//! calls [`Ears::wait_longer`] and takes the next.

use std::sync::Arc;
use tokio::sync::mpsc::UnboundedSender;

/// Samples per second of every utterance and every sample position in this room.
pub const RATE: u32 = 16_000;

/// [`RATE`] as a count of samples.
pub const SAMPLE_RATE: usize = RATE as usize;

/// Where ears put what they hear.
pub type EarSender = UnboundedSender<EarEvent>;

/// A stretch of speech cut out of a source.
#[derive(Debug, Clone, PartialEq)]
pub struct Utterance {
    /// First sample of `sound`, counted at [`RATE`] from the source's start. Lies a little before the voice.
    pub begin: u64,
    /// One past the last sample of `sound`.
    pub end: u64,
    /// Mono sound at [`RATE`], -1 to 1.
    pub sound: Arc<[f32]>,
    /// Samples of silence that were waited for after the voice before this was handed over.
    pub waited: u64,
    /// The long silence has passed, or the source or the longest utterance has ended: no longer version will come.
    pub last: bool,
    /// How like the prompt it is that was being played meanwhile, 0 to 1; none where nothing was played.
    pub likeness: Option<f32>,
}

/// An utterance over a prompt that is more like it than this is what is left of the prompt. See `tests/bargein.rs`.
pub(super) const OWN_VOICE: f32 = 0.65;

impl Utterance {
    /// Whether this is the program's own voice, come back through the microphone.
    pub fn is_own_voice(&self) -> bool {
        self.likeness.is_some_and(|likeness| likeness > OWN_VOICE)
    }
}

/// What a key or a foot pedal asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PedalKey {
    /// Start listening now (or take the step as acknowledged, as the driver sees fit).
    Listen,
    /// Say the prompt again.
    Repeat,
    /// Silence at once, then ask about ending. Also Ctrl-C.
    Stop,
}

/// What a source of answers reports.
#[derive(Debug, Clone, PartialEq)]
pub enum EarEvent {
    /// A voice began; the sample it began at.
    Began {
        /// Sample position at [`RATE`] since the source's start.
        at: u64,
    },
    /// A voice pauses: the utterance that comes next unless the voice goes on, which has some silence more. Only of live sources.
    Pausing(Utterance),
    /// A voice fell silent.
    Utterance(Utterance),
    /// Everything that was heard since the last of these, speech or not, after [`Ears::keep_all`]: mono sound at [`RATE`], -1 to 1.
    Sound(Arc<[f32]>),
    /// A line was typed; trimmed, never empty.
    Typed(String),
    /// A key or pedal was pressed.
    Pedal(PedalKey),
    /// The source is gone for now; a sentence for people. [`EarEvent::Back`] follows if it returns.
    Lost(String),
    /// A lost source is there again.
    Back,
    /// No more answers will come from this source.
    Ended,
}

/// A source of answers.
pub trait Ears {
    /// A listen begins. Sound from before is not heard. Sources that need no real time deliver the next answer at once.
    fn open(&mut self);

    /// The listen is over; an utterance under way is dropped. Closing closed ears does nothing.
    fn close(&mut self);

    /// The utterance just delivered (not `last`) is not enough: deliver its longer version. Live sources do so anyway.
    fn wait_longer(&mut self) {}

    /// From now on everything that is heard comes as [`EarEvent::Sound`] too: of a live source whether open or closed, of others as far as
    /// it is asked for, an utterance after the sound that it ends in. A source without sound does nothing.
    fn keep_all(&mut self) {}

    /// Whether this source runs in real time, so that silence is measured by a timer. Files, pipes and scripts do not.
    fn is_live(&self) -> bool;
}
