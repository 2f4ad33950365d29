//! Calibration: turns the search's scores into probabilities.
//!
//! Two logistic models share the same features. One estimates whether the utterance is outside the grammar (a stranger), the other whether the
//! best answer is right if it is not. `tests/measure/hearing.rs fit` fits the coefficients on development voices and noises.

use super::expand::{Expanded, Owner, Spelling};
use super::features::FEATURES;
use super::fitted::{MEAN, RIGHT, SPREAD, STRANGER};
use super::search::{Candidate, SearchResult};
use crate::phrase::{Answer, Hypotheses, Hypothesis};
use std::collections::HashMap;

/// Most answers reported.
const MOST_ANSWERS: usize = 5;
/// Longest plausible utterance for its words, with the silence around it: a constant, and seconds per letter (usual speech takes 0.07). A longer
/// one is several sentences run together. Common practice, without a source.
const LONGEST_SECONDS: f32 = 1.2;
const LONGEST_SECONDS_PER_LETTER: f32 = 0.15;
/// Differences in score are clamped to this.
const WIDEST: f32 = 25.0;

/// One candidate of the search, for measurements.
#[derive(Debug, Clone)]
pub struct Spelled {
    /// Its answer: the part of the grammar and the index there; none for a filler.
    pub owner: Option<(u8, u32)>,
    /// Its words.
    pub text: String,
    /// Log probability given the sound.
    pub plain: f32,
    /// The search's score, less the noise prior.
    pub search: f32,
    /// Number of tokens, including the end token.
    pub tokens: usize,
    /// Score from the letters, at most about 0.
    pub letters: f32,
    /// The search pruned it, and it was reinstated.
    pub is_reinstated: bool,
}

/// The evidence behind a set of hypotheses, for measurements and fitting.
#[derive(Debug, Clone, Default)]
pub struct DecodingEvidence {
    /// See [`FEATURE_NAMES`](crate::hear::FEATURE_NAMES); none when no spelling of the grammar was reached.
    pub features: Option<[f32; FEATURES]>,
    /// Log probability of the free transcript.
    pub free_plain: f32,
    /// Candidates, best first.
    pub candidates: Vec<Spelled>,
}

/// Answers with their scores, best first, and the features of the utterance.
pub(in crate::hear) struct ScoredAnswers {
    /// Distinct answers: summed score and best spelling.
    pub answers: Vec<(f32, Spelling)>,
    /// See [`FEATURE_NAMES`](crate::hear::FEATURE_NAMES).
    pub features: [f32; FEATURES],
    /// The utterance is too long for the best answer.
    too_long: bool,
}

/// log(exp(a) + exp(b)) without overflow.
fn log_add(a: f32, b: f32) -> f32 {
    let (high, low) = if a > b { (a, b) } else { (b, a) };
    if low == f32::NEG_INFINITY { high } else { high + (low - high).exp().ln_1p() }
}

