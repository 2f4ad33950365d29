//! The speech model's two networks in ONNX Runtime: the encoder turns sound into frames, and the decoder scores the next token of every row.
//!
//! Rows are hypotheses of equal length in one batch. The first call (`use_cache_branch` false, empty pasts) runs one row and yields the
//! cross-attention keys and values of the frames; they are copied once per row and never change. A row's own (self-attention) keys and
//! values are gathered from its parent at every step. The decoder's attention mask has the length of the sound in samples, not in frames.

use super::tokenizer::{BEGIN, Token};
use crate::hear::hear_error::HearError;
use crate::hear::models::Models;
use crate::hear::models::pinned;
use crate::hear::models::runtime::runtime;
use crate::hear::shape::UtteranceShape;
use ort::session::builder::GraphOptimizationLevel;
use ort::session::{InMemorySession, Session, SessionInputValue, SessionOutputs};
use ort::value::TensorRef;
use std::borrow::Cow;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

/// The decoder's file.
pub(in crate::hear) const DECODER: &str = "decoder_model_merged.ort";
/// Decoder layers.
const LAYERS: usize = 6;
/// Attention heads per layer.
const HEADS: usize = 8;
/// Size of a head.
const HEAD_SIZE: usize = 36;
/// Size of a frame.
const FRAME_SIZE: usize = HEADS * HEAD_SIZE;
/// Threads per run: a second one spins, which triples the time on a busy machine.
const THREADS: usize = 1;
/// Shortest sound in samples. The encoder fails below about 1,000 (measured).
const SHORTEST: usize = 2_000;

/// Model files read so far. They stay in memory, and the networks of all views share the same bytes.
static FILES: Mutex<BTreeMap<PathBuf, &'static [u8]>> = Mutex::new(BTreeMap::new());

fn bytes_of(path: &Path) -> std::io::Result<&'static [u8]> {
    let mut files = FILES.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(bytes) = files.get(path) {
        return Ok(bytes);
    }
    let bytes: &'static [u8] = Box::leak(std::fs::read(path)?.into_boxed_slice());
    files.insert(path.to_owned(), bytes);
    Ok(bytes)
}

/// Encoder and decoder, loaded.
pub(in crate::hear) struct SpeechNetwork {
    encoder: InMemorySession<'static>,
    decoder: InMemorySession<'static>,
}

/// An utterance encoded as frames.
pub(in crate::hear) struct Frames {
    hidden: Vec<f32>,
    count: usize,
    samples: usize,
}

/// Next-token scores of every row, not normalised.
pub(in crate::hear) struct Logits {
    data: Vec<f32>,
    size: usize,
}

/// Self-attention cache of a set of rows.
pub(in crate::hear) struct RowCache {
    rows: usize,
    length: usize,
    /// Keys and values per layer, alternating, `[rows, heads, length, head size]`.
    own: Vec<Vec<f32>>,
}

/// Cross-attention cache: keys and values of the frames, copied for up to `rows` rows.
pub(in crate::hear) struct FrameCache {
    rows: usize,
    hidden: Vec<f32>,
    mask: Vec<i64>,
    cross: Vec<Vec<f32>>,
    count: usize,
    samples: usize,
}

impl Frames {
    /// The frames as a tensor: its dimensions (one utterance, frames, frame size) and its numbers.
    pub(in crate::hear) fn as_tensor(&self) -> ([usize; 3], &[f32]) {
        ([1, self.count, FRAME_SIZE], &self.hidden)
    }

    /// The shape of the utterance, for comparison with other utterances.
    pub(in crate::hear) fn shape(&self) -> UtteranceShape {
        UtteranceShape::new(&self.hidden, FRAME_SIZE)
    }
}

