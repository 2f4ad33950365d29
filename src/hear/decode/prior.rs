//! Noise prior: what the model expects to hear in plain noise.
//!
//! The model prefers some words whatever the sound. That preference is measured once per token prefix on a fixed stretch of noise, cached,
//! and subtracted from the score of the real sound.

use super::network::{Frames, SpeechNetwork};
use super::noise_prior_cache::{NoisePrior, NoisePriorCache};
use super::tokenizer::Token;
use crate::hear::ears::SAMPLE_RATE;
use crate::hear::hear_error::HearError;

/// Length of the noise: that of a typical answer.
const NOISE_SECONDS: f32 = 1.2;
/// Root mean square of the noise, full scale 1: a quiet room after levelling.
const NOISE_LEVEL: f32 = 0.01;
/// Prefixes kept in memory before all are dropped; about 100 MB.
const MOST_PREFIXES: usize = 400_000;

/// The noise prior of a model.
pub(in crate::hear) struct Prior {
    noise: Frames,
    known: NoisePrior,
    place: Option<NoisePriorCache>,
    /// Whether it holds more than was loaded.
    fresh: bool,
}

impl Drop for Prior {
    fn drop(&mut self) {
        if let Some(place) = self.place.as_ref().filter(|_| self.fresh) {
            place.store(&self.known);
        }
    }
}

impl Prior {
    /// Encodes the noise and loads the prior cached by earlier runs.
    pub(in crate::hear) fn new(network: &mut SpeechNetwork, place: Option<NoisePriorCache>) -> Result<Self, HearError> {
        let mut state = 0x9e37_79b9_u32;
        let mut smooth = 0.0f32;
        let noise: Vec<f32> = (0..(NOISE_SECONDS * SAMPLE_RATE as f32) as usize)
            .map(|_| {
                state ^= state << 13;
                state ^= state >> 17;
                state ^= state << 5;
                let white = state as f32 / u32::MAX as f32 * 2.0 - 1.0;
                smooth = 0.7 * smooth + 0.3 * white;
                smooth * NOISE_LEVEL * 4.0
            })
            .collect();
        let known = place.as_ref().map(NoisePriorCache::load).unwrap_or_default();
        Ok(Prior { noise: network.encode(&noise)?, known, place, fresh: false })
    }

    /// Measures what is missing, so that the log probability of each wanted token after its prefix is known. All prefixes must be equally
    /// long and begin with the begin token. Returns the number of prefixes measured.
    pub(in crate::hear) fn learn<'a>(
        &mut self,
        network: &mut SpeechNetwork,
        wanted: impl Iterator<Item = (&'a [Token], Vec<Token>)>,
    ) -> Result<usize, HearError> {
        let missing: Vec<(&[Token], Vec<Token>)> = wanted
            .filter(|(prefix, tokens)| {
                self.known.get(*prefix).is_none_or(|known| tokens.iter().any(|t| !known.contains_key(t)))
            })
            .collect();
        if missing.is_empty() {
            return Ok(0);
        }
        self.fresh = true;
        if self.known.len() > MOST_PREFIXES {
            self.known.clear();
        }
        let prefixes: Vec<&[Token]> = missing.iter().map(|(prefix, _)| *prefix).collect();
        let logits = network.after(&self.noise, &prefixes)?;
        for (row, (prefix, tokens)) in missing.iter().enumerate() {
            let norm = logits.normaliser(row);
            let known = self.known.entry(prefix.to_vec()).or_default();
            known.extend(tokens.iter().map(|&t| (t, logits.row(row)[t as usize] - norm)));
        }
        Ok(missing.len())
    }

    /// Log probability of `token` after `prefix` in noise; both must have been learnt.
    pub(in crate::hear) fn of(&self, prefix: &[Token], token: Token) -> f32 {
        self.known.get(prefix).and_then(|known| known.get(&token)).copied().unwrap_or(0.0)
    }
}
