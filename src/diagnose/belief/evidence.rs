//! Answers as evidence, for the suspects and for the choice of what comes next alike.

use super::bayes::Evidence;
use super::fit::fit;
use crate::circuit::faults::Fault;
use crate::circuit::{Expected, Question};
use crate::diagnose::weights::{
    AGAIN, MISHEARD, OUTSIDE_SHOWS, READING_SPREAD, SHOWS, SHOWS_MOVED, SLIP, STEP_SPREAD, TOLD,
};
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
    /// Probability that a fault shows at this check, if it is there: less than 1 where the trouble comes and goes.
    pub shows: f64,
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

/// Probability that a fault shows at a check.
pub(in crate::diagnose) fn shows(comes_and_goes: bool, question: &Question) -> f64 {
    match (comes_and_goes, question.is_moved()) {
        (false, _) => 1.0,
        (true, false) => SHOWS,
        (true, true) => SHOWS_MOVED,
    }
}

/// Every answer as evidence for each fault, then for something outside the library, then for nothing at all. If it
/// `merges`, a repeated check counts once: with its last answer, at its first place in the sequence, so that it takes no credit for what the
/// answers in between told. A told answer makes no later answer
/// to the same check surer, and is dropped once that check is made.
pub(in crate::diagnose) fn weigh<'a>(
    faults: &[Fault],
    answers: impl Iterator<Item = Answer<'a>>,
    merges: bool,
) -> Weighed {
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
            false => {
                let there = fit(expected, one.saw, one.at_random, share(Some(fault), expected, good));
                one.shows * there + (1.0 - one.shows) * healthy
            }
        };
        let outside = (1.0 - OUTSIDE_SHOWS) * healthy + OUTSIDE_SHOWS * one.at_random;
        let fits = faults.iter().zip(one.row.iter()).map(under).chain([outside, healthy]).collect();
        let evidence = Evidence { fit: fits, at_random: one.at_random, slip };
        // What was mended in between makes it another check.
        let key = format!("{} {}", one.place, mended.len());
        let mut counted = Counted { key, name: one.name, number, told: one.told, evidence };
        // So does time, where the trouble may come and go.
        let same = |known: &&mut Counted| known.key == counted.key && (merges || known.told);
        match all.iter_mut().find(same) {
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
    use crate::circuit::Expected;

    /// Two answers to one check, "dark" then "lit". A fault that shows lets expect "dark", the healthy bike "lit". By hand, with a slip of
    /// 0.02 to one of two: a fault that stays fits the last answer with 0, so 0.02 / 2 = 0.01. One that shows at every second look fits each
    /// with 0.5: 0.98 * 0.5 + 0.01 = 0.5, twice. The healthy bike: 0.99 for "lit", 0.01 for "dark".
    #[test]
    fn a_right_answer_clears_nothing_that_comes_and_goes() {
        let expect = |id: &str| Expected::Choices(vec![id.to_owned()]);
        let fault = Fault {
            id: "key-open".to_owned(),
            kind: "key-open".to_owned(),
            place: String::new(),
            severity: None,
            unit: None,
            counts: true,
            words: String::new(),
            parts: vec!["key".to_owned()],
            cure: String::new(),
            likelihood: 1.0,
            only_by_substitution: None,
            alterations: Vec::new(),
            looks: Vec::new(),
        };
        let seen = [Saw::Choice("dark".to_owned()), Saw::Choice("lit".to_owned())];
        let answers = |shows| {
            seen.iter().map(move |saw| Answer {
                place: "no-spark/feed".to_owned(),
                mends: &[],
                saw,
                name: match saw {
                    Saw::Choice(id) => id.clone(),
                    _ => String::new(),
                },
                at_random: 0.5,
                confirmed: false,
                told: false,
                shows,
                row: Arc::new(vec![expect("dark"), expect("lit")]),
            })
        };
        let faults = [fault];
        let under = |weighed: &Weighed, hypothesis: usize| -> f64 {
            weighed.evidence.iter().map(|one| one.under(hypothesis)).product()
        };
        let close = |a: f64, b: f64| assert!((a - b).abs() < 1e-12, "{a} and not {b}");
        let stays = weigh(&faults, answers(1.0), true);
        assert_eq!(stays.evidence.len(), 1, "the last answer stands");
        close(under(&stays, 0), 0.01);
        let goes = weigh(&faults, answers(SHOWS), false);
        assert_eq!(goes.evidence.len(), 2);
        close(under(&goes, 0), 0.5 * 0.5);
        close(under(&goes, 2), 0.99 * 0.01);
    }

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
            shows: 1.0,
            row: row.clone(),
        });
        weigh(&[], all, true).evidence.iter().map(|one| one.slip).collect()
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
