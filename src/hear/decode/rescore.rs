//! Rescoring with letters: adds the letters' score to every candidate, and first reinstates pruned phrases so that the letters can support
//! them.

use super::expand::{Expanded, Spelling};
use super::letters::Letters;
use super::search::{Candidate, SearchResult};
use std::collections::{HashMap, HashSet};

/// Weight of the letters' log probability in the score. Of 1,155 answers in development voices new to the network, the best guess was wrong
/// for 6.6 % without the letters and for 2.8 % with this weight; weights of 0.3 to 1.2 give 3.0 to 3.3 %.
pub(in crate::hear) const WEIGHT: f32 = 0.5;
/// A pruned phrase is scored this far behind the best candidate, in nats; 8 and 18 are slightly worse.
pub(in crate::hear) const PRUNED_BEHIND: f32 = 12.0;

/// Most fillers reinstated, and most numbers: those closest to the likeliest letters.
const NEAREST: usize = 24;

/// Adds the letters' score, averaged over the views.
pub(in crate::hear) fn rescore_with_letters(found: &mut SearchResult, letters: &[Letters], expanded: &Expanded) {
    let mut known: HashMap<&str, f32> = HashMap::new();
    let views = letters.len().max(1) as f32;
    let mut of =
        |words| *known.entry(words).or_insert_with(|| letters.iter().map(|l| l.of(words)).sum::<f32>() / views);
    found.candidates.extend(pruned(found, letters, expanded));
    for candidate in &mut found.candidates {
        let words = expanded.meaning(candidate.spelling).0;
        candidate.letters = of(words);
        candidate.score += WEIGHT * candidate.letters;
    }
}

/// Pruned spellings worth another look: every phrase of the grammar, and the closest fillers and numbers.
fn pruned(found: &SearchResult, letters: &[Letters], expanded: &Expanded) -> Vec<Candidate> {
    let reached: HashSet<&str> = found.candidates.iter().map(|e| expanded.meaning(e.spelling).0).collect();
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
    let top =
        |f: &dyn Fn(&Candidate) -> f32| found.candidates.iter().map(f).reduce(f32::max).unwrap_or(0.0) - PRUNED_BEHIND;
    let (score, plain) = (top(&|e| e.score), top(&|e| e.plain));
    let candidate = |spelling: Spelling| {
        let tokens = expanded.meaning(spelling).0.split(' ').count() + 2;
        Candidate { spelling, score, plain, tokens, letters: 0.0, is_reinstated: true }
    };
    out.into_iter().map(candidate).collect()
}
