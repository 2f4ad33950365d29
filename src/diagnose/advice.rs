//! The adviser over the circuit and the fault library: which faults are left, how sure, and why; and the answer that does not fit.
//!
//! Priors are the library's likelihoods. What an answer means under a fault the circuit says, for the typical bike and others within the
//! tolerances of sound parts. One hypothesis more stands for everything outside the library: it looks healthy at most checks.

use super::advice_table::Table;
use super::belief::bayes::{believe, evidence_for};
use super::belief::evidence::{Answer, Row, shows, weigh};
use super::covered::covered;
use super::order_thread::OrderThread;
use super::weights::{DECIMALS, DOUBTFUL, LEFT, MOST_SUSPECTS, OUTSIDE, OUTSIDE_LEAST, REASONS, STEP};
use super::words::spoken;
use crate::advice::{Because, Chosen, Doubtful, Suspect, Weighed};
use crate::circuit::faults::{Fault, Library};
use crate::walk::{Advice, Check, Crossing, Observation, Saw, World};
use std::collections::BTreeMap;
use std::sync::Arc;

/// Says what is left of a bike's faults.
pub struct Adviser {
    /// The faults in spoken words.
    words: Vec<String>,
    table: Table,
    library: Arc<Library>,
    faults: Arc<Vec<Fault>>,
    /// The faults, then what is outside.
    prior: Vec<f64>,
    /// Faults that differ in severity only.
    groups: BTreeMap<String, Vec<usize>>,
    /// Who chooses parts, in best order.
    order: Option<OrderThread>,
}

impl Adviser {
    /// An adviser for the world's bike; `library` is laid over it.
    ///
    /// # Errors
    /// What of the library does not come out for this bike, in a sentence; a system that gives no thread.
    pub fn start(world: &Arc<World>, library: Library) -> Result<Self, String> {
        let library = library.in_between(STEP);
        let faults = library.for_bike_in(&world.bike, &world.vocabulary).map_err(|found| {
            found.first().map_or_else(|| "the fault library does not fit".to_owned(), ToString::to_string)
        })?;
        // Suspects of another trade, or for a procedure that the wiring decides nothing in, would only mislead.
        if !covered(world, &faults).map_err(|why| why.to_string())?.contains(&true) {
            return Err("its procedure is there to find none of the faults that are known".to_owned());
        }
        let (faults, library) = (Arc::new(faults), Arc::new(library));
        let table = Table::start(world.clone(), library.clone(), faults.clone())
            .map_err(|why| format!("the system gives no thread for advice: {why}"))?;
        let all: f64 = faults.iter().map(|fault| fault.likelihood).sum();
        let mut prior: Vec<f64> = faults.iter().map(|fault| (1.0 - OUTSIDE) * fault.likelihood / all).collect();
        prior.push(OUTSIDE);
        let mut groups: BTreeMap<String, Vec<usize>> = BTreeMap::new();
        for (number, fault) in faults.iter().enumerate() {
            groups.entry(fault.group()).or_default().push(number);
        }
        let words = faults.iter().map(|fault| spoken(&fault.words, world)).collect();
        Ok(Self { words, table, library, faults, prior, groups, order: None })
    }

    /// The same for a walk in best order.
    ///
    /// # Errors
    /// As [`Adviser::start`].
    pub fn in_best_order(mut self, world: &Arc<World>) -> Result<Self, String> {
        self.order = Some(OrderThread::start(world, self.library.clone(), self.faults.clone())?);
        Ok(self)
    }

    /// The faults that are weighed, in the library's order.
    pub fn faults(&self) -> &[Fault] {
        &self.faults
    }

    /// The observations with what they could have been.
    fn answers<'o>(&mut self, observed: &'o [Arc<Observation>]) -> Vec<Answer<'o>> {
        let comes_and_goes = comes_and_goes(observed);
        let answer = |one: &'o Arc<Observation>| Answer {
            place: format!("{}/{}", one.check.procedure, one.place()),
            mends: &one.check.question.mends,
            saw: &one.saw,
            name: one.name(),
            at_random: one.at_random,
            confirmed: one.confirmed,
            shows: shows(comes_and_goes, &one.check.question),
            told: one.told,
            row: if one.saw == Saw::Done { Row::default() } else { self.table.row(&one.check) },
        };
        observed.iter().map(answer).collect()
    }
}

