//! From the search's scores to calibrated probabilities.
//!
//! Two logistic models over the same features: is this utterance a stranger to the grammar, and, if it is not, is the best
//! answer the right one. Coefficients are fitted by `tests/measure/hearing.rs fit` on development voices and noises.

use super::expand::{Expanded, Owner, Spelling};
use super::features::FEATURES;
use super::fitted::{MEAN, RIGHT, SPREAD, STRANGER};
use super::search::{Candidate, SearchResult};
use crate::phrase::{Answer, Hypotheses, Hypothesis};
use std::collections::HashMap;

/// Answers handed on at most.
const MOST_ANSWERS: usize = 5;
/// An utterance, with the silence around it, is no longer than this when its words are said slowly: so many seconds and so many more a
/// letter (usual speech takes 0.07). Longer ones are several sentences run together. Common practice, no source.
const LONGEST_SECONDS: f32 = 1.2;
const LONGEST_SECONDS_PER_LETTER: f32 = 0.15;
/// Differences in score beyond this say no more.
const WIDEST: f32 = 25.0;

/// One spelling that the search followed to its end, for measuring.
#[derive(Debug, Clone)]
pub struct Spelled {
    /// Its answer, by part of the grammar and number there; none for a filler.
    pub owner: Option<(u8, u32)>,
    /// Its plain words.
    pub text: String,
    /// Log probability given the sound.
    pub plain: f32,
    /// The search's score, the noise preference taken off.
    pub search: f32,
    /// Tokens, the end among them.
    pub tokens: usize,
    /// What the letters say of it, at most about 0.
    pub letters: f32,
    /// The search gave it up.
    pub is_back: bool,
}

/// What hypotheses were judged by, for measuring and fitting.
#[derive(Debug, Clone, Default)]
pub struct Evidence {
    /// See [`FEATURE_NAMES`](super::features::FEATURE_NAMES); none when no spelling of the grammar was reached.
    pub features: Option<[f32; FEATURES]>,
    /// Log probability of the free transcript.
    pub free_plain: f32,
    /// Spellings, best first.
    pub ended: Vec<Spelled>,
}

/// Scores by answer, best first, and the features of the whole.
pub struct ScoredAnswers {
    /// Distinct answers: summed score, best spelling.
    pub answers: Vec<(f32, Spelling)>,
    /// See [`FEATURE_NAMES`].
    pub features: [f32; FEATURES],
    /// Nobody takes so long to say the best answer.
    too_long: bool,
}

/// log(exp(a) + exp(b)) without overflow.
fn log_add(a: f32, b: f32) -> f32 {
    let (high, low) = if a > b { (a, b) } else { (b, a) };
    if low == f32::NEG_INFINITY { high } else { high + (low - high).exp().ln_1p() }
}

/// Sums spellings per answer and measures the features. `None` when no spelling of the grammar was reached.
pub fn weigh(
    found: &SearchResult,
    grammar: &Expanded,
    free_words: &str,
    seconds: f32,
    snr: f32,
) -> Option<ScoredAnswers> {
    let mut sums: HashMap<Owner, (f32, usize)> = HashMap::new();
    for (i, ended) in found.ended.iter().enumerate() {
        match grammar.owner(ended.spelling) {
            None => {}
            Some(owner) => {
                let entry = sums.entry(owner).or_insert((f32::NEG_INFINITY, i));
                entry.0 = log_add(entry.0, ended.score);
                if ended.score > found.ended[entry.1].score {
                    entry.1 = i;
                }
            }
        }
    }
    let mut answers: Vec<(f32, usize)> = sums.into_values().collect();
    answers.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let &(top, best) = answers.first()?;
    let best = found.ended[best];
    let second = answers.get(1).map_or(f32::NEG_INFINITY, |a| a.0);
    // The likeliest spelling of the best answer, whatever the noise prefers.
    let owner = grammar.owner(best.spelling);
    let mine = found.ended.iter().filter(|e| grammar.owner(e.spelling) == owner);
    let (plain, tokens, spelling) = mine.fold((f32::NEG_INFINITY, 1, best.spelling), |most, e| {
        if e.plain > most.0 { (e.plain, e.tokens, e.spelling) } else { most }
    });
    let words = grammar.meaning(spelling).0;
    // A phrase of elsewhere may be a number here ("one").
    let allowed = |e: &&Candidate| grammar.owner(e.spelling).is_none() && grammar.meaning(e.spelling).0 != words;
    let filler = found.ended.iter().filter(allowed).map(|e| e.score).fold(f32::NEG_INFINITY, f32::max);
    // The same of the letters alone: how far from the likeliest letters, and how far ahead of all other words.
    let letters = |e: &Candidate| e.letters;
    let mine = found.ended.iter().filter(|e| grammar.owner(e.spelling) == owner).map(letters);
    let mine = mine.fold(f32::NEG_INFINITY, f32::max);
    let other = |e: &&Candidate| grammar.owner(e.spelling) != owner && grammar.meaning(e.spelling).0 != words;
    let others = found.ended.iter().filter(other).map(letters).fold(f32::NEG_INFINITY, f32::max);
    let features = [
        (top - second).clamp(0.0, WIDEST),
        (top - filler).clamp(-WIDEST, WIDEST),
        (plain - found.free.plain).clamp(-WIDEST, WIDEST),
        mine.clamp(-WIDEST, WIDEST),
        (mine - others).clamp(-WIDEST, WIDEST),
        (plain / tokens as f32).clamp(-8.0, 0.0),
        (top / tokens as f32).clamp(-8.0, 8.0),
        likeness(words, free_words),
        (words.len() as f32 / seconds.max(0.1)).ln(),
        snr.clamp(0.0, 50.0),
        (answers.len() as f32).ln(),
        f32::from(u8::from(found.views_agree)),
    ];
    let answers = answers.into_iter().take(MOST_ANSWERS).map(|(s, i)| (s, found.ended[i].spelling)).collect();
    let either = [best.spelling, spelling];
    let too_long = either.iter().all(|&s| is_too_long(grammar.meaning(s).0, seconds));
    Some(ScoredAnswers { answers, features, too_long })
}

