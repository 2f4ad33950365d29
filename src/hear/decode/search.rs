//! The search: which spellings of a grammar the sound supports, and what the model would write on its own.
//!
//! Rows advance by one token together, so they are always equally long and comparable. A row's score is the sum of
//! log p(token | sound) - w log p(token | noise). The free transcript rides along as one more row of the same batch.

use super::expand::{Expanded, Part, Spelling};
use super::network::{Frames, Network};
use super::prior::Prior;
use super::tokenizer::{BEGIN, END, Token};
use super::trie::{Node, ROOT};
use crate::hear::hear_error::HearError;
use std::sync::{Mutex, PoisonError};

/// Share of the noise preference that is taken off (measured best on development voices).
pub const PRIOR_WEIGHT: f32 = 0.7;
/// Rows kept at every step. Of 324 noisy development phrases 8 rows heard 310, 16 rows 316; 12 is between in time.
const BEAM: usize = 12;
/// A row this far behind the best of its step is dropped: in score, and in log probability given the sound alone. The second
/// leaves two to four rows of clean speech.
const HOPELESS: f32 = 22.0;
const UNLIKELY: f32 = 16.0;
/// No phrase and no number has more tokens.
const MOST_STEPS: usize = 40;
/// Tokens a second of fast speech has at most, for the free transcript; more is the model repeating itself.
const TOKENS_PER_SECOND: f32 = 7.0;

/// A spelling that was followed to its end.
#[derive(Debug, Clone, Copy)]
pub struct Candidate {
    /// Which spelling of the grammar.
    pub spelling: Spelling,
    /// Its score with the noise preference taken off.
    pub score: f32,
    /// Its log probability given the sound.
    pub plain: f32,
    /// Its tokens, the end among them.
    pub tokens: usize,
    /// What the letters say of it, at most about 0.
    pub letters: f32,
    /// The search gave it up; it came back for the letters' sake.
    pub is_back: bool,
}

/// What the model writes with no grammar.
#[derive(Debug, Clone, Default)]
pub struct Free {
    /// Its tokens without begin and end.
    pub tokens: Vec<Token>,
    /// Its log probability given the sound.
    pub plain: f32,
}

/// All that one search found.
#[derive(Debug, Clone, Default)]
pub struct SearchResult {
    /// Spellings in no order.
    pub ended: Vec<Candidate>,
    /// The free transcript.
    pub free: Free,
    /// Where several views were searched: whether the best of each is the same answer.
    pub views_agree: bool,
}

struct Row {
    part: u8,
    node: Node,
    /// Tokens so far, the beginning token among them.
    prefix: Vec<Token>,
    score: f32,
    plain: f32,
    /// Where it stands in the batch.
    at: usize,
}

/// Most tokens that a free transcript of this many seconds may have.
fn free_limit(seconds: f32) -> usize {
    (seconds * TOKENS_PER_SECOND) as usize + 4
}

/// Searches a grammar.
pub fn search(
    network: &mut Network,
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
                found.ended.extend(trie.ends(row.node).iter().map(|&spelling| Candidate {
                    spelling: (row.part, spelling),
                    score,
                    plain,
                    tokens,
                    letters: 0.0,
                    is_back: false,
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

/// What the model writes with no grammar.
pub fn free(network: &mut Network, frames: &Frames, seconds: f32) -> Result<Free, HearError> {
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

/// Measures the noise preference of a part's first beginnings, level by level, at most `most` of them.
pub fn prepare(network: &mut Network, prior: &mut Prior, part: &Part, most: usize) -> Result<(), HearError> {
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