impl SpeechNetwork {
    /// Loads both networks.
    pub(in crate::hear) fn load(models: &Models) -> Result<Self, HearError> {
        let environment = runtime(&models.runtime)?;
        let session = |file: &str| {
            let path = models.folder.join(file);
            pinned::check(&path)?;
            let bytes = bytes_of(&path).map_err(|e| HearError::damaged(&path, e))?;
            // Sizes change from call to call, so an arena or memory patterns would only accumulate.
            let open = || -> Result<InMemorySession<'static>, ort::Error> {
                let plain = ort::ep::CPU::default().with_arena_allocator(false).build();
                Session::builder(&environment)?
                    .with_execution_providers([plain])?
                    .with_optimization_level(GraphOptimizationLevel::All)?
                    .with_intra_threads(THREADS)?
                    .with_intra_op_spinning(false)?
                    .with_memory_pattern(false)?
                    .with_prepacking(false)?
                    .commit_from_memory_directly(bytes)
            };
            open().map_err(|e| HearError::damaged(&path, e))
        };
        Ok(SpeechNetwork { encoder: session("encoder_model.ort")?, decoder: session(DECODER)? })
    }

    /// Encodes one utterance of 16 kHz sound.
    pub(in crate::hear) fn encode(&mut self, sound: &[f32]) -> Result<Frames, HearError> {
        let mut sound = Cow::Borrowed(sound);
        if sound.len() < SHORTEST {
            sound.to_mut().resize(SHORTEST, 0.0);
        }
        let mask = vec![1i64; sound.len()];
        let shape = [1, sound.len()];
        let out = self.encoder.run(ort::inputs! {
            "input_values" => TensorRef::from_array_view((shape, &*sound))?,
            "attention_mask" => TensorRef::from_array_view((shape, &*mask))?,
        })?;
        let (_, hidden) = out[0].try_extract_tensor::<f32>()?;
        Ok(Frames { hidden: hidden.to_vec(), count: hidden.len() / FRAME_SIZE, samples: sound.len() })
    }

    /// The first step, with one empty row.
    pub(in crate::hear) fn begin(&mut self, frames: &Frames) -> Result<(Logits, RowCache, FrameCache), HearError> {
        let (logits, tensors) = self.uncached(frames, &[&[BEGIN]])?;
        let mut own = Vec::new();
        let mut cross = Vec::new();
        for (i, tensor) in tensors.into_iter().enumerate() {
            if i % 4 < 2 { own.push(tensor) } else { cross.push(tensor) }
        }
        let shared = FrameCache {
            rows: 1,
            hidden: frames.hidden.clone(),
            mask: vec![1; frames.samples],
            cross,
            count: frames.count,
            samples: frames.samples,
        };
        Ok((logits, RowCache { rows: 1, length: 1, own }, shared))
    }

    /// Next-token scores after whole prefixes, which must be equally long and begin with [`BEGIN`].
    pub(in crate::hear) fn after(&mut self, frames: &Frames, prefixes: &[&[Token]]) -> Result<Logits, HearError> {
        Ok(self.uncached(frames, prefixes)?.0)
    }

    /// One run without cached rows: the scores of the last position and, for a single first token, all keys and values in the decoder's order.
    fn uncached(&mut self, frames: &Frames, prefixes: &[&[Token]]) -> Result<(Logits, Vec<Vec<f32>>), HearError> {
        let rows = prefixes.len();
        let length = prefixes.first().map_or(0, |p| p.len());
        let ids: Vec<i64> = prefixes.iter().flat_map(|p| p.iter().map(|&t| i64::from(t))).collect();
        let hidden = frames.hidden.repeat(rows);
        let mask = vec![1i64; frames.samples * rows];
        let empty: [f32; 0] = [];
        let mut inputs = fixed_inputs(&ids, [rows, length], &hidden, frames.count, &mask, frames.samples)?;
        for layer in 0..LAYERS {
            for part in PARTS {
                let past = TensorRef::from_array_view(([rows, HEADS, 0, HEAD_SIZE], &empty[..]))?;
                inputs.push((format!("past_key_values.{layer}.{part}").into(), past.into()));
            }
        }
        inputs.push(("use_cache_branch".into(), TensorRef::from_array_view(([1usize], &[false][..]))?.into()));
        let out = self.decoder.run(inputs)?;
        let logits = last_logits(&out, rows, length)?;
        let mut tensors = Vec::new();
        if length == 1 && rows == 1 {
            for layer in 0..LAYERS {
                for part in PARTS {
                    tensors.push(out[format!("present.{layer}.{part}")].try_extract_tensor::<f32>()?.1.to_vec());
                }
            }
        }
        Ok((logits, tensors))
    }

    /// Extends each row by a token: row i continues row `parents[i]` of `memory` with `tokens[i]`.
    pub(in crate::hear) fn step(
        &mut self,
        shared: &mut FrameCache,
        memory: &RowCache,
        parents: &[usize],
        tokens: &[Token],
    ) -> Result<(Logits, RowCache), HearError> {
        let rows = parents.len();
        shared.reach(rows);
        let own = memory.gather(parents);
        let ids: Vec<i64> = tokens.iter().map(|&t| i64::from(t)).collect();
        let row = HEADS * shared.count * HEAD_SIZE;
        let mut inputs = fixed_inputs(
            &ids,
            [rows, 1],
            &shared.hidden[..rows * shared.count * FRAME_SIZE],
            shared.count,
            &shared.mask[..rows * shared.samples],
            shared.samples,
        )?;
        for layer in 0..LAYERS {
            for (i, part) in PARTS.iter().enumerate() {
                let at = layer * 2 + i % 2;
                let past = if i < 2 {
                    TensorRef::from_array_view(([rows, HEADS, memory.length, HEAD_SIZE], &own[at][..]))?
                } else {
                    TensorRef::from_array_view((
                        [rows, HEADS, shared.count, HEAD_SIZE],
                        &shared.cross[at][..rows * row],
                    ))?
                };
                inputs.push((format!("past_key_values.{layer}.{part}").into(), past.into()));
            }
        }
        inputs.push(("use_cache_branch".into(), TensorRef::from_array_view(([1usize], &[true][..]))?.into()));
        let out = self.decoder.run(inputs)?;
        let logits = last_logits(&out, rows, 1)?;
        let mut next = Vec::with_capacity(LAYERS * 2);
        for layer in 0..LAYERS {
            for part in &PARTS[..2] {
                next.push(out[format!("present.{layer}.{part}")].try_extract_tensor::<f32>()?.1.to_vec());
            }
        }
        Ok((logits, RowCache { rows, length: memory.length + 1, own: next }))
    }
}

