//! Which part of a procedure comes next: the one that tells most per minute.
//!
//! Left are the faults that explain all answers with the fewest slips, weighted by likelihood, and beside them something that the library does
//! not hold and that looks healthy. For every part that is not over it is known, by leading the real walker through it alone, what comes of it
//! under each fault: which conclusion, or none, and after how many minutes, changes of set-up included. What a part tells is the entropy
//! of that (Shannon, A Mathematical Theory of Communication, 1948): by so many bits less is then unknown of how the walk ends. A part that has
//! needs is taken together with those of them that are not over, and the best such chain begins: a check that tells little by itself must
//! not bar the way to a better one.

use super::covered::covered;
use super::lead::{Came, Led, lead};
use super::looked_at::{readings_used, seen_used};
use super::{Asked, OUTSIDE, Observer, ProveError};
use crate::advice::Chosen;
use crate::circuit::faults::Fault;
use crate::expression::Seen;
use crate::walk::{Crossing, Walker, World};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::{Arc, Mutex, PoisonError};

/// A part that is free is as good as one that takes this long, minutes.
const LEAST_MINUTES: f64 = 0.1;
/// More slips than this explain nothing any more.
const MOST_SLIPS: usize = 3;

/// What comes of a part under one fault.
#[derive(Debug, Clone, Default)]
struct End {
    /// The conclusion that ends the walk in it; none where the walk goes on.
    conclusion: Option<Arc<str>>,
    /// Minutes to there.
    minutes: f64,
}

/// What comes of a part under every fault, the healthy bike last.
type Foreseen = Arc<Vec<End>>;

/// Says which part comes next.
pub struct Order<'a> {
    world: &'a Arc<World>,
    faults: &'a [Fault],
    observer: &'a dyn Observer,
    /// How likely each fault is; nought for what does not harm or is not the procedure's own to find.
    weights: Vec<f64>,
    /// The weight of what the library does not hold.
    outside: f64,
    /// Each fault alone, then none.
    cases: Vec<Vec<usize>>,
    by_value: BTreeSet<String>,
    /// Names of `seen` that decide anywhere in the procedure.
    names: BTreeSet<String>,
    foreseen: Mutex<HashMap<(usize, String), Foreseen>>,
}

impl<'a> Order<'a> {
    /// The order for `world`'s main procedure and bike.
    ///
    /// # Errors
    /// What the procedure is there to find does not come out for this bike.
    pub fn new(world: &'a Arc<World>, faults: &'a [Fault], observer: &'a dyn Observer) -> Result<Self, ProveError> {
        let covered = covered(world, faults)?;
        let weight = |(n, fault): (usize, &Fault)| if fault.counts && covered[n] { fault.likelihood } else { 0.0 };
        let weights: Vec<f64> = faults.iter().enumerate().map(weight).collect();
        let all: f64 = weights.iter().sum();
        let cases = (0..faults.len()).map(|f| vec![f]).chain([Vec::new()]).collect();
        Ok(Self {
            world,
            faults,
            observer,
            outside: all * OUTSIDE / (1.0 - OUTSIDE),
            weights,
            cases,
            by_value: readings_used(world),
            names: seen_used(world),
            foreseen: Mutex::default(),
        })
    }

    /// The part that comes next after these answers.
    ///
    /// # Errors
    /// A part cannot be walked through on this bike.
    pub fn choose(&self, crossing: &Crossing, answers: &[(&Asked, &str)]) -> Result<Chosen, ProveError> {
        let left = self.left(answers)?;
        let main = &self.world.procedures[&self.world.main];
        let mut best: Option<(usize, f64, f64)> = None;
        for last in crossing.left.iter().copied() {
            let needed = main.needed_before(last);
            let chain: Vec<usize> =
                crossing.left.iter().copied().filter(|part| *part == last || needed.contains(part)).collect();
            let Some(first) = chain.iter().copied().find(|part| crossing.may_come.contains(part)) else { continue };
            let (bits, minutes) = self.value(&chain, &left, &crossing.seen)?;
            let rate = |bits: f64, minutes: f64| bits / minutes.max(LEAST_MINUTES);
            if best.is_none_or(|(_, b, m)| rate(bits, minutes) > rate(b, m) + 1e-9) {
                best = Some((first, bits, minutes));
            }
        }
        let (part, bits, minutes) = best.unwrap_or((crossing.written, 0.0, 0.0));
        let part = if bits > 0.0 { part } else { crossing.written };
        Ok(Chosen { part: main.parts[part].id.value.clone(), bits, minutes })
    }

