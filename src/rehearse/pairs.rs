//! Finds pairs of phrases that were mistaken for each other, explains them by their sounds, and suggests alternatives.

use super::perform::{Outcome, Trial, fits};
use super::stage::{Stage, answer_name};
use crate::phrase::{Answer, sound};
use serde::Serialize;
use std::cmp::Reverse;
use std::collections::BTreeMap;

/// A pair is ambiguous if one phrase was the likeliest for the other in this share of its trials, and at least this often ...
const LIKELIER_SHARE: f64 = 0.25;
const LIKELIER_TIMES: usize = 2;
// ... or if it was accepted for the other at all: a wrong branch.
/// Most suggestions for a pair.
const MOST_SUGGESTIONS: usize = 2;

/// Two phrases with different meanings in the same grammar.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Pair {
    /// Whether they are too close to tell apart: exit code 1.
    pub ambiguous: bool,
    /// Steps where both are allowed.
    pub steps: Vec<String>,
    /// The spoken phrase.
    pub said: String,
    /// Its answer.
    pub answer: String,
    /// The phrase heard.
    pub heard: String,
    /// Its answer.
    pub heard_answer: String,
    /// How often the first phrase was said where both are allowed.
    pub trials: usize,
    /// How often the other was then the likeliest.
    pub likelier: usize,
    /// How often the other was accepted without a question: wrong branches.
    pub taken: usize,
    /// Distance of their sounds by rule, where 1 is one unrelated consonant.
    pub distance: f64,
    /// The sounds of the spoken phrase, in the International Phonetic Alphabet. `None` if no program is available to transcribe it.
    pub said_sounds: Option<String>,
    /// The sounds of the phrase heard.
    pub heard_sounds: Option<String>,
    /// The explanation, as a sentence.
    pub why: String,
    /// What to say instead.
    pub suggestions: Vec<Suggestion>,
}

/// Another phrase with the same answer that was recognised better.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Suggestion {
    /// The phrase.
    pub say: String,
    /// How often it was right at once.
    pub right: usize,
    /// Number of trials.
    pub trials: usize,
}

#[derive(Default)]
struct Count {
    likelier: usize,
    taken: usize,
    trials: usize,
    stages: Vec<usize>,
    heard_answer: String,
}

/// Finds the pairs in the trials, worst first. `sounds` transcribes a phrase into the phonetic alphabet.
pub fn find(stages: &[Stage], trials: &[Trial], language: &str, sounds: &dyn Fn(&str) -> Option<String>) -> Vec<Pair> {
    let mut counts: BTreeMap<(String, String, String), Count> = BTreeMap::new();
    for trial in trials {
        let (stage, said) = (&stages[trial.stage], &stages[trial.stage].lines[trial.line]);
        let resolution = stage.grammar.number.as_ref().map_or(0.0, |n| n.resolution);
        let wrong = |best: &&crate::phrase::Hypothesis| {
            let both_numbers = matches!((&best.answer, &said.answer), (Answer::Reading(_), Answer::Reading(_)));
            let note = matches!(best.answer, Answer::Note(_));
            !both_numbers && !note && !fits(&best.answer, &said.answer, resolution)
        };
        // A rejected utterance was not mistaken for anything.
        let Some(best) = trial.best.as_ref().filter(|_| trial.outcome != Outcome::Refused).filter(wrong) else {
            continue;
        };
        let key = (said.words.clone(), answer_name(&said.answer), best.words.clone());
        let count = counts.entry(key).or_default();
        count.likelier += 1;
        count.taken += usize::from(trial.outcome == Outcome::Wrong);
        count.heard_answer = answer_name(&best.answer);
        if !count.stages.contains(&trial.stage) {
            count.stages.push(trial.stage);
        }
    }
    for trial in trials {
        let said = &stages[trial.stage].lines[trial.line];
        for ((words, answer, _), count) in &mut counts {
            let here = *words == said.words && *answer == answer_name(&said.answer);
            count.trials += usize::from(here && count.stages.contains(&trial.stage));
        }
    }
    let mut pairs: Vec<Pair> = counts
        .into_iter()
        .map(|((said, answer, heard), count)| {
            let often =
                count.likelier >= LIKELIER_TIMES && count.likelier as f64 >= LIKELIER_SHARE * count.trials as f64;
            let (said_sounds, heard_sounds) = (sounds(&said), sounds(&heard));
            let suggestions = suggestions(stages, trials, &count.stages, &said, &answer);
            let mut steps: Vec<String> = count.stages.iter().flat_map(|s| stages[*s].names()).collect();
            steps.dedup();
            Pair {
                ambiguous: count.taken > 0 || often,
                why: why(&said, &heard, said_sounds.as_deref(), heard_sounds.as_deref()),
                distance: (sound::apart(&said, &heard, language) * 100.0).round() / 100.0,
                steps,
                said,
                answer,
                heard,
                heard_answer: count.heard_answer,
                trials: count.trials,
                likelier: count.likelier,
                taken: count.taken,
                said_sounds,
                heard_sounds,
                suggestions,
            }
        })
        .collect();
    pairs.sort_by_key(|pair| Reverse((pair.ambiguous, pair.taken, pair.likelier)));
    pairs
}

