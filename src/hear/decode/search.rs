//! Beam search: which spellings of a grammar the sound supports, and what the model transcribes without a grammar.
//!
//! All rows advance by one token per step, so they stay equally long and comparable. A row's score is the sum of
//! log p(token | sound) - w log p(token | noise). The free transcript is one more row of the same batch.

use super::expand::{Expanded, GrammarPart, Spelling};
use super::network::{Frames, SpeechNetwork};
use super::prior::Prior;
use super::tokenizer::{BEGIN, END, Token};
use super::trie::{Node, ROOT};
use crate::hear::hear_error::HearError;
use std::sync::{Mutex, PoisonError};

/// Weight w of the noise prior (best on the development voices).
pub(in crate::hear) const PRIOR_WEIGHT: f32 = 0.7;
/// Beam width. Of 324 noisy development phrases, a beam of 8 finds 310 and a beam of 16 finds 316; 12 is a compromise in time.
const BEAM: usize = 12;
/// Pruning: a row this far behind the best of its step is dropped, by score and by log probability given the sound. The second limit leaves
/// two to four rows on clean speech.
const HOPELESS: f32 = 22.0;
const UNLIKELY: f32 = 16.0;
/// Most tokens of a phrase or number.
const MOST_STEPS: usize = 40;
/// Most tokens per second of fast speech, for the free transcript; beyond it the model repeats itself.
const TOKENS_PER_SECOND: f32 = 7.0;

/// A spelling that the search followed to its end, or that was reinstated later.
#[derive(Debug, Clone, Copy)]
pub(in crate::hear) struct Candidate {
    /// The spelling.
    pub spelling: Spelling,
    /// Score: log probability less the weighted noise prior.
    pub score: f32,
    /// Log probability given the sound.
    pub plain: f32,
    /// Number of tokens, including the end token.
    pub tokens: usize,
    /// Score from the letters, at most about 0.
    pub letters: f32,
    /// The search pruned it, and it was reinstated for rescoring.
    pub is_reinstated: bool,
}

/// The transcript without a grammar.
#[derive(Debug, Clone, Default)]
pub(in crate::hear) struct Free {
    /// Tokens without begin and end.
    pub tokens: Vec<Token>,
    /// Log probability given the sound.
    pub plain: f32,
}

/// Result of one search.
#[derive(Debug, Clone, Default)]
pub(in crate::hear) struct SearchResult {
    /// Candidates in no particular order.
    pub candidates: Vec<Candidate>,
    /// The free transcript.
    pub free: Free,
    /// Whether the best answer of every view is the same.
    pub views_agree: bool,
}

struct Row {
    part: u8,
    node: Node,
    /// Tokens so far, including the begin token.
    prefix: Vec<Token>,
    score: f32,
    plain: f32,
    /// Its index in the batch.
    at: usize,
}

/// Most tokens of a free transcript of this length.
fn free_limit(seconds: f32) -> usize {
    (seconds * TOKENS_PER_SECOND) as usize + 4
}

