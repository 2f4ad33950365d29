//! The second opinion in the search's result: what the frames spell moves every spelling's score, and phrases that the search gave up come
//! back, so that the letters can still speak for them.

use super::expand::{Expanded, Spelling};
use super::letters::Letters;
use super::search::{Candidate, SearchResult};
use std::collections::{HashMap, HashSet};

/// What a nat of the letters is worth in nats of the search. Of 1,155 answers in development voices that the network had not met the best
/// guess was wrong 6.6 % of the time without the letters and 2.8 % with this weight; from 0.3 to 1.2 it is 3.0 to 3.3 %.
pub const WEIGHT: f32 = 0.5;
/// A phrase that the search gave up is taken to have been this far behind the best that it followed to its end; 8 and 18 are a little worse.
pub const GIVEN_UP: f32 = 12.0;

/// Fillers, and numbers, that come back at most: those whose letters are most like the likeliest ones.
const NEAREST: usize = 24;

/// Adds what the letters say, the mean of all views.
pub fn rescore_with_letters(found: &mut SearchResult, letters: &[Letters], expanded: &Expanded) {
    let mut known: HashMap<&str, f32> = HashMap::new();
    let views = letters.len().max(1) as f32;
    let mut of =
        |words| *known.entry(words).or_insert_with(|| letters.iter().map(|l| l.of(words)).sum::<f32>() / views);
    found.ended.extend(given_up(found, letters, expanded));
    for ended in &mut found.ended {
        let words = expanded.meaning(ended.spelling).0;
        ended.letters = of(words);
        ended.score += WEIGHT * ended.letters;
    }
}

/// What the search gave up and may yet have been said: every phrase of the grammar, and of fillers and numbers the nearest.
fn given_up(found: &SearchResult, letters: &[Letters], expanded: &Expanded) -> Vec<Candidate> {
    let reached: HashSet<&str> = found.ended.iter().map(|e| expanded.meaning(e.spelling).0).collect();
    let (mut out, mut fillers, mut numbers) = (Vec::new(), Vec::new(), Vec::new());
    let spelled = letters.first().map_or("", Letters::likeliest);
    for (words, spelling) in expanded.all().filter(|(words, _)| !reached.contains(words)) {
        let apart = || strsim::levenshtein(words, spelled) as f32 / words.len().max(spelled.len()).max(1) as f32;
        match spelling.0 {
            0 if expanded.owner(spelling).is_some() => out.push(spelling),
            0 => fillers.push((apart(), spelling)),
            _ => numbers.push((apart(), spelling)),
        }
    }
    for mut some in [fillers, numbers] {
        some.sort_by(|a, b| a.0.total_cmp(&b.0));
        out.extend(some.into_iter().take(NEAREST).map(|(_, spelling)| spelling));
    }
    let top = |f: &dyn Fn(&Candidate) -> f32| found.ended.iter().map(f).reduce(f32::max).unwrap_or(0.0) - GIVEN_UP;
    let (score, plain) = (top(&|e| e.score), top(&|e| e.plain));
    let ended = |spelling: Spelling| {
        let tokens = expanded.meaning(spelling).0.split(' ').count() + 2;
        Candidate { spelling, score, plain, tokens, letters: 0.0, is_back: true }
    };
    out.into_iter().map(ended).collect()
}
