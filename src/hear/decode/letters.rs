//! What the encoder's frames spell, letter by letter: a second opinion on the words, from a small network of our own.
//!
//! The network (`models/letters-en.onnx`, a million numbers, trained by `tests/measure/letters/train.py` on synthetic development voices)
//! gives every frame a probability for each letter, the blank between words, the apostrophe and "none". Of a text it says how likely
//! its letters are in this order, whatever the frames at which they fall (connectionist temporal classification, Graves and others 2006).
//! It sees the same frames as the decoder and errs elsewhere: it knows nothing of what is usually said, and hears short words.

use super::network::Frames;
use crate::hear::hear_error::HearError;
use crate::hear::models::runtime::open_small;
use ort::session::Session;
use ort::value::TensorRef;
use std::path::Path;

/// The network, in the program.
const NETWORK: &[u8] = include_bytes!("../../../models/letters-en.onnx");
/// Symbols after "none".
const SYMBOLS: &str = " 'abcdefghijklmnopqrstuvwxyz";
/// Symbols with "none", which is the first.
const COUNT: usize = SYMBOLS.len() + 1;
/// Share of every frame's probability that is spread evenly, so that one frame that is sure and wrong cannot veto. A founder's choice.
const SPREAD: f32 = 0.01;

/// The loaded network.
pub struct Speller(Session);

/// Each frame's probabilities of one utterance.
pub struct Letters {
    /// `[frames, COUNT]`.
    shares: Vec<f32>,
    /// The letters that each frame finds likeliest, run together.
    likeliest: String,
    /// Their log probability.
    free: f32,
}

impl Speller {
    /// Loads the shipped network, or another of the same shape for measuring. `library` is the runtime's file.
    pub fn load(library: &Path, other: Option<&Path>) -> Result<Self, HearError> {
        let place = other.unwrap_or(Path::new("models/letters-en.onnx"));
        let read = other.map(std::fs::read).transpose().map_err(|e| HearError::damaged(place, e))?;
        Ok(Speller(open_small(library, place, read.as_deref().unwrap_or(NETWORK))?))
    }

    /// What the frames spell.
    pub fn spell(&mut self, frames: &Frames) -> Result<Letters, HearError> {
        let (shape, hidden) = frames.as_tensor();
        let out = self.0.run(ort::inputs! { "frames" => TensorRef::from_array_view((shape, hidden))? })?;
        let (_, logs) = out[0].try_extract_tensor::<f32>()?;
        Ok(Letters::new(logs))
    }
}

/// Places of the symbols of `words`; what is no symbol is left out. "None" is 0.
fn places(words: &str) -> Vec<usize> {
    words.chars().flat_map(char::to_lowercase).filter_map(|c| SYMBOLS.find(c)).map(|at| at + 1).collect()
}

impl Letters {
    /// Of log probabilities, frame by frame.
    fn new(logs: &[f32]) -> Self {
        let shares = logs.iter().map(|x| (1.0 - SPREAD) * x.exp() + SPREAD / COUNT as f32).collect();
        let mut said = Vec::new();
        let mut before = 0;
        for frame in logs.chunks_exact(COUNT) {
            let best = (0..COUNT).max_by(|&a, &b| frame[a].total_cmp(&frame[b])).unwrap_or(0);
            if best != 0 && best != before {
                said.push(best);
            }
            before = best;
        }
        let symbol = |at: &usize| char::from(SYMBOLS.as_bytes()[at - 1]);
        let mut out = Letters { shares, likeliest: said.iter().map(symbol).collect(), free: 0.0 };
        out.free = out.forward(&said);
        out
    }

    /// What was spelled, with no grammar: seldom whole words.
    pub fn likeliest(&self) -> &str {
        &self.likeliest
    }

    /// Log probability of the words over that of the likeliest letters; hardly ever above 0.
    pub fn of(&self, words: &str) -> f32 {
        self.forward(&places(words)) - self.free
    }

