//! A cache of synthesised prompts, so that a repeated prompt costs nothing.

use super::voice::{Pcm, SpeakError, Voice};
use std::collections::{HashMap, VecDeque};

/// Most samples kept: about ten minutes at 22,050 a second, 53 MB.
const MOST_SAMPLES: usize = 10 * 60 * 22_050;

/// A voice with a cache.
pub struct Cached<V> {
    voice: V,
    kept: HashMap<(String, u32), Pcm>,
    order: VecDeque<(String, u32)>,
    samples: usize,
}

impl<V> std::fmt::Debug for Cached<V> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Cached").field("prompts", &self.kept.len()).finish_non_exhaustive()
    }
}

impl<V: Voice> Cached<V> {
    /// Caches what `voice` synthesises.
    pub fn new(voice: V) -> Self {
        Self { voice, kept: HashMap::new(), order: VecDeque::new(), samples: 0 }
    }
}

impl<V: Voice> Voice for Cached<V> {
    fn synthesise(&mut self, text: &str, speed: f32) -> Result<Pcm, SpeakError> {
        let key = (text.to_owned(), speed.to_bits());
        if let Some(kept) = self.kept.get(&key) {
            return Ok(kept.clone());
        }
        let made = self.voice.synthesise(text, speed)?;
        self.samples += made.samples.len();
        while self.samples > MOST_SAMPLES
            && let Some(oldest) = self.order.pop_front()
        {
            if let Some(gone) = self.kept.remove(&oldest) {
                self.samples -= gone.samples.len();
            }
        }
        self.order.push_back(key.clone());
        self.kept.insert(key, made.clone());
        Ok(made)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Counting(usize, usize);
    impl Voice for Counting {
        fn synthesise(&mut self, _: &str, _: f32) -> Result<Pcm, SpeakError> {
            self.0 += 1;
            if self.0 == 1 {
                return Err(SpeakError::NoDevice("first time".into()));
            }
            Ok(Pcm { rate: 22_050, samples: vec![0.0; self.1].into() })
        }
    }

    #[test]
    fn failures_are_tried_again_and_successes_are_not() {
        let mut voice = Cached::new(Counting(0, 10));
        assert!(voice.synthesise("a", 1.0).is_err());
        for _ in 0..3 {
            voice.synthesise("a", 1.0).unwrap();
        }
        voice.synthesise("a", 1.2).unwrap();
        assert_eq!(voice.voice.0, 3);
    }

    #[test]
    fn the_oldest_goes_when_it_is_full() {
        let mut voice = Cached::new(Counting(1, MOST_SAMPLES / 2));
        for text in ["a", "b", "c"] {
            voice.synthesise(text, 1.0).unwrap();
        }
        assert!(voice.samples <= MOST_SAMPLES);
        assert_eq!(voice.kept.len(), 2);
        voice.synthesise("c", 1.0).unwrap();
        assert_eq!(voice.voice.0, 4);
    }
}