/// Other phrases with the same answer in the same stages that were never accepted wrongly and were right more often.
fn suggestions(stages: &[Stage], trials: &[Trial], at: &[usize], said: &str, answer: &str) -> Vec<Suggestion> {
    let mut by: BTreeMap<&str, (usize, usize, bool)> = BTreeMap::new();
    for trial in trials.iter().filter(|t| at.contains(&t.stage)) {
        let line = &stages[trial.stage].lines[trial.line];
        if answer_name(&line.answer) == answer {
            let entry = by.entry(&line.words).or_default();
            entry.0 += usize::from(trial.outcome == Outcome::Right);
            entry.1 += 1;
            entry.2 |= matches!(trial.outcome, Outcome::Wrong | Outcome::AskedWrong);
        }
    }
    let share = |(right, of, _): (usize, usize, bool)| right as f64 / of.max(1) as f64;
    let own = by.get(said).copied().map_or(0.0, share);
    let mut better: Vec<_> = by.into_iter().filter(|(w, c)| *w != said && !c.2 && share(*c) > own).collect();
    better.sort_by(|a, b| share(b.1).total_cmp(&share(a.1)));
    let suggestion = |(say, (right, trials, _)): (&str, _)| Suggestion { say: say.to_owned(), right, trials };
    better.into_iter().take(MOST_SUGGESTIONS).map(suggestion).collect()
}

/// Why two phrases are close, from their sounds, or from their letters if the sounds are unknown.
fn why(said: &str, heard: &str, said_sounds: Option<&str>, heard_sounds: Option<&str>) -> String {
    let (kind, a, b) = match (said_sounds, heard_sounds) {
        (Some(a), Some(b)) => ("sounds", plain(a), plain(b)),
        _ => ("letters", plain(said), plain(heard)),
    };
    let steps = align(&a, &b);
    let same = steps.iter().filter(|(x, y)| x == y).count();
    if same == steps.len() {
        return format!("they have the same {kind}");
    }
    let mut apart: Vec<(String, String)> = Vec::new();
    let mut running = false;
    for (x, y) in steps {
        if x == y {
            running = false;
            continue;
        }
        if !running {
            apart.push(Default::default());
        }
        running = true;
        if let Some(last) = apart.last_mut() {
            last.0.extend(x);
            last.1.extend(y);
        }
    }
    let name = |s: &str| if s.is_empty() { "nothing".to_owned() } else { s.to_owned() };
    let differ: Vec<String> = apart.iter().map(|(x, y)| format!("{} and {}", name(x), name(y))).collect();
    let of = a.len().max(b.len());
    format!("{same} of {of} {kind} are the same; they differ in {}", differ.join(", "))
}

/// The sounds one by one, without spaces, stress and length.
fn plain(sounds: &str) -> Vec<char> {
    sounds.chars().filter(|c| c.is_alphabetic() && !matches!(c, 'ˈ' | 'ˌ' | 'ː')).collect()
}

