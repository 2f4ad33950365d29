//! Views: one utterance decoded in parallel as it was said and slowed down. The views make different mistakes, so both combine make fewer.
//!
//! Each view is searched on its own, and the scores are averaged. A candidate that a view has pruned counts there as slightly worse than that
//! view's worst candidate, so that a view that went astray cannot veto. Over 2,132 development trials (ten synthetic voices, clean to 5 dB) the
//! best guess was wrong in 8.6 % with one view and in 5.7 % with two.

use super::expand::{Expanded, Owner, Spelling};
use super::letters::{Letters, Speller};
use super::network::{Frames, SpeechNetwork};
use super::prior::Prior;
use super::search::{self, Candidate, SearchResult};
use crate::hear::ears::SAMPLE_RATE;
use crate::hear::hear_error::HearError;
use crate::hear::level;
use crate::hear::models::Models;
use crate::hear::resample::resample;
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Mutex;

/// Resampling rate of each view: above [`SAMPLE_RATE`] the sound is slower and deeper. The first view is unchanged.
const VIEWS: [u32; 2] = [SAMPLE_RATE as u32, 17_400];
/// How far a pruned candidate stands behind the worst candidate of its view, in nats. 0 to 3 make no difference; 30 loses most of the gain.
const PRUNED_BEHIND: f32 = 3.0;

/// The networks, one pair per view.
pub(in crate::hear) struct Networks(Vec<(SpeechNetwork, Speller)>);

impl Networks {
    /// Loads the networks. `letters` names another letters network, for measurements.
    pub(in crate::hear) fn load(models: &Models, letters: Option<&Path>) -> Result<Self, HearError> {
        let one = |_| Ok((SpeechNetwork::load(models)?, Speller::load(&models.runtime, letters)?));
        Ok(Networks(VIEWS.iter().map(one).collect::<Result<_, HearError>>()?))
    }

    /// The network of the unchanged view.
    pub(in crate::hear) fn first(&mut self) -> &mut SpeechNetwork {
        &mut self.0[0].0
    }

    /// Searches 16 kHz sound in all views. Returns the frames of the first view, the letters of each, and the combined result.
    pub(in crate::hear) fn search(
        &mut self,
        prior: &Mutex<Prior>,
        sound: &[f32],
        pad: usize,
        grammar: &Expanded,
    ) -> Result<(Frames, Vec<Letters>, SearchResult), HearError> {
        let seconds = sound.len() as f32 / SAMPLE_RATE as f32;
        let view = |((network, speller), rate): (&mut (SpeechNetwork, Speller), u32)| {
            let frames = match rate as usize {
                SAMPLE_RATE => network.encode(&level::levelled(sound, pad))?,
                _ => network.encode(&level::levelled(&resample(sound, SAMPLE_RATE as u32, rate), pad))?,
            };
            let found = search::search(network, prior, &frames, seconds, grammar)?;
            let letters = speller.spell(&frames)?;
            Ok(((frames, letters), found))
        };
        let (seen, found): (Vec<(Frames, Letters)>, Vec<SearchResult>) =
            side_by_side(self.0.iter_mut().zip(VIEWS), view)?.into_iter().unzip();
        let (mut frames, letters): (Vec<Frames>, Vec<Letters>) = seen.into_iter().unzip();
        Ok((frames.swap_remove(0), letters, combine(found, |spelling| grammar.owner(spelling))))
    }
}

/// Averages several searches. The free transcript takes its words from the first and its log probability from the mean.
fn combine(found: Vec<SearchResult>, owner: impl Fn(Spelling) -> Option<Owner>) -> SearchResult {
    let best = |f: &SearchResult| {
        let best = f.candidates.iter().max_by(|a, b| a.score.total_cmp(&b.score));
        best.and_then(|e| owner(e.spelling))
    };
    let first = found.first().and_then(best);
    let views_agree = first.is_some() && found.iter().all(|f| best(f) == first);
    let views = found.len().max(1) as f32;
    let worst = |f: &SearchResult, of: fn(&Candidate) -> f32| {
        f.candidates.iter().map(of).fold(f32::INFINITY, f32::min) - PRUNED_BEHIND
    };
    // A view without any candidate has no say.
    let heard: Vec<&SearchResult> = found.iter().filter(|f| !f.candidates.is_empty()).collect();
    let mut sums: BTreeMap<Spelling, Candidate> = BTreeMap::new();
    for view in &heard {
        for candidate in &view.candidates {
            sums.entry(candidate.spelling).or_insert(Candidate { score: 0.0, plain: 0.0, ..*candidate });
        }
    }
    for view in &heard {
        let reached: BTreeMap<Spelling, &Candidate> = view.candidates.iter().map(|e| (e.spelling, e)).collect();
        let pruned = (worst(view, |e| e.score), worst(view, |e| e.plain));
        for (spelling, sum) in &mut sums {
            let (score, plain) = reached.get(spelling).map_or(pruned, |e| (e.score, e.plain));
            sum.score += score / heard.len() as f32;
            sum.plain += plain / heard.len() as f32;
        }
    }
    let plain = found.iter().map(|f| f.free.plain).sum::<f32>() / views;
    let candidates = sums.into_values().collect();
    let mut free = found.into_iter().next().map(|f| f.free).unwrap_or_default();
    free.plain = plain;
    SearchResult { candidates, free, views_agree }
}

/// Runs `work` on each job in parallel: the first on this thread, the others on threads of their own.
fn side_by_side<J: Send, T: Send>(
    mut jobs: impl Iterator<Item = J>,
    work: impl Fn(J) -> Result<T, HearError> + Sync,
) -> Result<Vec<T>, HearError> {
    let Some(first) = jobs.next() else { return Ok(Vec::new()) };
    std::thread::scope(|scope| {
        let work = &work;
        let others: Vec<_> = jobs.map(|job| scope.spawn(move || work(job))).collect();
        let mut out = vec![work(first)?];
        for other in others {
            out.push(other.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))?);
        }
        Ok(out)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn side_by_side_keeps_the_order_and_tells_of_an_error() {
        let squares = side_by_side(1..5, |n: i32| Ok(n * n)).expect("no error");
        assert_eq!(squares, [1, 4, 9, 16]);
        let unknown = || HearError::UnknownEngine { name: "three".into(), known: String::new() };
        assert!(side_by_side(1..5, |n: i32| if n == 3 { Err(unknown()) } else { Ok(n) }).is_err());
    }

    #[test]
    fn what_one_view_gave_up_stands_a_little_behind_its_worst() {
        let candidate = |spelling, score| Candidate {
            spelling,
            score,
            plain: score - 1.0,
            tokens: 2,
            letters: 0.0,
            is_reinstated: false,
        };
        let view = |candidates: Vec<Candidate>| SearchResult { candidates, ..SearchResult::default() };
        let owner = |(part, number): Spelling| Some((part, number));
        let both =
            vec![view(vec![candidate((0, 1), -2.0), candidate((0, 2), -4.0)]), view(vec![candidate((0, 2), -1.0)])];
        let out = combine(both, owner).candidates;
        let of = |n| out.iter().find(|e| e.spelling == (0, n)).map(|e| (e.score, e.plain));
        assert_eq!(of(1), Some(((-2.0 - 1.0 - PRUNED_BEHIND) / 2.0, (-3.0 - 2.0 - PRUNED_BEHIND) / 2.0)));
        assert_eq!(of(2), Some((-2.5, -3.5)));
        let one = combine(vec![view(vec![candidate((0, 1), -2.0)]), view(Vec::new())], owner).candidates;
        assert_eq!((one.len(), one[0].score), (1, -2.0));
    }
}