    /// The forward sum over all ways to lay the symbols along the frames, scaled frame by frame.
    fn forward(&self, symbols: &[usize]) -> f32 {
        let states = 2 * symbols.len() + 1;
        let symbol = |state: usize| if state.is_multiple_of(2) { 0 } else { symbols[state / 2] };
        // A symbol may follow the one before it without "none" between them unless they are the same.
        let jumps: Vec<f32> = (0..states)
            .map(|s| f32::from(u8::from(s % 2 == 1 && s >= 3 && symbols[s / 2] != symbols[s / 2 - 1])))
            .collect();
        let mut ways = vec![0f32; states];
        let mut log = 0.0;
        for (at, frame) in self.shares.chunks_exact(COUNT).enumerate() {
            if at == 0 {
                ways[0] = frame[0];
                if states > 1 {
                    ways[1] = frame[symbol(1)];
                }
            } else {
                for s in (0..states).rev() {
                    let mut sum = ways[s];
                    if s >= 1 {
                        sum += ways[s - 1];
                    }
                    if s >= 2 {
                        sum += jumps[s] * ways[s - 2];
                    }
                    ways[s] = sum * frame[symbol(s)];
                }
            }
            let most = ways.iter().copied().fold(0.0, f32::max);
            if most <= 0.0 {
                return f32::NEG_INFINITY;
            }
            ways.iter_mut().for_each(|w| *w /= most);
            log += most.ln();
        }
        let last = ways[states - 1] + if states > 1 { ways[states - 2] } else { 0.0 };
        // Too few frames for so many letters: far away, but no infinity that would spoil sums.
        const FARTHEST: f32 = -1e4;
        (log + last.ln()).max(FARTHEST)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every way to lay symbols along frames, added up one by one.
    fn by_hand(letters: &Letters, symbols: &[usize]) -> f32 {
        let frames: Vec<&[f32]> = letters.shares.chunks_exact(COUNT).collect();
        let alphabet: Vec<usize> = std::iter::once(0).chain(symbols.iter().copied()).collect();
        let mut sum = 0.0;
        for way in 0..alphabet.len().pow(frames.len() as u32) {
            let path: Vec<usize> = (0..frames.len())
                .map(|t| way / alphabet.len().pow(t as u32) % alphabet.len())
                .map(|i| alphabet[i])
                .collect();
            let mut said = path.clone();
            said.dedup();
            said.retain(|s| *s != 0);
            // A symbol that stands twice in `alphabet` would count its path twice.
            let first = |i: usize| alphabet.iter().position(|a| *a == alphabet[i]) == Some(i);
            let counted = (0..frames.len()).all(|t| first(way / alphabet.len().pow(t as u32) % alphabet.len()));
            if counted && said == symbols {
                sum += path.iter().zip(&frames).map(|(s, f)| f[*s]).product::<f32>();
            }
        }
        sum.ln()
    }

    #[test]
    fn the_forward_sum_is_the_sum_over_all_ways() {
        let mut random = fastrand::Rng::with_seed(5);
        for _ in 0..20 {
            let logs: Vec<f32> = (0..5)
                .flat_map(|_| {
                    let some: Vec<f32> = (0..COUNT).map(|_| random.f32() * 4.0).collect();
                    let total = some.iter().map(|x| x.exp()).sum::<f32>().ln();
                    some.into_iter().map(move |x| x - total)
                })
                .collect();
            let letters = Letters::new(&logs);
            for word in ["", "a", "on", "oo", "off"] {
                let symbols = places(word);
                let (sum, wanted) = (letters.forward(&symbols), by_hand(&letters, &symbols));
                assert!((sum - wanted).abs() < 1e-3, "{word:?}: {sum} for {wanted}");
            }
        }
    }

    #[test]
    fn clear_letters_are_the_likeliest_words() {
        let mut logs = Vec::new();
        for symbol in [0, 0].into_iter().chain(places("lit").into_iter().flat_map(|s| [s, s, 0])) {
            logs.extend((0..COUNT).map(|s| if s == symbol { 0.97f32 } else { 0.03 / (COUNT - 1) as f32 }.ln()));
        }
        let letters = Letters::new(&logs);
        assert_eq!(letters.of("lit"), 0.0);
        assert!(letters.of("lit") > letters.of("list") + 2.0 && letters.of("it") < -2.0);
        let longer = "a sentence of many more letters than there are frames";
        assert!(letters.of(longer) < -1e3 && letters.of(longer).is_finite());
    }
}
