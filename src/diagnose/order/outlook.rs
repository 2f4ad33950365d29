//! What a check tells: how probable each of its answers is under every fault, and by how much it lowers the entropy over causes.

use super::{Known, Order};
use crate::diagnose::ProveError;
use crate::diagnose::belief::evidence::share;
use crate::diagnose::belief::fit::{answers, forecast};
use crate::diagnose::weights::{MISHEARD, OUTSIDE_SHOWS, SLIP};
use std::collections::BTreeSet;
use std::sync::{Arc, PoisonError};

/// A weight that moves nothing.
const LEAST_WEIGHT: f64 = 1e-9;

/// Probability of each answer to a check, fault by fault; the healthy bike's is the last.
pub(super) struct Outlook {
    count: usize,
    of: Vec<f64>,
}

impl Outlook {
    fn under(&self, fault: usize) -> &[f64] {
        &self.of[fault * self.count..(fault + 1) * self.count]
    }
}

impl Order<'_> {
    /// By how much a check lowers the entropy over causes on average, bits.
    pub(super) fn tells(&self, number: usize, known: &Known) -> Result<f64, ProveError> {
        let check = &self.catalogue.checks[number];
        let outlook = self.outlook(number)?;
        let (count, healthy) = (outlook.count, self.faults.len());
        let slip = SLIP + MISHEARD;
        let again = check.mends.iter().any(|name| !known.mended.contains(name));
        let gone: BTreeSet<String> =
            if again { known.mended.union(&check.mends).cloned().collect() } else { BTreeSet::new() };
        let is_gone = |fault: usize| match again {
            true => self.faults[fault].is_mended(&gone),
            false => known.gone[fault],
        };
        let mut joint = vec![0.0; self.causes * count];
        for (number, weight) in known.belief.weight.iter().enumerate().filter(|(_, weight)| **weight > LEAST_WEIGHT) {
            let under = outlook.under(if number < healthy && is_gone(number) { healthy } else { number.min(healthy) });
            let at = known.cause[number] * count;
            for (answer, p) in under.iter().enumerate() {
                let p = if number == healthy { (1.0 - OUTSIDE_SHOWS) * p + OUTSIDE_SHOWS / count as f64 } else { *p };
                joint[at + answer] += weight * ((1.0 - slip) * p + slip / count as f64);
            }
        }
        let mut bits = entropy(known.by_cause.iter().copied());
        for answer in 0..count {
            let all: f64 = (0..self.causes).map(|cause| joint[cause * count + answer]).sum();
            if all > 0.0 {
                bits -= all * entropy((0..self.causes).map(|cause| joint[cause * count + answer] / all));
            }
        }
        Ok(bits)
    }

    pub(super) fn outlook(&self, number: usize) -> Result<Arc<Outlook>, ProveError> {
        if let Some(known) = self.outlooks.lock().unwrap_or_else(PoisonError::into_inner).get(&number) {
            return Ok(known.clone());
        }
        let asked = self.catalogue.checks[number].asked();
        let row = self.row(asked)?;
        let good = &row[self.faults.len()];
        let mut of = Vec::new();
        for (fault, expected) in row.iter().enumerate() {
            of.extend(forecast(expected, asked, share(self.faults.get(fault), expected, good)));
        }
        let outlook = Arc::new(Outlook { count: answers(asked), of });
        self.outlooks.lock().unwrap_or_else(PoisonError::into_inner).insert(number, outlook.clone());
        Ok(outlook)
    }
}

fn entropy(shares: impl Iterator<Item = f64>) -> f64 {
    shares.filter(|share| *share > 0.0).map(|share| -share * share.log2()).sum()
}
