//! Speaker bias: raises the score of a candidate whose takes sound like the utterance, lowers it if they do not, and reinstates a pruned
//! phrase if its takes are close.

use super::personal::PersonalVoice;
use crate::hear::decode::expand::Expanded;
use crate::hear::decode::search::{Candidate, SearchResult};
use crate::hear::shape::UtteranceShape;
use crate::phrase::Grammar;

/// Weight of a distance in nats, and the neutral distance. This weight gave the lowest log loss of those tried on 864 utterances of six
/// synthetic development speakers (`tests/measure/enrolled.rs fit`); from 30 on the loss falls slowly. Distances between one person's takes of
/// one word are below 0.26, between those of two words above 0.27 (99 % of each).
const WEIGHT: f32 = 60.0;
const NEUTRAL: f32 = 0.36;
/// Candidates this many nats behind the best are not compared at first.
const REACH: f32 = 25.0;
/// If no candidate is this close, all phrases with takes are compared.
const CLEAR: f32 = 0.22;
/// A pruned phrase is scored this many nats behind the best candidate. Chosen, not fitted: a distance smaller by 0.2 makes up for it.
const PRUNED_BEHIND: f32 = 12.0;

/// Distances of the sound from the takes of the likely phrases, or of all phrases if none of those is close.
pub(in crate::hear) fn distances(
    voice: &PersonalVoice,
    shape: &UtteranceShape,
    found: &SearchResult,
    grammar: &Grammar,
    expanded: &Expanded,
) -> Vec<(String, f32)> {
    let top = found.candidates.iter().map(|e| e.score).fold(f32::NEG_INFINITY, f32::max);
    let likely = found.candidates.iter().filter(|e| e.score >= top - REACH).map(|e| expanded.meaning(e.spelling).0);
    let mut all: Vec<(String, f32)> = Vec::new();
    let add = |words: &str, most: f32, all: &mut Vec<(String, f32)>| {
        if all.iter().all(|(known, _)| known != words)
            && let Some(apart) = voice.apart(shape, words).filter(|apart| *apart <= most)
        {
            all.push((words.to_owned(), apart));
        }
    };
    likely.for_each(|words| add(words, f32::INFINITY, &mut all));
    if all.iter().all(|(_, apart)| *apart > CLEAR) {
        grammar.phrases.iter().for_each(|p| add(&p.words, NEUTRAL, &mut all));
    }
    all
}

/// Reinstates the phrases in `apart` that the search pruned.
pub(in crate::hear) fn reinstate(found: &mut SearchResult, apart: &[(String, f32)], expanded: &Expanded) {
    let top = |f: &dyn Fn(&Candidate) -> f32| found.candidates.iter().map(f).fold(f32::NEG_INFINITY, f32::max);
    let (score, plain) = (top(&|e| e.score), top(&|e| e.plain));
    if !score.is_finite() {
        return;
    }
    for (words, _) in apart {
        let there = found.candidates.iter().any(|e| expanded.meaning(e.spelling).0 == words);
        if let Some(spelling) = expanded.spelling_of(words).filter(|_| !there) {
            let tokens = words.split(' ').count() + 2;
            found.candidates.push(Candidate {
                spelling,
                score: score - PRUNED_BEHIND,
                plain: plain - PRUNED_BEHIND,
                tokens,
                letters: 0.0,
                is_reinstated: true,
            });
        }
    }
}

/// Adds the bias to the scores.
pub(in crate::hear) fn add_bias(found: &mut SearchResult, apart: &[(String, f32)], expanded: &Expanded) {
    for candidate in &mut found.candidates {
        let (words, answer) = expanded.meaning(candidate.spelling);
        if answer.is_some()
            && let Some((_, apart)) = apart.iter().find(|(known, _)| known == words)
        {
            candidate.score += WEIGHT * (NEUTRAL - apart);
        }
    }
}