/// Sums the spellings of each answer and computes the features. `None` if no spelling of the grammar is among the candidates.
pub(in crate::hear) fn score_answers(
    found: &SearchResult,
    grammar: &Expanded,
    free_words: &str,
    seconds: f32,
    snr: f32,
) -> Option<ScoredAnswers> {
    let mut sums: HashMap<Owner, (f32, usize)> = HashMap::new();
    for (i, candidate) in found.candidates.iter().enumerate() {
        match grammar.owner(candidate.spelling) {
            None => {}
            Some(owner) => {
                let entry = sums.entry(owner).or_insert((f32::NEG_INFINITY, i));
                entry.0 = log_add(entry.0, candidate.score);
                if candidate.score > found.candidates[entry.1].score {
                    entry.1 = i;
                }
            }
        }
    }
    let mut answers: Vec<(f32, usize)> = sums.into_values().collect();
    answers.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let &(top, best) = answers.first()?;
    let best = found.candidates[best];
    let second = answers.get(1).map_or(f32::NEG_INFINITY, |a| a.0);
    // The likeliest spelling of the best answer, regardless of the noise prior.
    let owner = grammar.owner(best.spelling);
    let mine = found.candidates.iter().filter(|e| grammar.owner(e.spelling) == owner);
    let (plain, tokens, spelling) = mine.fold((f32::NEG_INFINITY, 1, best.spelling), |most, e| {
        if e.plain > most.0 { (e.plain, e.tokens, e.spelling) } else { most }
    });
    let words = grammar.meaning(spelling).0;
    // A filler may be a number in this grammar ("one").
    let allowed = |e: &&Candidate| grammar.owner(e.spelling).is_none() && grammar.meaning(e.spelling).0 != words;
    let filler = found.candidates.iter().filter(allowed).map(|e| e.score).fold(f32::NEG_INFINITY, f32::max);
    // By letters alone: the distance from the likeliest letters, and the lead over all other words.
    let letters = |e: &Candidate| e.letters;
    let mine = found.candidates.iter().filter(|e| grammar.owner(e.spelling) == owner).map(letters);
    let mine = mine.fold(f32::NEG_INFINITY, f32::max);
    let other = |e: &&Candidate| grammar.owner(e.spelling) != owner && grammar.meaning(e.spelling).0 != words;
    let others = found.candidates.iter().filter(other).map(letters).fold(f32::NEG_INFINITY, f32::max);
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
    let answers = answers.into_iter().take(MOST_ANSWERS).map(|(s, i)| (s, found.candidates[i].spelling)).collect();
    let either = [best.spelling, spelling];
    let too_long = either.iter().all(|&s| is_too_long(grammar.meaning(s).0, seconds));
    Some(ScoredAnswers { answers, features, too_long })
}

/// Whether an utterance is longer than its words can be.
fn is_too_long(words: &str, seconds: f32) -> bool {
    seconds > LONGEST_SECONDS + LONGEST_SECONDS_PER_LETTER * words.len() as f32
}

/// Similarity of two texts, 0 to 1, ignoring case and punctuation.
fn likeness(a: &str, b: &str) -> f32 {
    let plain = |s: &str| s.to_lowercase().replace(|c: char| !c.is_alphanumeric(), "");
    strsim::normalized_levenshtein(&plain(a), &plain(b)) as f32
}

/// The features as the models take them: differences of scores are compressed.
pub fn shaped(features: &[f32; FEATURES]) -> [f32; FEATURES] {
    /// Margin, fillers, free transcript and both letter features.
    const DIFFERENCES: usize = 5;
    std::array::from_fn(|i| if i < DIFFERENCES { features[i].asinh() } else { features[i] })
}

/// Probability from a fitted logistic model.
fn logistic(coefficients: &[f32; FEATURES + 1], features: &[f32; FEATURES]) -> f64 {
    let mut sum = coefficients[FEATURES];
    for i in 0..FEATURES {
        sum += coefficients[i] * (features[i] - MEAN[i]) / SPREAD[i];
    }
    1.0 / (1.0 + f64::from(-sum).exp())
}

/// Calibrates the scored answers into hypotheses.
pub(in crate::hear) fn calibrate(scored: &ScoredAnswers, grammar: &Expanded, free: String) -> Hypotheses {
    let first = scored.answers.first().and_then(|&(_, spelling)| grammar.meaning(spelling).1);
    let model = usize::from(matches!(first, Some(Answer::Reading(_))));
    let features = shaped(&scored.features);
    let stranger = if scored.too_long { 1.0 } else { logistic(&STRANGER[model], &features) };
    let right = logistic(&RIGHT[model], &features);
    let shares: Vec<f64> = scored.answers.iter().map(|a| f64::from(a.0 - scored.answers[0].0).exp()).collect();
    let rest: f64 = shares.iter().skip(1).sum::<f64>().max(1e-12);
    let mut best: Vec<Hypothesis> = Vec::new();
    for (i, (&(_, spelling), share)) in scored.answers.iter().zip(&shares).enumerate() {
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