impl Advice for Adviser {
    fn weigh(&mut self, observed: &[Arc<Observation>]) -> Weighed {
        let answered = self.answers(observed);
        let weighed = weigh(&self.faults, answered.into_iter(), !comes_and_goes(observed));
        let answers = &weighed.evidence;
        let mut belief = believe(&self.prior, answers);
        let outside = self.faults.len();
        if belief.weight[outside] < OUTSIDE_LEAST {
            let rest = (1.0 - OUTSIDE_LEAST) / (1.0 - belief.weight[outside]);
            belief.weight.iter_mut().for_each(|weight| *weight *= rest);
            belief.weight[outside] = OUTSIDE_LEAST;
        }
        let weight_of = |group: &Vec<usize>| group.iter().map(|h| belief.weight[*h]).sum::<f64>();
        let mut groups: Vec<(&String, &Vec<usize>, f64)> =
            self.groups.iter().map(|(id, group)| (id, group, weight_of(group))).collect();
        groups.sort_by(|a, b| b.2.total_cmp(&a.2).then_with(|| a.0.cmp(b.0)));
        let left = groups.iter().filter(|(.., weight)| *weight >= LEFT).count() as u32;
        let suspect = |(id, group, weight): &(&String, &Vec<usize>, f64)| {
            let heaviest = group.iter().max_by(|a, b| belief.weight[**a].total_cmp(&belief.weight[**b]));
            let number = *heaviest.unwrap_or(&group[0]);
            let fault = &self.faults[number];
            let mut reasons: Vec<(usize, f64)> = evidence_for(&self.prior, answers, group)
                .into_iter()
                .enumerate()
                .filter(|r| r.1 >= REASONS.1)
                .collect();
            reasons.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
            let because = |(at, evidence): &(usize, f64)| {
                let one = &observed[weighed.numbers[*at]];
                let (step, round) = (one.check.step.clone(), one.check.round.clone());
                Because { step, round, answer: one.words.clone(), evidence: short(*evidence) }
            };
            Suspect {
                fault: (*id).clone(),
                words: self.words[number].clone(),
                parts: fault.parts.clone(),
                weight: short(*weight),
                because: reasons.iter().take(REASONS.0).map(because).collect(),
            }
        };
        let suspects: Vec<Suspect> = groups.iter().take(MOST_SUSPECTS).map(suspect).collect();
        let outside = belief.weight[outside];
        let named: f64 = groups.iter().take(MOST_SUSPECTS).map(|(.., weight)| weight).sum();
        let explained = |h: usize| answers.iter().all(|e| e.fits(h));
        let fit_together = weighed.all_healthy || comes_and_goes(observed);
        let doubtful = match fit_together || (0..self.faults.len()).any(explained) {
            true => None,
            false => {
                let most = belief.slips.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1));
                most.filter(|(_, slip)| **slip >= DOUBTFUL).map(|(at, slip)| {
                    let number = weighed.numbers[at];
                    let one = &observed[number];
                    let (step, round) = (one.check.step.clone(), one.check.round.clone());
                    Doubtful { number, step, round, answer: one.words.clone(), weight: short(*slip) }
                })
            }
        };
        Weighed { suspects, others: short((1.0 - named - outside).max(0.0)), outside: short(outside), left, doubtful }
    }

    fn prepare(&mut self, next: &Check) {
        self.table.prepare(next);
    }

    fn choose(&mut self, crossing: &Crossing, observed: &[Arc<Observation>]) -> Chosen {
        self.order.as_mut().map(|order| order.choose(crossing, observed)).unwrap_or_default()
    }
}

/// Whether the trouble was said to come and go.
fn comes_and_goes(observed: &[Arc<Observation>]) -> bool {
    observed.last().is_some_and(|last| last.comes_and_goes)
}

fn short(value: f64) -> f64 {
    (value * DECIMALS).round() / DECIMALS
}
