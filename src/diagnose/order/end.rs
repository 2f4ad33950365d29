//! Where a walk in best order ends: what was found, or what is still needed before the bike can be called sound.

use super::given::Given;
use super::grounds::{Grounds, Known};
use crate::advice::{Chosen, Found, Next};
use crate::diagnose::weights::{MOST_NAMED, WORTH_NAMING};
use crate::diagnose::words::{sentence, spoken};
use std::collections::BTreeSet;

/// What is needed before the bike can be called sound.
pub(super) enum Needs {
    /// Nothing more.
    Met,
    /// These checks. One whose latest answer alone was bad is among them.
    Open(Vec<usize>),
    /// One of them was twice in a row not as on a healthy bike.
    Bad,
}

impl Grounds<'_> {
    /// The causes that nothing tells apart any more, the heaviest first.
    pub(super) fn left(&self, by_cause: &[f64]) -> Vec<usize> {
        let mut all: Vec<usize> = (0..self.causes - 1).filter(|cause| by_cause[*cause] >= WORTH_NAMING).collect();
        all.sort_by(|a, b| by_cause[*b].total_cmp(&by_cause[*a]).then(a.cmp(b)));
        all.truncate(MOST_NAMED);
        all
    }

    /// What is needed before the bike can be called sound.
    pub(super) fn needs(&self, given: &[Given], open: &[usize]) -> Needs {
        let checks = &self.catalogue.checks;
        let wanted: Vec<usize> = open.iter().copied().filter(|number| checks[*number].is_needed).collect();
        let made = (0..checks.len()).filter(|number| checks[*number].is_needed && !wanted.contains(number));
        let answers = |number: &usize| self.answers_to(*number, given).filter(|one| !one.told);
        let last_is_bad = |number: &usize| answers(number).next().is_some_and(Given::is_bad);
        let bad: Vec<usize> = made.filter(last_is_bad).collect();
        let times = |number: &usize| answers(number).take_while(|one| one.is_bad()).count();
        match bad.iter().all(|number| times(number) == 1) {
            true if bad.is_empty() && wanted.is_empty() => Needs::Met,
            true => Needs::Open(bad.into_iter().chain(wanted).collect()),
            false => Needs::Bad,
        }
    }

    /// These causes as a conclusion.
    pub(super) fn found(&self, known: &Known, causes: &[usize]) -> Found {
        let mut found = Found::default();
        let (mut words, mut remedies) = (Vec::new(), Vec::new());
        for cause in causes.iter().filter(|cause| known.by_cause[**cause] > 0.0) {
            let of = |number: &usize| self.cause[*number] == *cause && self.prior[*number] > 0.0;
            let weight = &known.belief.weight;
            let all = (0..self.faults.len()).filter(of);
            let Some(heaviest) = all.clone().max_by(|a, b| weight[*a].total_cmp(&weight[*b])) else { continue };
            let fault = &self.faults[heaviest];
            found.means.extend(all.map(|number| self.faults[number].group()).collect::<BTreeSet<_>>());
            words.push(spoken(&fault.words, self.world));
            let written = self.catalogue.ends[heaviest].as_ref();
            let written = written.filter(|end| end.is_one_cause && fault.is_one_of(&end.means));
            remedies.push(written.map_or_else(|| sentence(&spoken(&fault.cure, self.world)), |end| end.remedy.clone()));
            if causes.len() == 1 {
                found.condemns = written.map_or_else(|| fault.parts.clone(), |end| end.condemns.clone());
            }
            let Some(end) = written else { continue };
            if found.conclusion.is_empty() {
                found.conclusion.clone_from(&end.conclusion);
                found.round.clone_from(&end.round);
                found.recheck.clone_from(&end.recheck);
            }
            for caution in &end.cautions {
                if !found.cautions.contains(caution) {
                    found.cautions.push(caution.clone());
                }
            }
        }
        if found.conclusion.is_empty() {
            found.conclusion = found.means.first().cloned().unwrap_or_default();
        }
        found.cause = sentence(&words.join(", or "));
        found.remedy = remedies.join(" ");
        found
    }
}

pub(super) fn found(found: Found) -> Chosen {
    Chosen { next: Next::Found(Box::new(found)), ..Chosen::default() }
}
