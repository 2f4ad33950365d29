//! The real walker, led through a procedure under many faults at once.
//!
//! All cases start together. The walker is forked wherever their answers differ, so each way is walked once no matter how many faults take it.

use super::lead::{Came, Led, Track, lead};
use super::looked_at::readings_used;
use super::{Given, Observer, Order, Outcome, ProveError};
use crate::circuit::faults::Fault;
use crate::walk::{Walker, World};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, mpsc};

/// Told now and then: what is being done, how much of it, of how much.
pub type Progress<'p> = &'p dyn Fn(&str, usize, usize);

/// What is simulated.
pub(super) struct Setting<'a> {
    /// Procedure, bike and words.
    pub world: &'a Arc<World>,
    /// All faults of the library on this bike.
    pub faults: &'a [Fault],
    /// The cases: numbers of faults, ascending; an empty one is the healthy bike.
    pub cases: &'a [Vec<usize>],
    /// Says what is seen.
    pub observer: &'a dyn Observer,
    /// Simulate every way with exactly one wrong observation, instead of none.
    pub slips: bool,
    /// The checks come in this order instead of the written one.
    pub order: Option<&'a Order<'a>>,
    /// The walker speaks, so that its words are counted. That takes longer.
    pub speaks: bool,
}

impl Setting<'_> {
    fn led(&self) -> Led<'_> {
        let Self { world, faults, cases, observer, slips, order, .. } = *self;
        Led { world, faults, cases, observer, slips, best: order.map(Order::handling) }
    }
}

/// Fewest cases in a batch: what they share of a way is walked once. Chosen, no source.
const FEWEST_TOGETHER: usize = 12;
/// Most cases in a batch, so that progress can be reported. Chosen, no source.
const MOST_TOGETHER: usize = 200;
/// Batches for each thread, since some take longer than others. Chosen, no source.
const LOTS_EACH: usize = 6;

/// Walks every case and calls `outcome` with its number and result. The cases are shared among as many threads as the machine runs at once;
/// the order of the calls does not depend on which thread is ready first.
///
/// # Errors
/// The procedure, the bike's wiring and the walker do not fit together.
pub(super) fn simulate(of: &Setting<'_>, outcome: &mut dyn FnMut(usize, Outcome)) -> Result<(), ProveError> {
    let by_value = readings_used(of.world);
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let together = of.cases.len().div_ceil(threads * LOTS_EACH).clamp(FEWEST_TOGETHER, MOST_TOGETHER);
    let lots = of.cases.len().div_ceil(together);
    let lot = |n: usize| (n * together..((n + 1) * together).min(of.cases.len())).collect::<Vec<usize>>();
    if threads == 1 || lots < 2 {
        return (0..lots).try_for_each(|n| walk(of, lot(n), &by_value, outcome));
    }
    let next = AtomicUsize::new(0);
    let (sender, walked) = mpsc::channel();
    std::thread::scope(|scope| {
        for _ in 0..threads.min(lots) {
            let (sender, next, by_value) = (sender.clone(), &next, &by_value);
            scope.spawn(move || {
                loop {
                    let n = next.fetch_add(1, Ordering::Relaxed);
                    if n >= lots {
                        return;
                    }
                    let mut all = Vec::new();
                    let result = walk(of, lot(n), by_value, &mut |case, outcome| all.push((case, outcome)));
                    if result.is_err() {
                        next.store(lots, Ordering::Relaxed);
                    }
                    // Nobody takes it any more when another lot has failed.
                    let _ = sender.send((n, result.map(|()| all)));
                }
            });
        }
        drop(sender);
        let mut waiting = BTreeMap::new();
        let mut told = 0;
        for (n, result) in walked {
            waiting.insert(n, result?);
            while let Some(all) = waiting.remove(&told) {
                all.into_iter().for_each(|(case, one)| outcome(case, one));
                told += 1;
            }
        }
        Ok(())
    })
}

/// Walks some cases together, forking where they would answer differently.
fn walk(
    of: &Setting<'_>,
    cases: Vec<usize>,
    by_value: &BTreeSet<String>,
    outcome: &mut dyn FnMut(usize, Outcome),
) -> Result<(), ProveError> {
    let world = of.world.clone();
    let walker = if of.speaks { Walker::new(world) } else { Walker::unheard(world) };
    let walker = if of.order.is_some() { walker.in_best_order() } else { walker };
    lead(&of.led(), walker, cases, by_value, &mut |track, came| match came {
        Came::To(reached) => {
            for case in &track.cases {
                let (reached, mended) = (reached.clone(), track.mended.clone());
                let (steps, minutes, set_up, said) = (track.steps, track.minutes, track.set_up, track.said);
                let (last, slip) = (track.last.clone(), track.slip.clone());
                outcome(*case, Outcome { reached, mended, steps, minutes, set_up, said, last, slip });
            }
            Ok(None)
        }
        Came::Between => {
            let (Some(order), Some(crossing)) = (of.order, track.walker.crossing()) else { return Ok(None) };
            order.choose(&crossing, &given(track)).map(Some)
        }
    })
}

/// The answers on a way, in their order.
fn given(track: &Track) -> Vec<Given> {
    let mut all = Vec::new();
    let mut at = track.last.as_deref();
    while let Some(one) = at {
        all.push(Given::new(one.asked.clone(), one.seen));
        at = one.before.as_deref();
    }
    all.reverse();
    all
}
