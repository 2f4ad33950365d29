//! A WAV file as a source of answers: each listen gets the next utterance at once.

use super::script::Feed;
use crate::hear::ears::{EarEvent, EarSender, Ears};
use crate::hear::segment::activity::Activity;
use crate::hear::wav::{WavError, read_wav};
use std::path::Path;

/// A WAV file as a source of answers.
#[derive(Debug)]
pub struct WavEars {
    to: EarSender,
    feed: Feed,
}

impl WavEars {
    /// Reads the whole file.
    ///
    /// # Errors
    /// As [`read_wav`].
    pub fn new(to: EarSender, activity: Activity, path: &Path) -> Result<Self, WavError> {
        Ok(Self::of_sound(to, activity, &read_wav(path)?))
    }

    /// Takes mono sound at 16 kHz instead of a file.
    pub(in crate::hear) fn of_sound(to: EarSender, activity: Activity, sound: &[f32]) -> Self {
        let mut feed = Feed::new(activity);
        feed.add(sound);
        Self { to, feed }
    }

    fn next(&mut self) {
        if !self.feed.next_utterance(&self.to) {
            let _ = self.to.send(EarEvent::Ended);
        }
    }
}

impl Ears for WavEars {
    fn open(&mut self) {
        self.next();
    }

    fn close(&mut self) {
        self.feed.forget();
    }

    fn wait_longer(&mut self) {
        self.next();
    }

    fn keep_all(&mut self) {
        self.feed.all = true;
    }

    fn is_live(&self) -> bool {
        false
    }
}
