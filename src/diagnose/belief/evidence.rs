//! Answers as evidence, for the suspects and for the choice of what comes next alike.

use super::bayes::Evidence;
use super::fit::fit;
use crate::circuit::Expected;
use crate::circuit::faults::Fault;
use crate::diagnose::weights::{AGAIN, MISHEARD, OUTSIDE_SHOWS, READING_SPREAD, SLIP, STEP_SPREAD};
use crate::walk::Saw;
use std::collections::BTreeSet;
use std::sync::Arc;

/// What every fault lets expect at a question; the healthy bike's is the last.
pub(in crate::diagnose) type Row = Arc<Vec<Expected>>;

/// An answer, and what it could have been.
pub(in crate::diagnose) struct Answer<'a> {
    /// The check: procedure, step and round.
    pub place: String,
    /// What counts as new from this question on.
    pub mends: &'a [String],
    /// What was seen.
    pub saw: &'a Saw,
    /// The answer's short name.
    pub name: String,
    /// Probability of this answer if it is unrelated to what was to be seen.
    pub at_random: f64,
    /// Whether the user confirmed it.
    pub confirmed: bool,
    /// What was to be expected. Empty where nothing was observed.
    pub row: Row,
}

/// Answers as evidence.
pub(in crate::diagnose) struct Weighed {
    /// What each says.
    pub evidence: Vec<Evidence>,
    /// Their numbers among all answers.
    pub numbers: Vec<usize>,
    /// Whether a healthy bike would explain them all.
    pub all_healthy: bool,
}

/// The least spread of a reading under a fault, as a share of it: one that the fault changes is known by the fault's degrees only.
pub(in crate::diagnose) fn share(fault: Option<&Fault>, expected: &Expected, good: &Expected) -> f64 {
    let by_degree = fault.is_some_and(|fault| fault.severity.is_some()) && expected != good;
    if by_degree { STEP_SPREAD } else { READING_SPREAD }
}

/// Every answer as evidence for each fault, then for something outside the library, then for nothing at all. A repeated check counts once:
/// with its last answer, at its first place in the sequence, so that it takes no credit for what the answers in between told.
pub(in crate::diagnose) fn weigh<'a>(faults: &[Fault], answers: impl Iterator<Item = Answer<'a>>) -> Weighed {
    let mut all_healthy = true;
    let mut all: Vec<(String, String, usize, Evidence)> = Vec::new();
    let mut mended = BTreeSet::new();
    for (number, one) in answers.enumerate() {
        mended.extend(one.mends.iter().cloned());
        let (Some(good), false) = (one.row.last(), *one.saw == Saw::Done) else { continue };
        let healthy = fit(good, one.saw, one.at_random, READING_SPREAD);
        all_healthy &= healthy > (SLIP + MISHEARD) * one.at_random;
        let under = |(fault, expected): (&Fault, &Expected)| match fault.is_mended(&mended) {
            true => healthy,
            false => fit(expected, one.saw, one.at_random, share(Some(fault), expected, good)),
        };
        let outside = (1.0 - OUTSIDE_SHOWS) * healthy + OUTSIDE_SHOWS * one.at_random;
        let fits = faults.iter().zip(one.row.iter()).map(under).chain([outside, healthy]).collect();
        let slip = SLIP + if one.confirmed { 0.0 } else { MISHEARD };
        let mut evidence = Evidence { fit: fits, at_random: one.at_random, slip };
        // What was mended in between makes it another check.
        let key = format!("{} {}", one.place, mended.len());
        match all.iter_mut().find(|(other, ..)| *other == key) {
            Some(known) => {
                if known.1 == one.name {
                    evidence.slip = (known.3.slip * AGAIN).min(evidence.slip);
                }
                *known = (key, one.name, number, evidence);
            }
            None => all.push((key, one.name, number, evidence)),
        }
    }
    let (numbers, evidence) = all.into_iter().map(|(_, _, number, evidence)| (number, evidence)).unzip();
    Weighed { evidence, numbers, all_healthy }
}
