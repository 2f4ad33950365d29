//! The real walker, led through a procedure under many faults at once.
//!
//! All cases set out together; wherever they would answer differently the walker is forked, so that each way is walked once
//! however many faults take it.

use super::lead::{Came, Track, lead};
use super::order::Order;
use super::{Asked, Observer, ProveError};
use crate::circuit::faults::Fault;
use crate::procedure::{Ask, Expression, Meaning, Procedure, Route, Step, expression};
use crate::walk::{Walker, World};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, mpsc};

/// One answer on a way.
pub struct Sighting {
    /// What was asked, in the state it was asked in.
    pub asked: Arc<Asked>,
    /// What was answered, by its short name.
    pub answer: String,
    /// The answer was a wrong one.
    pub slipped: bool,
    /// The sighting before.
    pub before: Option<Arc<Sighting>>,
}

/// A wrong observation: what was there and what was said.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Slip {
    /// `points-turn left`.
    pub place: String,
    /// The right answer.
    pub right: String,
    /// The one given.
    pub given: String,
    /// The same question was put again later, and answered rightly.
    pub repeated: bool,
}

/// How a walk ended.
#[derive(Debug, Clone)]
pub struct Reached {
    /// Procedure.
    pub procedure: String,
    /// Conclusion.
    pub conclusion: String,
    /// Round.
    pub round: Option<String>,
    /// What it condemns.
    pub condemns: Vec<String>,
    /// It says that nothing is wrong.
    pub healthy: bool,
}

impl Reached {
    /// The conclusion with its round: `coil-bad left`.
    pub fn name(&self) -> String {
        self.round.as_ref().map_or_else(|| self.conclusion.clone(), |r| format!("{} {r}", self.conclusion))
    }
}

/// What came of one case.
#[derive(Clone)]
pub struct Outcome {
    /// How it ended.
    pub reached: Reached,
    /// What was mended on the way, as the procedure's steps say.
    pub mended: BTreeSet<String>,
    /// Questions asked.
    pub steps: usize,
    /// Working minutes.
    pub minutes: f64,
    /// Minutes for changes of side, of plugs and switches, and of the instrument between them.
    pub set_up: f64,
    /// The last answer; the others hang on it.
    pub last: Option<Arc<Sighting>>,
    /// The wrong observation, if there was one.
    pub slip: Option<Slip>,
}

/// What is simulated.
pub struct Setting<'a> {
    /// Procedure, bike and words.
    pub world: &'a Arc<World>,
    /// All faults that there are.
    pub faults: &'a [Fault],
    /// The cases: numbers of faults, ascending; an empty one is the healthy bike.
    pub cases: &'a [Vec<usize>],
    /// Says what is seen.
    pub observer: &'a dyn Observer,
    /// With one wrong observation somewhere, in every way, instead of without.
    pub slips: bool,
    /// The parts of the procedure come in this order instead of the written one.
    pub order: Option<&'a Order<'a>>,
}

/// Fewest cases that are walked together: what they share of the way is walked once.
const FEWEST_TOGETHER: usize = 12;
/// Most of them, so that progress can be told.
const MOST_TOGETHER: usize = 200;
/// Lots of cases for each thread: some take longer than others.
const LOTS_EACH: usize = 6;

/// Walks every case and tells `outcome` of each: its number and what came of it. The cases are shared out to as many threads as the
/// machine runs at once; the order in which they are told does not depend on which is ready first.
///
/// # Errors
/// The procedure, the bike's wiring and the walker do not go together.
pub fn simulate(of: &Setting<'_>, outcome: &mut dyn FnMut(usize, Outcome)) -> Result<(), ProveError> {
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
    let walker = Walker::unheard(of.world.clone());
    let walker = if of.order.is_some() { walker.in_best_order() } else { walker };
    lead(of, walker, cases, by_value, &mut |track, came| match came {
        Came::To(reached) => {
            for case in &track.cases {
                let (reached, mended) = (reached.clone(), track.mended.clone());
                let (steps, minutes, set_up) = (track.steps, track.minutes, track.set_up);
                let (last, slip) = (track.last.clone(), track.slip.clone());
                outcome(*case, Outcome { reached, mended, steps, minutes, set_up, last, slip });
            }
            Ok(None)
        }
        Came::Between => {
            let (Some(order), Some(crossing)) = (of.order, track.walker.crossing()) else { return Ok(None) };
            order.choose(&crossing, &answers(track)).map(Some)
        }
    })
}

/// The answers on a way, in their order.
fn answers(track: &Track) -> Vec<(&Asked, &str)> {
    let mut all = Vec::new();
    let mut at = track.last.as_deref();
    while let Some(one) = at {
        all.push((&*one.asked, one.answer.as_str()));
        at = one.before.as_deref();
    }
    all.reverse();
    all
}

pub(super) fn reading_name(step: &Step) -> Option<String> {
    match &step.ask {
        Ask::Reading(reading) => Some(reading.name.value.replace('-', "_")),
        _ => None,
    }
}

/// Names of readings that a route or a limit looks at by their value: for them two values in one band are not the same.
pub(super) fn readings_used(world: &World) -> BTreeSet<String> {
    let names = seen_used(world);
    let steps = world.procedures.values().flat_map(|p| &p.steps);
    let readings: BTreeSet<String> = steps.filter_map(reading_name).collect();
    let used = |reading: &&String| names.iter().any(|n| n == *reading || n.starts_with(&format!("{reading}_")));
    readings.iter().filter(used).cloned().collect()
}

/// Names of `seen` that any expression looks at.
pub(super) fn seen_used(world: &World) -> BTreeSet<String> {
    let all = world.procedures.values().flat_map(expressions).flat_map(expression::names);
    all.filter_map(|name| name.path.strip_prefix("seen.").map(str::to_owned)).collect()
}

/// Every expression of a procedure.
fn expressions(procedure: &Procedure) -> Vec<&Expression> {
    let mut all: Vec<&Expression> = procedure.loops.iter().map(|l| &l.over).collect();
    let mut routes: Vec<&Route> = procedure.loops.iter().map(|l| &l.then).collect();
    for step in &procedure.steps {
        all.extend(&step.when);
        routes.extend(step.otherwise.iter().chain([&step.untested]));
        match &step.ask {
            Ask::Choice(choices) | Ask::Watch { choices, .. } => routes.extend(choices.iter().map(|c| &c.go)),
            Ask::Reading(reading) => {
                all.extend([&reading.low, &reading.high]);
                all.extend(reading.bands.iter().flat_map(|band| band.from.iter().chain(&band.below)));
                routes.extend(reading.bands.iter().map(|band| &band.go).chain(&reading.over_range));
            }
            Ask::Done(to) | Ask::Note(to) => routes.push(to),
        }
    }
    all.extend(routes.into_iter().flat_map(|r| &r.0).filter_map(|c| c.when.as_ref()));
    all
}

/// What the answer of a sighting means, by the procedure.
pub(super) fn meaning(world: &World, sighting: &Sighting) -> Meaning {
    let step = world.procedures.get(&sighting.asked.procedure).and_then(|p| p.step(&sighting.asked.id));
    match step.map(|s| &s.ask) {
        Some(Ask::Choice(choices) | Ask::Watch { choices, .. }) => {
            choices.iter().find(|c| *c.id == sighting.answer).map_or(Meaning::Neither, |c| c.means)
        }
        Some(Ask::Reading(reading)) => {
            reading.bands.iter().find(|b| *b.id == sighting.answer).map_or(Meaning::Bad, |b| b.means)
        }
        _ => Meaning::Neither,
    }
}
