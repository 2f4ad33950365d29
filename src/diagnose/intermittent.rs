//! Faults that come and go. A coin decides at each check whether the fault shows; where its place is moved three times, three coins do. Each
//! fault is walked twice: the mechanic says at the start that it is only sometimes, or says nothing.

use super::belief::evidence::shows;
use super::causes::Causes;
use super::covered::counting;
use super::drawn::{Ended, MOST_LISTED, pick};
use super::outcome::Outcome;
use super::simulate::{Progress, Setting, simulate};
use super::{Asked, CircuitObserver, Observer, Order, ProveError, Seen, Verdict};
use crate::circuit::Expected;
use crate::circuit::faults::{Fault, Library};
use crate::procedure::Ask;
use crate::walk::World;
use serde::Serialize;
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::mpsc::channel;
use std::sync::{Arc, Mutex, PoisonError};

/// What became of walks under faults that come and go.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Intermittent {
    /// Walks, each under one fault, drawn by its likelihood among those that count.
    pub walks: usize,
    /// Those that condemned sound parts only.
    pub false_removals: usize,
    /// Those that named the right cause, or bounded it.
    pub found: usize,
    /// Those among them that named it alone.
    pub right_cause: usize,
    /// Those among them that named it with others: at most four causes.
    pub bounded: usize,
    /// Those that called the bike sound.
    pub missed: usize,
    /// Those that named other causes.
    pub wrong: usize,
    /// Those that ended with nothing found, and said so.
    pub undecided: usize,
    /// Questions, a mean.
    pub mean_questions: f64,
    /// Most questions in one walk.
    pub most_questions: usize,
    /// Minutes, changes of set-up included, a mean.
    pub mean_minutes: f64,
    /// The walks that ended wrongly.
    pub listed: Vec<Ended>,
    /// The same walks when nobody says that it comes and goes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub untold: Option<Box<Intermittent>>,
}

/// Walks under `n` faults that come and go, as told at the start; then the same ones when nobody says so.
///
/// # Errors
/// The procedure, the bike's wiring and the walker do not go together.
pub fn intermittent(
    world: &Arc<World>,
    library: &Library,
    faults: &[Fault],
    best: bool,
    n: usize,
    progress: Progress<'_>,
) -> Result<Intermittent, ProveError> {
    let typical = CircuitObserver::new(&world.bike, library, faults);
    let order = if best { Some(Order::new(world, faults, &typical)?) } else { None };
    let counting = counting(world, faults)?;
    let of = Walked { world, faults, typical: &typical, order: order.as_ref(), counting };
    let told = of.all(n, true, progress)?;
    Ok(Intermittent { untold: Some(Box::new(of.all(n, false, progress)?)), ..told })
}

/// What is walked.
struct Walked<'a> {
    world: &'a Arc<World>,
    faults: &'a [Fault],
    typical: &'a CircuitObserver<'a>,
    order: Option<&'a Order<'a>>,
    /// The faults that are drawn.
    counting: Vec<usize>,
}

impl Walked<'_> {
    /// Walks under `n` faults, on all cores. `told`: the mechanic says at the start that it is only sometimes.
    fn all(&self, n: usize, told: bool, progress: Progress<'_>) -> Result<Intermittent, ProveError> {
        let next = AtomicUsize::new(1);
        let (sender, ends) = channel();
        let (mut causes, mut of) = (Causes::new(self.faults), Intermittent::default());
        std::thread::scope(|scope| {
            for _ in 0..std::thread::available_parallelism().map_or(1, usize::from) {
                let (sender, next) = (sender.clone(), &next);
                scope.spawn(move || {
                    loop {
                        let draw = next.fetch_add(1, Ordering::Relaxed);
                        let Some(fault) = pick(self.faults, &self.counting, draw as u64).filter(|_| draw <= n) else {
                            return;
                        };
                        // Nobody takes it any more once a walk has failed.
                        let _ = sender.send((draw, fault, self.one(draw as u64, fault, told)));
                    }
                });
            }
            drop(sender);
            let mut all = Vec::new();
            for (draw, fault, end) in ends {
                let end = end.inspect_err(|_| next.store(n + 1, Ordering::Relaxed))?;
                all.extend(end.map(|outcome| (draw, fault, outcome)));
                progress("walks under what comes and goes", all.len(), n);
            }
            all.sort_unstable_by_key(|(draw, ..)| *draw);
            all.iter()
                .for_each(|(draw, fault, outcome)| of.count(*draw as u64, *fault, self.faults, &mut causes, outcome));
            Ok::<_, ProveError>(())
        })?;
        let walks = of.walks.max(1) as f64;
        of.mean_questions /= walks;
        of.mean_minutes /= walks;
        Ok(of)
    }

    fn one(&self, draw: u64, fault: usize, told: bool) -> Result<Option<Outcome>, ProveError> {
        let observer = Coin { there: self.typical, told, coins: Mutex::new(fastrand::Rng::with_seed(draw)) };
        let setting = Setting {
            world: self.world,
            faults: self.faults,
            cases: &[vec![fault]],
            observer: &observer,
            slips: false,
            order: self.order,
            speaks: false,
        };
        let mut outcome = None;
        simulate(&setting, &mut |_, one| outcome = Some(one))?;
        Ok(outcome)
    }
}

impl Intermittent {
    fn count(&mut self, draw: u64, fault: usize, faults: &[Fault], causes: &mut Causes<'_>, outcome: &Outcome) {
        let verdict = causes.judge(&[fault], outcome);
        let removes_sound = causes.removes_sound(&[fault], outcome);
        self.walks += 1;
        self.false_removals += usize::from(removes_sound);
        *match verdict {
            Verdict::Right => &mut self.right_cause,
            Verdict::Ambiguous => &mut self.bounded,
            Verdict::Undecided => &mut self.undecided,
            Verdict::Missed => &mut self.missed,
            Verdict::Wrong => &mut self.wrong,
        } += 1;
        self.found = self.right_cause + self.bounded;
        self.mean_questions += outcome.steps as f64;
        self.most_questions = self.most_questions.max(outcome.steps);
        self.mean_minutes += outcome.minutes + outcome.set_up;
        let is_wrong = removes_sound || matches!(verdict, Verdict::Wrong | Verdict::Missed);
        if is_wrong && self.listed.len() < MOST_LISTED {
            self.listed.push(Ended { draw, fault: faults[fault].id.clone(), conclusion: outcome.reached.name() });
        }
    }
}

/// Sees a fault as often as its coins show it.
struct Coin<'a> {
    there: &'a CircuitObserver<'a>,
    told: bool,
    coins: Mutex<fastrand::Rng>,
}

impl Observer for Coin<'_> {
    fn seen(&self, faults: &[usize], asked: &Asked) -> Result<Seen, ProveError> {
        if self.told && matches!(asked.step().ask, Ask::Note(_)) {
            return Ok(Seen::Sometimes);
        }
        let coin = self.coins.lock().unwrap_or_else(PoisonError::into_inner).f64();
        let is_there = coin < shows(true, &asked.question);
        self.there.seen(if is_there { faults } else { &[] }, asked)
    }

    fn expected(&self, faults: &[usize], asked: &Asked, samples: u64) -> Result<Expected, ProveError> {
        self.there.expected(faults, asked, samples)
    }

    fn not_told(&self) -> BTreeMap<String, String> {
        self.there.not_told()
    }
}