/// The keys and values of one layer, in the decoder's order.
const PARTS: [&str; 4] = ["decoder.key", "decoder.value", "encoder.key", "encoder.value"];

type Inputs<'v> = Vec<(Cow<'v, str>, SessionInputValue<'v>)>;

fn fixed_inputs<'v>(
    ids: &'v [i64],
    [rows, length]: [usize; 2],
    hidden: &'v [f32],
    frames: usize,
    mask: &'v [i64],
    samples: usize,
) -> Result<Inputs<'v>, HearError> {
    Ok(ort::inputs! {
        "input_ids" => TensorRef::from_array_view(([rows, length], ids))?,
        "encoder_hidden_states" => TensorRef::from_array_view(([rows, frames, FRAME_SIZE], hidden))?,
        "encoder_attention_mask" => TensorRef::from_array_view(([rows, samples], mask))?,
    })
}

fn last_logits(out: &SessionOutputs, rows: usize, length: usize) -> Result<Logits, HearError> {
    let (_, all) = out["logits"].try_extract_tensor::<f32>()?;
    let size = all.len() / (rows * length).max(1);
    let mut data = Vec::with_capacity(rows * size);
    for row in 0..rows {
        let from = (row * length + length - 1) * size;
        data.extend_from_slice(&all[from..from + size]);
    }
    Ok(Logits { data, size })
}

impl FrameCache {
    /// Extends the cache to `rows` rows.
    fn reach(&mut self, rows: usize) {
        if rows <= self.rows {
            return;
        }
        let more = rows - self.rows;
        let spread = |data: &mut Vec<f32>, row: usize| {
            for _ in 0..more {
                data.extend_from_within(..row);
            }
        };
        spread(&mut self.hidden, self.count * FRAME_SIZE);
        for tensor in &mut self.cross {
            spread(tensor, HEADS * self.count * HEAD_SIZE);
        }
        self.mask.resize(rows * self.samples, 1);
        self.rows = rows;
    }
}

impl RowCache {
    fn gather(&self, parents: &[usize]) -> Vec<Cow<'_, [f32]>> {
        let same = parents.len() == self.rows && parents.iter().enumerate().all(|(i, &p)| i == p);
        let row = HEADS * self.length * HEAD_SIZE;
        self.own
            .iter()
            .map(|tensor| {
                if same {
                    return Cow::Borrowed(&tensor[..]);
                }
                let mut out = Vec::with_capacity(parents.len() * row);
                for &p in parents {
                    out.extend_from_slice(&tensor[p * row..(p + 1) * row]);
                }
                Cow::Owned(out)
            })
            .collect()
    }
}

impl Logits {
    /// Scores of one row, not normalised.
    pub(in crate::hear) fn row(&self, row: usize) -> &[f32] {
        &self.data[row * self.size..(row + 1) * self.size]
    }

    /// Logarithm of the softmax denominator: subtract it from a row's scores to get log probabilities.
    pub(in crate::hear) fn normaliser(&self, row: usize) -> f32 {
        /// Terms this far below the highest are skipped: all 32,768 together change the sum by less than 1e-3.
        const NEGLIGIBLE: f32 = 18.0;
        let row = self.row(row);
        let top = row.iter().copied().fold(f32::NEG_INFINITY, f32::max);
        let sum: f32 = row.iter().filter(|&&x| x > top - NEGLIGIBLE).map(|&x| (x - top).exp()).sum();
        top + sum.ln()
    }

    /// The likeliest token of a row and its score, not normalised.
    pub(in crate::hear) fn likeliest(&self, row: usize) -> (Token, f32) {
        let best = self.row(row).iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1));
        best.map_or((super::tokenizer::END, 0.0), |(token, &score)| (token as Token, score))
    }
}
