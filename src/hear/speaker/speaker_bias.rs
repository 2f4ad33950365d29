//! One person's voice in the search's result: each spelling's score goes up where the sound is near to that person's takes of it
//! and down where it is far, and a phrase that the search gave up comes back when the takes speak for it.

use super::personal::PersonalVoice;
use crate::hear::decode::expand::Expanded;
use crate::hear::decode::search::{Candidate, SearchResult};
use crate::hear::shape::Shape;
use crate::phrase::Grammar;

/// What a distance is worth in nats, and the distance that says nothing. Of the weights tried on 864 utterances of six synthetic
/// development speakers (`tests/measure/enrolled.rs fit`) this was the best, the log loss falling slowly from 30 on; takes of one
/// word by one person lay below 0.26, of two words above 0.27 (99 % of each).
const WEIGHT: f32 = 60.0;
const NEUTRAL: f32 = 0.36;
/// Spellings this far behind the best are not compared at first; in nats.
const REACH: f32 = 25.0;
/// When nothing that the search found is as near as this, all phrases with takes are compared.
const CLEAR: f32 = 0.22;
/// A phrase that the search gave up is taken to have been this far behind the best; in nats. A founder's choice, not fitted: a
/// distance that is smaller by 0.2 makes up for it.
const GIVEN_UP: f32 = 12.0;

/// How far the sound is from the takes of the phrases that are likely, or of all where none of those is near.
pub fn distances(
    voice: &PersonalVoice,
    shape: &Shape,
    found: &SearchResult,
    grammar: &Grammar,
    expanded: &Expanded,
) -> Vec<(String, f32)> {
    let top = found.ended.iter().map(|e| e.score).fold(f32::NEG_INFINITY, f32::max);
    let likely = found.ended.iter().filter(|e| e.score >= top - REACH).map(|e| expanded.meaning(e.spelling).0);
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

/// Brings back the phrases among `apart` that the search gave up.
pub fn bring_back(found: &mut SearchResult, apart: &[(String, f32)], expanded: &Expanded) {
    let top = |f: &dyn Fn(&Candidate) -> f32| found.ended.iter().map(f).fold(f32::NEG_INFINITY, f32::max);
    let (score, plain) = (top(&|e| e.score), top(&|e| e.plain));
    if !score.is_finite() {
        return;
    }
    for (words, _) in apart {
        let there = found.ended.iter().any(|e| expanded.meaning(e.spelling).0 == words);
        if let Some(spelling) = expanded.spelling_of(words).filter(|_| !there) {
            let tokens = words.split(' ').count() + 2;
            found.ended.push(Candidate {
                spelling,
                score: score - GIVEN_UP,
                plain: plain - GIVEN_UP,
                tokens,
                letters: 0.0,
                is_back: true,
            });
        }
    }
}

/// Changes the scores.
pub fn bias(found: &mut SearchResult, apart: &[(String, f32)], expanded: &Expanded) {
    for ended in &mut found.ended {
        let (words, answer) = expanded.meaning(ended.spelling);
        if answer.is_some()
            && let Some((_, apart)) = apart.iter().find(|(known, _)| known == words)
        {
            ended.score += WEIGHT * (NEUTRAL - apart);
        }
    }
}
