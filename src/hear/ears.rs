//! The trait of every source of answers: microphone, WAV file, typed lines, pedal or script.
//!
//! The driver opens the ears when a listen begins, closes them when the answer is settled, and reads [`EarEvent`]s from the channel that it
//! gave at construction. An utterance may arrive twice: early, after a short silence, and again with `last` set, the same or longer, after a
//! long silence. A driver that is sure of the early one closes the ears; otherwise it calls [`Ears::wait_longer`] and takes the next.

use std::sync::Arc;
use tokio::sync::mpsc::UnboundedSender;

/// Samples per second of every utterance and every sample position in this room.
pub const RATE: u32 = 16_000;

/// [`RATE`] as a count of samples.
pub const SAMPLE_RATE: usize = RATE as usize;

/// The channel on which ears report.
pub type EarSender = UnboundedSender<EarEvent>;

/// One utterance cut out of a source.
#[derive(Debug, Clone, PartialEq)]
pub struct Utterance {
    /// First sample of `sound`, counted at [`RATE`] from the source's start; slightly before the voice.
    pub begin: u64,
    /// One past the last sample of `sound`.
    pub end: u64,
    /// Mono sound at [`RATE`], -1 to 1.
    pub sound: Arc<[f32]>,
    /// Samples of silence between the voice and the delivery.
    pub waited: u64,
    /// No longer version will follow: the long silence has passed, the source has ended, or the utterance has its greatest length.
    pub last: bool,
    /// Likeness to the prompt played meanwhile, 0 to 1; none if nothing was played.
    pub likeness: Option<f32>,
}

/// An utterance with a greater likeness to the prompt is the prompt's residual echo. See `tests/bargein.rs`.
pub(super) const OWN_VOICE: f32 = 0.65;

impl Utterance {
    /// Whether this is the program's own voice, heard by the microphone.
    pub fn is_own_voice(&self) -> bool {
        self.likeness.is_some_and(|likeness| likeness > OWN_VOICE)
    }
}

/// Request from a key or a foot pedal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PedalKey {
    /// Start listening now, or acknowledge the step: the driver decides.
    Listen,
    /// Say the prompt again.
    Repeat,
    /// Stop talking at once, then ask whether to end. Also Ctrl-C.
    Stop,
}

/// Event from a source of answers.
#[derive(Debug, Clone, PartialEq)]
pub enum EarEvent {
    /// A voice began.
    Began {
        /// Sample position at [`RATE`] since the source's start.
        at: u64,
    },
    /// A voice pauses: the utterance that will follow unless the voice resumes, except for some trailing silence. Only from live sources.
    Pausing(Utterance),
    /// An utterance ended.
    Utterance(Utterance),
    /// After [`Ears::keep_all`]: everything heard since the last such event, speech or not, as mono sound at [`RATE`], -1 to 1.
    Sound(Arc<[f32]>),
    /// A line was typed. It is trimmed and never empty.
    Typed(String),
    /// A key or pedal was pressed.
    Pedal(PedalKey),
    /// The source is lost for now, with a sentence for the user. [`EarEvent::Back`] follows if it returns.
    Lost(String),
    /// A lost source has returned.
    Back,
    /// The source has no more answers.
    Ended,
}

/// A source of answers.
pub trait Ears {
    /// Begins a listen. Earlier sound is ignored. Sources without real time deliver the next answer at once.
    fn open(&mut self);

    /// Ends the listen and drops an utterance under way. Closing closed ears does nothing.
    fn close(&mut self);

    /// Asks for the longer version of the utterance just delivered (which was not `last`). Live sources deliver it anyway.
    fn wait_longer(&mut self) {}

    /// From now on, reports everything that is heard as [`EarEvent::Sound`] too. A live source does so whether open or closed, another source as
    /// far as it is read. An utterance comes after the sound that it ends in. A source without sound does nothing.
    fn keep_all(&mut self) {}

    /// Whether this source runs in real time, so that a timer measures silence. Files, pipes and scripts do not.
    fn is_live(&self) -> bool;
}