/// Whether an utterance is longer than its words can take.
fn is_too_long(words: &str, seconds: f32) -> bool {
    seconds > LONGEST_SECONDS + LONGEST_SECONDS_PER_LETTER * words.len() as f32
}

/// How alike two texts are with case and punctuation aside, 0 to 1.
fn likeness(a: &str, b: &str) -> f32 {
    let plain = |s: &str| s.to_lowercase().replace(|c: char| !c.is_alphanumeric(), "");
    strsim::normalized_levenshtein(&plain(a), &plain(b)) as f32
}

/// The features as the models take them: differences of scores grow slower the larger they are.
pub fn shaped(features: &[f32; FEATURES]) -> [f32; FEATURES] {
    /// Margin, fillers, free transcript and the two of the letters.
    const DIFFERENCES: usize = 5;
    std::array::from_fn(|i| if i < DIFFERENCES { features[i].asinh() } else { features[i] })
}

/// A fitted logistic model's probability.
fn logistic(coefficients: &[f32; FEATURES + 1], features: &[f32; FEATURES]) -> f64 {
    let mut sum = coefficients[FEATURES];
    for i in 0..FEATURES {
        sum += coefficients[i] * (features[i] - MEAN[i]) / SPREAD[i];
    }
    1.0 / (1.0 + f64::from(-sum).exp())
}

/// Calibrated hypotheses.
pub fn judge(weighed: &ScoredAnswers, grammar: &Expanded, free: String) -> Hypotheses {
    let first = weighed.answers.first().and_then(|&(_, spelling)| grammar.meaning(spelling).1);
    let model = usize::from(matches!(first, Some(Answer::Reading(_))));
    let features = shaped(&weighed.features);
    let stranger = if weighed.too_long { 1.0 } else { logistic(&STRANGER[model], &features) };
    let right = logistic(&RIGHT[model], &features);
    let shares: Vec<f64> = weighed.answers.iter().map(|a| f64::from(a.0 - weighed.answers[0].0).exp()).collect();
    let rest: f64 = shares.iter().skip(1).sum::<f64>().max(1e-12);
    let mut best: Vec<Hypothesis> = Vec::new();
    for (i, (&(_, spelling), share)) in weighed.answers.iter().zip(&shares).enumerate() {
        let (words, answer) = grammar.meaning(spelling);
        let Some(answer) = answer else { continue };
        let given = if i == 0 { right } else { (1.0 - right) * share / rest };
        best.push(Hypothesis {
            answer: answer.clone(),
            words: words.to_owned(),
            probability: (1.0 - stranger) * given,
        });
    }
    let may_go_on = best.first().is_some_and(|h| grammar.goes_on(&h.words));
    Hypotheses { best, stranger, free: Some(free), may_go_on }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sums_in_the_log_domain() {
        assert!((log_add(0.0, 0.0) - 2f32.ln()).abs() < 1e-6);
        assert_eq!(log_add(f32::NEG_INFINITY, -3.0), -3.0);
        assert_eq!(log_add(-3.0, f32::NEG_INFINITY), -3.0);
    }

    #[test]
    fn a_few_words_do_not_take_many_seconds() {
        assert!(!is_too_long("lit", 1.4));
        assert!(!is_too_long("twelve point four five volts", 4.5));
        assert!(is_too_long("haven't got one", 6.0));
    }

    #[test]
    fn likeness_ignores_case_and_stops() {
        assert_eq!(likeness("light on", "Light, on."), 1.0);
        assert!(likeness("light on", "dark") < 0.3);
    }
}
