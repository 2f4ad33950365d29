//! Answers as evidence, for the suspects and for the choice of what comes next alike.

use super::bayes::Evidence;
use super::fit::fit;
use crate::circuit::Expected;
use crate::circuit::faults::Fault;
use crate::diagnose::weights::{AGAIN, MISHEARD, OUTSIDE_SHOWS, READING_SPREAD, SLIP, STEP_SPREAD, TOLD};
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
    /// Whether it is only told.
    pub told: bool,
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

/// The answer of a check that counts so far.
struct Counted {
    key: String,
    name: String,
    number: usize,
    told: bool,
    evidence: Evidence,
}

/// The least spread of a reading under a fault, as a share of it: one that the fault changes is known by the fault's degrees only.
pub(in crate::diagnose) fn share(fault: Option<&Fault>, expected: &Expected, good: &Expected) -> f64 {
    let by_degree = fault.is_some_and(|fault| fault.severity.is_some()) && expected != good;
    if by_degree { STEP_SPREAD } else { READING_SPREAD }
}

/// Every answer as evidence for each fault, then for something outside the library, then for nothing at all. A repeated check counts once:
/// with its last answer, at its first place in the sequence, so that it takes no credit for what the answers in between told. One that was
/// only told does not make the same answer of now any surer.
pub(in crate::diagnose) fn weigh<'a>(faults: &[Fault], answers: impl Iterator<Item = Answer<'a>>) -> Weighed {
    let mut all_healthy = true;
    let mut all: Vec<Counted> = Vec::new();
    let mut mended = BTreeSet::new();
    for (number, one) in answers.enumerate() {
        mended.extend(one.mends.iter().cloned());
        let (Some(good), false) = (one.row.last(), *one.saw == Saw::Done) else { continue };
        let wrong = if one.told { TOLD } else { SLIP };
        let slip = wrong + if one.confirmed { 0.0 } else { MISHEARD };
        let healthy = fit(good, one.saw, one.at_random, READING_SPREAD);
        all_healthy &= healthy > (wrong + MISHEARD) * one.at_random;
        let under = |(fault, expected): (&Fault, &Expected)| match fault.is_mended(&mended) {
            true => healthy,
            false => fit(expected, one.saw, one.at_random, share(Some(fault), expected, good)),
        };
        let outside = (1.0 - OUTSIDE_SHOWS) * healthy + OUTSIDE_SHOWS * one.at_random;
        let fits = faults.iter().zip(one.row.iter()).map(under).chain([outside, healthy]).collect();
        let evidence = Evidence { fit: fits, at_random: one.at_random, slip };
        // What was mended in between makes it another check.
        let key = format!("{} {}", one.place, mended.len());
        let mut counted = Counted { key, name: one.name, number, told: one.told, evidence };
        match all.iter_mut().find(|known| known.key == counted.key) {
            Some(known) => {
                if known.name == counted.name && !known.told {
                    counted.evidence.slip = (known.evidence.slip * AGAIN).min(slip);
                }
                *known = counted;
            }
            None => all.push(counted),
        }
    }
    let (numbers, evidence) = all.into_iter().map(|counted| (counted.number, counted.evidence)).unzip();
    Weighed { evidence, numbers, all_healthy }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::diagnose::weights::TOLD;

    fn slips(answers: &[(&str, bool)]) -> Vec<f64> {
        let saws: Vec<Saw> = answers.iter().map(|(id, _)| Saw::Choice((*id).to_owned())).collect();
        let row: Row =
            Arc::new(vec![Expected::Choices(vec!["dark".to_owned()]), Expected::Choices(vec!["lit".to_owned()])]);
        let all = answers.iter().zip(&saws).map(|((id, told), saw)| Answer {
            place: "no-spark/lamp".to_owned(),
            mends: &[],
            saw,
            name: (*id).to_owned(),
            at_random: 0.5,
            confirmed: true,
            told: *told,
            row: row.clone(),
        });
        weigh(&[], all).evidence.iter().map(|one| one.slip).collect()
    }

    /// By hand: what is told slips at its own rate. The same check's answer of now takes its place, and is as sure as one that nobody told of
    /// before; made twice with the same answer, it slips a tenth as often.
    #[test]
    fn what_is_told_slips_more_often_and_makes_nothing_surer() {
        assert_eq!(slips(&[("dark", false)]), [SLIP]);
        assert_eq!(slips(&[("dark", true)]), [TOLD]);
        assert_eq!(slips(&[("dark", true), ("dark", false)]), [SLIP]);
        assert_eq!(slips(&[("dark", true), ("lit", false)]), [SLIP]);
        assert_eq!(slips(&[("dark", false), ("dark", false)]), [SLIP * AGAIN]);
    }
}
