//! Bikes drawn at random: every part within its tolerance, a battery half to fully charged, a warm or cold day, another test lamp, a meter with
//! its error. Each draw is walked as a sound bike, and with one fault drawn by likelihood.

use super::causes::Causes;
use super::covered::counting;
use super::measure::{Judgement, judgement, measure};
use super::outcome::Outcome;
use super::simulate::{Progress, Setting, simulate};
use super::{CircuitObserver, Figures, Order, ProveError};
use crate::circuit::faults::{Fault, Library};
use crate::walk::World;
use serde::Serialize;
use std::sync::Arc;

/// What became of bikes drawn at random.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Drawn {
    /// How many were drawn. Each was walked twice.
    pub n: usize,
    /// Sound ones that were called faulty.
    pub healthy_condemned: usize,
    /// Walks under a fault that condemned sound parts only.
    pub false_removals: usize,
    /// Walks under a fault that ended as if nothing were wrong.
    pub missed: usize,
    /// The rates over the drawn faults, each of which was drawn by its likelihood.
    #[serde(flatten)]
    pub figures: Figures,
    /// The sound ones that were called faulty, and the faults that ended wrongly: the draw, the fault, the end.
    pub listed: Vec<Ended>,
}

/// A walk that ended wrongly.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Ended {
    /// The draw's number, from 1.
    pub draw: u64,
    /// The fault. Empty: the bike was sound.
    pub fault: String,
    /// The end.
    pub conclusion: String,
}

/// Most walks that are listed by name.
pub(super) const MOST_LISTED: usize = 200;

/// Walks `n` drawn bikes.
///
/// # Errors
/// The procedure, the bike's wiring and the walker do not go together.
pub fn drawn(
    world: &Arc<World>,
    library: &Library,
    faults: &[Fault],
    best: bool,
    n: usize,
    progress: Progress<'_>,
) -> Result<Drawn, ProveError> {
    let counting = counting(world, faults)?;
    let typical = CircuitObserver::new(&world.bike, library, faults);
    let order = if best { Some(Order::new(world, faults, &typical)?) } else { None };
    let mut causes = Causes::new(faults);
    let (mut judged, mut listed, mut healthy_condemned) = (Vec::new(), Vec::new(), 0);
    for draw in 1..=n as u64 {
        if draw % 10 == 1 {
            progress("drawn bikes", draw as usize - 1, n);
        }
        let fault = pick(faults, &counting, draw);
        let cases = [vec![], fault.map(|f| vec![f]).unwrap_or_default()];
        let observer = CircuitObserver::drawn(&world.bike, library, faults, draw);
        let setting = Setting {
            world,
            faults,
            cases: &cases,
            observer: &observer,
            slips: false,
            order: order.as_ref(),
            speaks: false,
        };
        let mut outcomes: [Option<Outcome>; 2] = [None, None];
        simulate(&setting, &mut |case, outcome| outcomes[case] = Some(outcome))?;
        let [Some(sound), Some(faulty)] = outcomes else { continue };
        let mut list = |fault: &str, outcome: &Outcome| {
            if listed.len() < MOST_LISTED {
                listed.push(Ended { draw, fault: fault.to_owned(), conclusion: outcome.reached.name() });
            }
        };
        if !sound.reached.healthy {
            healthy_condemned += 1;
            list("", &sound);
        }
        if let Some(fault) = fault {
            let one = Judgement { counts: true, ..judgement(fault, faults, &mut causes, &faulty) };
            if one.removes_sound || matches!(one.verdict, super::Verdict::Wrong | super::Verdict::Missed) {
                list(&faults[fault].id, &faulty);
            }
            judged.push(one);
        }
    }
    progress("drawn bikes", n, n);
    let share = if n > 0 { healthy_condemned as f64 / n as f64 } else { 0.0 };
    Ok(Drawn {
        n,
        healthy_condemned,
        false_removals: judged.iter().filter(|one| one.removes_sound).count(),
        missed: judged.iter().filter(|one| one.verdict == super::Verdict::Missed).count(),
        figures: Figures { false_alarm_rate: share, ..measure(&judged, faults, false, |_| 1.0) },
        listed,
    })
}

/// A fault drawn by likelihood among those that count. The same draw gives the same fault.
pub(super) fn pick(faults: &[Fault], counting: &[usize], draw: u64) -> Option<usize> {
    let all: f64 = counting.iter().map(|f| faults[*f].likelihood).sum();
    let mut at = fastrand::Rng::with_seed(draw.wrapping_mul(0x9e37_79b9_7f4a_7c15)).f64() * all;
    counting.iter().copied().find(|f| {
        at -= faults[*f].likelihood;
        at <= 0.0
    })
}