    /// Reckons beforehand what comes of a part, as long as nothing was seen that its ways look at.
    ///
    /// # Errors
    /// The part cannot be walked through on this bike.
    pub fn prepare(&self, part: usize) -> Result<(), ProveError> {
        self.foreseen(part, &Seen::default()).map(drop)
    }

    /// What a chain of parts tells, bits, and how long it takes on average.
    fn value(&self, chain: &[usize], left: &[usize], seen: &Seen) -> Result<(f64, f64), ProveError> {
        let parts = chain.iter().map(|part| self.foreseen(*part, seen)).collect::<Result<Vec<_>, _>>()?;
        let healthy = self.faults.len();
        let weighted = left.iter().map(|f| (*f, self.weights[*f])).chain([(healthy, self.outside)]);
        let mut by_end: BTreeMap<Option<&str>, f64> = BTreeMap::new();
        let (mut all, mut minutes) = (0.0, 0.0);
        for (fault, weight) in weighted {
            let mut conclusion = None;
            for ends in &parts {
                let end = &ends[fault];
                minutes += weight * end.minutes;
                conclusion = end.conclusion.as_deref();
                if conclusion.is_some() {
                    break;
                }
            }
            *by_end.entry(conclusion).or_default() += weight;
            all += weight;
        }
        // Where no fault is left that counts, no part tells anything.
        if all <= 0.0 {
            return Ok((0.0, 0.0));
        }
        let shares = by_end.values().map(|weight| weight / all).filter(|share| *share > 0.0);
        let bits: f64 = shares.map(|share| -share * share.log2()).sum();
        Ok((bits, minutes / all))
    }

    /// The faults that explain the answers with the fewest slips. Of a check that was made again the last answer counts.
    fn left(&self, answers: &[(&Asked, &str)]) -> Result<Vec<usize>, ProveError> {
        let mut mended = BTreeSet::new();
        let mut all: Vec<(&Asked, &str, BTreeSet<String>)> = Vec::new();
        for (asked, answer) in answers {
            mended.extend(asked.question.mends.iter().cloned());
            let again = |other: &Asked| other.procedure == asked.procedure && other.place() == asked.place();
            all.retain(|(other, _, before)| !(again(other) && *before == mended));
            all.push((asked, answer, mended.clone()));
        }
        let likely = (0..self.faults.len()).filter(|fault| self.weights[*fault] > 0.0);
        let likely: Vec<usize> = likely.collect();
        for most in 0..=MOST_SLIPS {
            let mut left = Vec::new();
            for fault in &likely {
                let mut slips = 0;
                for (asked, answer, mended) in &all {
                    let gone = self.faults[*fault].is_mended(mended);
                    let seen = self.observer.seen(if gone { &[] } else { std::slice::from_ref(fault) }, asked)?;
                    slips += usize::from(asked.name(seen) != *answer);
                    if slips > most {
                        break;
                    }
                }
                if slips <= most {
                    left.push(*fault);
                }
            }
            if !left.is_empty() {
                return Ok(left);
            }
        }
        Ok(likely)
    }

    /// What comes of a part under every fault, after `seen`.
    fn foreseen(&self, part: usize, seen: &Seen) -> Result<Foreseen, ProveError> {
        let mut deciding = Seen::default();
        for (name, value) in seen.value().as_object().into_iter().flatten() {
            if self.names.contains(name) {
                deciding.see(name, value.clone());
            }
        }
        let key = (part, deciding.value().to_string());
        let held = || self.foreseen.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = held().get(&key) {
            return Ok(known.clone());
        }
        let walker = Walker::through_part(self.world.clone(), part, deciding);
        let of =
            Led { world: self.world, faults: self.faults, cases: &self.cases, observer: self.observer, slips: false };
        let healthy = self.faults.len();
        let cases = (0..=healthy).filter(|case| *case == healthy || self.weights[*case] > 0.0).collect();
        let mut ends = vec![End::default(); healthy + 1];
        lead(&of, walker, cases, &self.by_value, &mut |track, came| {
            let conclusion: Option<Arc<str>> = match came {
                Came::To(reached) => Some(reached.name().into()),
                Came::Between => None,
            };
            let end = End { conclusion, minutes: track.minutes + track.set_up };
            track.cases.iter().for_each(|case| ends[*case] = end.clone());
            Ok(None)
        })?;
        let ends = Arc::new(ends);
        held().insert(key, ends.clone());
        Ok(ends)
    }
}
