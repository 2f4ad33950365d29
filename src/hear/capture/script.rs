//! Scripted answers: for each listen a callback returns sound, which passes the same voice activity as a microphone's, or text. The WAV
//! source uses the same feed.

use crate::hear::ears::{EarEvent, EarSender, Ears, PedalKey};
use crate::hear::segment::activity::{Activity, Voiced};
use crate::hear::segment::settings::FRAME;

/// A script's answer to one listen.
#[derive(Debug, Clone, PartialEq)]
pub enum ScriptAnswer {
    /// Mono sound at 16 kHz.
    Sound(Vec<f32>),
    /// A typed line.
    Text(String),
    /// A key or pedal.
    Pedal(PedalKey),
    /// No answer to this listen.
    Nothing,
    /// The script has ended.
    End,
}

/// Sound that is consumed as fast as answers are asked for.
#[derive(Debug)]
pub(super) struct Feed {
    activity: Activity,
    sound: Vec<f32>,
    at: usize,
    finished: bool,
    /// Send everything that is heard, too.
    pub(super) all: bool,
}

impl Feed {
    pub(super) fn new(activity: Activity) -> Self {
        Self { activity, sound: Vec::new(), at: 0, finished: true, all: false }
    }

    /// Appends sound.
    pub(super) fn add(&mut self, sound: &[f32]) {
        self.sound.drain(..self.at);
        self.at = 0;
        self.sound.extend_from_slice(sound);
        self.finished = false;
    }

    /// Sends events up to and including the next utterance; false if none is left.
    pub(super) fn next_utterance(&mut self, to: &EarSender) -> bool {
        let mut found = Vec::new();
        while !self.finished {
            if self.at < self.sound.len() {
                let end = (self.at + FRAME).min(self.sound.len());
                let frame = &self.sound[self.at..end];
                if self.all {
                    // Without a driver nobody receives it.
                    let _ = to.send(EarEvent::Sound(frame.into()));
                }
                self.activity.push(frame, &mut found);
                self.at = end;
            } else {
                self.activity.finish(&mut found);
                self.finished = true;
            }
            let mut whole = false;
            for event in found.drain(..) {
                whole |= matches!(event, Voiced::Utterance(_));
                // Nothing waits in real time here, so an early start of the recogniser gains nothing.
                if !matches!(event, Voiced::Pausing(_)) {
                    tell(to, event);
                }
            }
            if whole {
                return true;
            }
        }
        false
    }

    /// The utterance just delivered was enough.
    pub(super) fn forget(&mut self) {
        self.activity.forget();
    }

    /// The utterance just delivered was enough; drops the rest of the sound.
    pub(super) fn drop_rest(&mut self) {
        self.activity.skip((self.sound.len() - self.at) as u64);
        self.sound.clear();
        self.at = 0;
        self.finished = true;
    }
}

/// Sends an event of voice activity to the driver, if there still is one.
pub(super) fn tell(to: &EarSender, event: Voiced) {
    let _ = to.send(match event {
        Voiced::Began { at } => EarEvent::Began { at },
        Voiced::Pausing(utterance) => EarEvent::Pausing(utterance),
        Voiced::Utterance(utterance) => EarEvent::Utterance(utterance),
    });
}

/// Ears that ask a callback for one answer per listen.
///
/// ```
/// use probeside::hear::{Activity, EarEvent, Ears, ScriptAnswer, Script};
/// let (to, mut from) = tokio::sync::mpsc::unbounded_channel();
/// let mut lines = vec!["light on", "done"].into_iter();
/// let activity = Activity::usual()?;
/// let mut ears = Script::new(to, activity, move || lines.next().map_or(ScriptAnswer::End, |l| ScriptAnswer::Text(l.into())));
/// ears.open();
/// assert_eq!(from.try_recv(), Ok(EarEvent::Typed("light on".into())));
/// # Ok::<(), probeside::hear::HearError>(())
/// ```
pub struct Script {
    to: EarSender,
    next: Box<dyn FnMut() -> ScriptAnswer>,
    feed: Feed,
}

impl std::fmt::Debug for Script {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Script").field("feed", &self.feed).finish_non_exhaustive()
    }
}

impl Script {
    /// Asks `next` once for each listen.
    pub fn new(to: EarSender, activity: Activity, next: impl FnMut() -> ScriptAnswer + 'static) -> Self {
        Self { to, next: Box::new(next), feed: Feed::new(activity) }
    }
}

impl Ears for Script {
    fn open(&mut self) {
        let event = match (self.next)() {
            ScriptAnswer::Sound(sound) => {
                self.feed.add(&sound);
                self.feed.next_utterance(&self.to);
                return;
            }
            ScriptAnswer::Text(line) => EarEvent::Typed(line),
            ScriptAnswer::Pedal(key) => EarEvent::Pedal(key),
            ScriptAnswer::Nothing => return,
            ScriptAnswer::End => EarEvent::Ended,
        };
        let _ = self.to.send(event);
    }

    fn close(&mut self) {
        self.feed.drop_rest();
    }

    fn wait_longer(&mut self) {
        self.feed.next_utterance(&self.to);
    }

    fn keep_all(&mut self) {
        self.feed.all = true;
    }

    fn is_live(&self) -> bool {
        false
    }
}
