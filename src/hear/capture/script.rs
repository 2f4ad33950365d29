//! Answers given on demand: to every listen a callback's sound, which goes through the same voice activity as a
//! microphone's, or its text. The WAV file source is built on the same feed.

use crate::hear::ears::{EarEvent, EarSender, Ears, PedalKey};
use crate::hear::segment::activity::{Activity, Voiced};
use crate::hear::segment::settings::FRAME;

/// What a script answers to one listen.
#[derive(Debug, Clone, PartialEq)]
pub enum Given {
    /// Mono sound at 16 kHz.
    Sound(Vec<f32>),
    /// A typed line.
    Text(String),
    /// A key or pedal.
    Pedal(PedalKey),
    /// Nothing: the listen stays without an answer.
    Nothing,
    /// The script is over.
    End,
}

/// Sound that is heard as fast as it is asked for.
#[derive(Debug)]
pub(in crate::hear) struct Feed {
    activity: Activity,
    sound: Vec<f32>,
    at: usize,
    finished: bool,
    /// Everything is sent as sound, too.
    pub(in crate::hear) all: bool,
}

impl Feed {
    pub(in crate::hear) fn new(activity: Activity) -> Self {
        Self { activity, sound: Vec::new(), at: 0, finished: true, all: false }
    }

    /// More sound, after what is there already.
    pub(in crate::hear) fn add(&mut self, sound: &[f32]) {
        self.sound.drain(..self.at);
        self.at = 0;
        self.sound.extend_from_slice(sound);
        self.finished = false;
    }

    /// Sends events up to and including the next utterance; false when there was none left.
    pub(in crate::hear) fn next_utterance(&mut self, to: &EarSender) -> bool {
        let mut found = Vec::new();
        while !self.finished {
            if self.at < self.sound.len() {
                let end = (self.at + FRAME).min(self.sound.len());
                let frame = &self.sound[self.at..end];
                if self.all {
                    // A driver that is gone needs nothing.
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
                // No silence is waited for here that the understanding could begin in.
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

    /// The utterance just given was enough.
    pub(in crate::hear) fn forget(&mut self) {
        self.activity.forget();
    }

    /// The utterance just given was enough, and the rest of the sound goes with it.
    pub(in crate::hear) fn drop_rest(&mut self) {
        self.activity.skip((self.sound.len() - self.at) as u64);
        self.sound.clear();
        self.at = 0;
        self.finished = true;
    }
}

/// Sends what voice activity found; a driver that is gone needs nothing.
pub(in crate::hear) fn tell(to: &EarSender, event: Voiced) {
    let _ = to.send(match event {
        Voiced::Began { at } => EarEvent::Began { at },
        Voiced::Pausing(utterance) => EarEvent::Pausing(utterance),
        Voiced::Utterance(utterance) => EarEvent::Utterance(utterance),
    });
}

/// Ears that ask a callback for an answer whenever they are opened.
///
/// ```
/// use probeside::hear::{Activity, EarEvent, Ears, Given, Script};
/// let (to, mut from) = tokio::sync::mpsc::unbounded_channel();
/// let mut lines = vec!["light on", "done"].into_iter();
/// let activity = Activity::usual()?;
/// let mut ears = Script::new(to, activity, move || lines.next().map_or(Given::End, |l| Given::Text(l.into())));
/// ears.open();
/// assert_eq!(from.try_recv(), Ok(EarEvent::Typed("light on".into())));
/// # Ok::<(), probeside::hear::HearError>(())
/// ```
pub struct Script {
    to: EarSender,
    next: Box<dyn FnMut() -> Given>,
    feed: Feed,
}

impl std::fmt::Debug for Script {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Script").field("feed", &self.feed).finish_non_exhaustive()
    }
}

impl Script {
    /// Ears that ask `next` once for each listen.
    pub fn new(to: EarSender, activity: Activity, next: impl FnMut() -> Given + 'static) -> Self {
        Self { to, next: Box::new(next), feed: Feed::new(activity) }
    }
}

impl Ears for Script {
    fn open(&mut self) {
        let event = match (self.next)() {
            Given::Sound(sound) => {
                self.feed.add(&sound);
                self.feed.next_utterance(&self.to);
                return;
            }
            Given::Text(line) => EarEvent::Typed(line),
            Given::Pedal(key) => EarEvent::Pedal(key),
            Given::Nothing => return,
            Given::End => EarEvent::Ended,
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