type Step = (Option<char>, Option<char>);

/// The alignment with the fewest differences (Levenshtein).
fn align(a: &[char], b: &[char]) -> Vec<Step> {
    let mut cost = vec![vec![0usize; b.len() + 1]; a.len() + 1];
    for i in 0..=a.len() {
        for j in 0..=b.len() {
            cost[i][j] = match (i, j) {
                (0, _) => j,
                (_, 0) => i,
                _ => {
                    let replaced = cost[i - 1][j - 1] + usize::from(a[i - 1] != b[j - 1]);
                    replaced.min(cost[i - 1][j] + 1).min(cost[i][j - 1] + 1)
                }
            };
        }
    }
    let (mut i, mut j) = (a.len(), b.len());
    let mut steps = Vec::new();
    while i > 0 || j > 0 {
        if i > 0 && j > 0 && cost[i][j] == cost[i - 1][j - 1] + usize::from(a[i - 1] != b[j - 1]) {
            steps.push((Some(a[i - 1]), Some(b[j - 1])));
            (i, j) = (i - 1, j - 1);
        } else if i > 0 && cost[i][j] == cost[i - 1][j] + 1 {
            steps.push((Some(a[i - 1]), None));
            i -= 1;
        } else {
            steps.push((None, Some(b[j - 1])));
            j -= 1;
        }
    }
    steps.reverse();
    steps
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::phrase::{Grammar, Hypothesis, Phrase};

    #[test]
    fn reasons_name_what_differs() {
        let said = why("light on", "light off", Some("lˈaɪt ˈɒn"), Some("lˈaɪt ˈɒf"));
        assert_eq!(said, "5 of 6 sounds are the same; they differ in n and f");
        assert_eq!(why("a", "b", Some("x"), Some("ˈx")), "they have the same sounds");
        assert_eq!(why("dim", "dime", None, None), "3 of 4 letters are the same; they differ in nothing and e");
    }

    fn stage() -> Stage {
        let phrase = |words: &str, id: &str| Phrase { words: words.into(), answer: Answer::Choice(id.into()) };
        let lines = vec![phrase("light on", "lit"), phrase("glowing", "lit"), phrase("light off", "dark")];
        Stage {
            steps: vec!["a-step".into()],
            name: "a-step".into(),
            grammar: Grammar { phrases: lines.clone(), ..Grammar::default() },
            high: Vec::new(),
            lines,
        }
    }

    fn trial(line: usize, outcome: Outcome, heard: usize) -> Trial {
        let Phrase { words, answer } = stage().lines[heard].clone();
        Trial { stage: 0, line, level: 0, outcome, best: Some(Hypothesis { answer, words, probability: 0.9 }) }
    }

    #[test]
    fn one_wrong_branch_makes_a_pair_ambiguous_and_a_better_synonym_is_suggested() {
        let trials = [
            trial(0, Outcome::Wrong, 2),
            trial(0, Outcome::Right, 0),
            trial(0, Outcome::Refused, 2),
            trial(1, Outcome::Right, 1),
            trial(2, Outcome::Right, 2),
        ];
        let pairs = find(&[stage()], &trials, "en", &|_| None);
        assert_eq!(pairs.len(), 1);
        let pair = &pairs[0];
        assert!(pair.ambiguous);
        assert_eq!((pair.said.as_str(), pair.heard.as_str(), pair.taken, pair.trials), ("light on", "light off", 1, 3));
        assert_eq!(pair.suggestions, [Suggestion { say: "glowing".into(), right: 1, trials: 1 }]);
    }

    #[test]
    fn a_rare_question_is_no_ambiguity() {
        let mut trials = vec![trial(0, Outcome::AskedWrong, 2)];
        trials.extend((0..7).map(|_| trial(0, Outcome::Right, 0)));
        assert!(!find(&[stage()], &trials, "en", &|_| None)[0].ambiguous);
        trials.extend([trial(0, Outcome::AskedWrong, 2), trial(0, Outcome::AskedWrong, 2)]);
        assert!(find(&[stage()], &trials, "en", &|_| None)[0].ambiguous);
    }
}
