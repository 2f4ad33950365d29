//! Letters: a small network of our own spells the encoder's frames, as a second opinion on the words.
//!
//! The network (`models/letters-en.onnx`, a million parameters, trained by `tests/measure/letters/train.py` on synthetic development voices)
//! gives each frame a probability for every letter, the space, the apostrophe and "none". The likelihood of a text is the sum over all
//! alignments of its letters with the frames (connectionist temporal classification, Graves and others 2006). The network sees the same
//! frames as the decoder but makes other mistakes: it has no language model, and it hears short words.

use super::network::Frames;
use crate::hear::hear_error::HearError;
use crate::hear::models::runtime::open_small;
use ort::session::Session;
use ort::value::TensorRef;
use std::path::Path;

/// The network, embedded in the program.
const NETWORK: &[u8] = include_bytes!("../../../models/letters-en.onnx");
/// Symbols other than "none".
const SYMBOLS: &str = " 'abcdefghijklmnopqrstuvwxyz";
/// Number of symbols with "none", which is the first.
const COUNT: usize = SYMBOLS.len() + 1;
/// Share of each frame's probability that is spread evenly, so that one confident wrong frame cannot veto a text. Chosen, not fitted.
const SPREAD: f32 = 0.01;

/// The loaded network.
pub(in crate::hear) struct Speller(Session);

/// Letter probabilities of one utterance, frame by frame.
pub(in crate::hear) struct Letters {
    /// `[frames, COUNT]`.
    shares: Vec<f32>,
    /// The likeliest letter of each frame, collapsed.
    likeliest: String,
    /// Log probability of those letters.
    free: f32,
}

impl Speller {
    /// Loads the shipped network, or for measurements another one of the same layout. `library` is the runtime's file.
    pub(in crate::hear) fn load(library: &Path, other: Option<&Path>) -> Result<Self, HearError> {
        let place = other.unwrap_or(Path::new("models/letters-en.onnx"));
        let read = other.map(std::fs::read).transpose().map_err(|e| HearError::damaged(place, e))?;
        Ok(Speller(open_small(library, place, read.as_deref().unwrap_or(NETWORK))?))
    }

    /// Spells the frames.
    pub(in crate::hear) fn spell(&mut self, frames: &Frames) -> Result<Letters, HearError> {
        let (shape, hidden) = frames.as_tensor();
        let out = self.0.run(ort::inputs! { "frames" => TensorRef::from_array_view((shape, hidden))? })?;
        let (_, logs) = out[0].try_extract_tensor::<f32>()?;
        Ok(Letters::new(logs))
    }
}

/// Indices of the symbols in `words`, without anything that is not a symbol. "None" is 0.
fn places(words: &str) -> Vec<usize> {
    words.chars().flat_map(char::to_lowercase).filter_map(|c| SYMBOLS.find(c)).map(|at| at + 1).collect()
}

impl Letters {
    /// Takes log probabilities, frame by frame.
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

    /// The spelling without a grammar; seldom whole words.
    pub(in crate::hear) fn likeliest(&self) -> &str {
        &self.likeliest
    }

    /// Log probability of the words relative to that of the likeliest letters; hardly ever above 0.
    pub(in crate::hear) fn of(&self, words: &str) -> f32 {
        self.forward(&places(words)) - self.free
    }

    /// Forward algorithm: sums over all alignments of the symbols with the frames, rescaled at every frame.
    fn forward(&self, symbols: &[usize]) -> f32 {
        let states = 2 * symbols.len() + 1;
        let symbol = |state: usize| if state.is_multiple_of(2) { 0 } else { symbols[state / 2] };
        // Two different symbols may follow each other without "none" between them; equal ones may not.
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
        // With too few frames for the letters the result is very low but finite: infinity would spoil sums.
        const FARTHEST: f32 = -1e4;
        (log + last.ln()).max(FARTHEST)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Adds up every alignment one by one.
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