/// Searches a grammar for one utterance.
pub(in crate::hear) fn search(
    network: &mut SpeechNetwork,
    prior: &Mutex<Prior>,
    frames: &Frames,
    seconds: f32,
    grammar: &Expanded,
) -> Result<SearchResult, HearError> {
    let trie = |part: u8| &grammar.parts[part as usize].trie;
    let (mut logits, mut memory, mut shared) = network.begin(frames)?;
    let root = |part: usize| Row { part: part as u8, node: ROOT, prefix: vec![BEGIN], score: 0.0, plain: 0.0, at: 0 };
    let mut rows: Vec<Row> = (0..grammar.parts.len()).map(root).collect();
    let mut free_at = Some(0);
    let mut found = SearchResult::default();
    let limit = free_limit(seconds);
    for _ in 0..MOST_STEPS.max(limit) {
        let mut prior = prior.lock().unwrap_or_else(PoisonError::into_inner);
        prior.learn(network, rows.iter().map(|row| (&row.prefix[..], trie(row.part).next_tokens(row.node))))?;
        let mut next: Vec<(usize, Token, Node, f32, f32)> = Vec::new();
        for (i, row) in rows.iter().enumerate() {
            let scores = logits.row(row.at);
            let norm = logits.normaliser(row.at);
            let gain = |token: Token| {
                let plain = scores[token as usize] - norm;
                (row.score + plain - PRIOR_WEIGHT * prior.of(&row.prefix, token), row.plain + plain)
            };
            let trie = trie(row.part);
            if !trie.ends(row.node).is_empty() {
                let (score, plain) = gain(END);
                let tokens = row.prefix.len();
                found.candidates.extend(trie.ends(row.node).iter().map(|&spelling| Candidate {
                    spelling: (row.part, spelling),
                    score,
                    plain,
                    tokens,
                    letters: 0.0,
                    is_reinstated: false,
                }));
            }
            next.extend(trie.children(row.node).iter().map(|&(token, node)| {
                let (score, plain) = gain(token);
                (i, token, node, score, plain)
            }));
        }
        drop(prior);
        next.sort_unstable_by(|a, b| b.3.total_cmp(&a.3));
        let floor = next.first().map_or(0.0, |best| best.3 - HOPELESS);
        let likeliest = next.iter().map(|n| n.4).fold(f32::NEG_INFINITY, f32::max);
        next.retain(|row| row.3 >= floor && row.4 >= likeliest - UNLIKELY);
        next.truncate(BEAM);

        let mut parents: Vec<usize> = next.iter().map(|n| rows[n.0].at).collect();
        let mut tokens: Vec<Token> = next.iter().map(|n| n.1).collect();
        if let Some(at) = free_at {
            let (token, score) = logits.likeliest(at);
            found.free.plain += score - logits.normaliser(at);
            free_at = None;
            if token != END && found.free.tokens.len() < limit {
                found.free.tokens.push(token);
                let same = next.iter().position(|n| rows[n.0].at == at && n.1 == token);
                free_at = Some(same.unwrap_or_else(|| {
                    parents.push(at);
                    tokens.push(token);
                    parents.len() - 1
                }));
            }
        }
        if parents.is_empty() {
            break;
        }
        rows = next
            .into_iter()
            .enumerate()
            .map(|(at, (i, token, node, score, plain))| {
                let mut prefix = rows[i].prefix.clone();
                prefix.push(token);
                Row { part: rows[i].part, node, prefix, score, plain, at }
            })
            .collect();
        (logits, memory) = network.step(&mut shared, &memory, &parents, &tokens)?;
    }
    Ok(found)
}

/// Transcribes without a grammar.
pub(in crate::hear) fn free(network: &mut SpeechNetwork, frames: &Frames, seconds: f32) -> Result<Free, HearError> {
    let (mut logits, mut memory, mut shared) = network.begin(frames)?;
    let mut out = Free::default();
    loop {
        let (token, score) = logits.likeliest(0);
        out.plain += score - logits.normaliser(0);
        if token == END || out.tokens.len() >= free_limit(seconds) {
            return Ok(out);
        }
        out.tokens.push(token);
        (logits, memory) = network.step(&mut shared, &memory, &[0], &[token])?;
    }
}

/// Measures the noise prior for the first prefixes of a part, breadth first, at most `most` of them.
pub(in crate::hear) fn prepare(
    network: &mut SpeechNetwork,
    prior: &mut Prior,
    part: &GrammarPart,
    most: usize,
) -> Result<(), HearError> {
    let trie = &part.trie;
    let mut level = vec![(ROOT, vec![BEGIN])];
    let mut measured = 0;
    while !level.is_empty() && measured < most {
        for some in level.chunks(BEAM) {
            measured +=
                prior.learn(network, some.iter().map(|(node, prefix)| (&prefix[..], trie.next_tokens(*node))))?;
            if measured >= most {
                return Ok(());
            }
        }
        let below = level.iter().flat_map(|(node, prefix)| {
            trie.children(*node).iter().map(|&(token, child)| (child, [&prefix[..], &[token]].concat()))
        });
        level = below.collect();
    }
    Ok(())
}
