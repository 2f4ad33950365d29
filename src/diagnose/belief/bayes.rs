//! Bayes' rule over the suspects, and the weight of evidence of every answer.
//!
//! An answer is either the correct observation or a slip: the person misread, touched paint or was misheard, and every answer is equally
//! likely. Under a hypothesis its probability is `(1 - slip) * fit + slip * at_random`. The weight of evidence is I. J. Good's: the logarithm of
//! the ratio of an answer's probability under a hypothesis to that under all others (Probability and the Weighing of Evidence, 1950; from
//! memory).

/// The likelihood of one answer under every hypothesis.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::diagnose) struct Evidence {
    /// Probability of the answer under each hypothesis, without a slip.
    pub fit: Vec<f64>,
    /// Probability of the answer when it is a slip.
    pub at_random: f64,
    /// Probability that it is a slip.
    pub slip: f64,
}

impl Evidence {
    /// Probability of the answer under a hypothesis.
    pub fn under(&self, hypothesis: usize) -> f64 {
        (1.0 - self.slip) * self.fit[hypothesis] + self.slip * self.at_random
    }

    /// Whether a hypothesis explains it without a slip.
    pub fn fits(&self, hypothesis: usize) -> bool {
        self.fit[hypothesis] > self.slip * self.at_random
    }
}

/// The posterior after some answers.
#[derive(Debug, Clone, PartialEq)]
pub(in crate::diagnose) struct Belief {
    /// Probability of each hypothesis.
    pub weight: Vec<f64>,
    /// Probability of each answer to have been a slip.
    pub slips: Vec<f64>,
}

/// The posterior from priors (on any positive scale) and answers.
pub(in crate::diagnose) fn believe(prior: &[f64], answers: &[Evidence]) -> Belief {
    let logs = log_joint(prior, answers);
    let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let mut weight: Vec<f64> = logs.iter().map(|l| (l - most).exp()).collect();
    let sum: f64 = weight.iter().sum();
    weight.iter_mut().for_each(|w| *w /= sum);
    let slip = |e: &Evidence| -> f64 {
        weight.iter().enumerate().map(|(h, w)| w * e.slip * e.at_random / e.under(h).max(f64::MIN_POSITIVE)).sum()
    };
    let slips = answers.iter().map(slip).collect();
    Belief { weight, slips }
}

/// The natural logarithm of the answers' probability, whatever hypothesis holds.
pub(in crate::diagnose) fn log_evidence(prior: &[f64], answers: &[Evidence]) -> f64 {
    let logs = log_joint(prior, answers);
    let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let sum: f64 = logs.iter().map(|l| (l - most).exp()).sum();
    most + sum.ln() - prior.iter().sum::<f64>().ln()
}

/// The logarithm of prior times likelihood, for each hypothesis.
fn log_joint(prior: &[f64], answers: &[Evidence]) -> Vec<f64> {
    let log = |h: usize| prior[h].ln() + answers.iter().map(|e| e.under(h).max(f64::MIN_POSITIVE).ln()).sum::<f64>();
    (0..prior.len()).map(log).collect()
}

/// The posterior if one answer had not been given.
pub(in crate::diagnose) fn without(belief: &Belief, answer: &Evidence) -> Belief {
    let mut weight: Vec<f64> =
        belief.weight.iter().enumerate().map(|(h, w)| w / answer.under(h).max(f64::MIN_POSITIVE)).collect();
    let sum: f64 = weight.iter().sum();
    weight.iter_mut().for_each(|w| *w /= sum);
    Belief { weight, slips: Vec::new() }
}

/// The weight of evidence of each answer in turn, for the hypotheses in `group` against all others. The weights add up to the base-10
/// logarithm of the ratio of posterior to prior odds.
pub(in crate::diagnose) fn evidence_for(prior: &[f64], answers: &[Evidence], group: &[usize]) -> Vec<f64> {
    let mut weight = prior.to_vec();
    let mut all = Vec::with_capacity(answers.len());
    for answer in answers {
        let (mut inside, mut outside) = ((0.0, 0.0), (0.0, 0.0));
        let mut sum = 0.0;
        for (h, w) in weight.iter_mut().enumerate() {
            let p = answer.under(h);
            let side = if group.contains(&h) { &mut inside } else { &mut outside };
            *side = (side.0 + *w * p, side.1 + *w);
            *w *= p;
            sum += *w;
        }
        all.push(((inside.0 / inside.1) / (outside.0 / outside.1)).log10());
        weight.iter_mut().for_each(|w| *w /= sum);
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(a: f64, b: f64, within: f64) {
        assert!((a - b).abs() < within, "{a} and not {b}");
    }

    fn sure(fit: &[f64]) -> Evidence {
        Evidence { fit: fit.to_vec(), at_random: 0.5, slip: 0.0 }
    }

    /// D. M. Eddy, Probabilistic reasoning in clinical medicine (in Kahneman, Slovic, Tversky, 1982; figures from memory): one in a
    /// hundred is ill, the test finds 79.2 % of the ill and errs in 9.6 % of the others. After a positive test: 7.7 %.
    #[test]
    fn a_worked_example_of_bayes_rule() {
        let positive = sure(&[0.792, 0.096]);
        let after = believe(&[1.0, 99.0], std::slice::from_ref(&positive));
        close(after.weight[0], 0.077, 0.0005);
        // By hand: log10(0.792 / 0.096) = 0.9165; odds before 1/99, after 0.0833.
        let evidence = evidence_for(&[1.0, 99.0], &[positive], &[0]);
        close(evidence[0], 0.9165, 0.0001);
        close((after.weight[0] / after.weight[1]).log10() - (1.0f64 / 99.0).log10(), evidence[0], 1e-12);
    }

    /// Three faults, 6 : 3 : 1. First answer fits the first two, second one fits the last alone; a slip of 0.02 takes one of two.
    /// By hand: p = 0.98 + 0.01 = 0.99 where it fits, 0.01 where not. Products 6 * 0.99 * 0.01, 3 * 0.99 * 0.01, 1 * 0.01 * 0.99: weights
    /// 0.6, 0.3, 0.1. A slip is the second answer under the first two, the first one under the last: 0.9 and 0.1, beside
    /// 0.01 / 0.99 where the answer fits.
    #[test]
    fn two_answers_that_do_not_fit_together() {
        let one = |fit: &[f64]| Evidence { fit: fit.to_vec(), at_random: 0.5, slip: 0.02 };
        let answers = [one(&[1.0, 1.0, 0.0]), one(&[0.0, 0.0, 1.0])];
        let after = believe(&[6.0, 3.0, 1.0], &answers);
        for (got, by_hand) in after.weight.iter().zip([0.6, 0.3, 0.1]) {
            close(*got, by_hand, 1e-12);
        }
        // 10 * 0.99 * 0.01 of 10.
        close(log_evidence(&[6.0, 3.0, 1.0], &answers), 0.0099f64.ln(), 1e-12);
        close(after.slips[1], 0.9 + 0.1 * 0.01 / 0.99, 1e-12);
        close(after.slips[0], 0.1 + 0.9 * 0.01 / 0.99, 1e-12);
        assert!((0..3).all(|h| !answers.iter().all(|e| e.fits(h))));
    }

    #[test]
    fn many_answers_leave_numbers() {
        let answers = vec![Evidence { fit: vec![0.0, 1e-9], at_random: 1e-6, slip: 0.01 }; 2000];
        let after = believe(&[1.0, 1.0], &answers);
        close(after.weight.iter().sum::<f64>(), 1.0, 1e-9);
        assert!(after.weight[1] > 0.999 && after.slips.iter().all(|s| s.is_finite()));
    }

    proptest::proptest! {
        #[test]
        fn the_evidence_is_the_change_of_the_odds(fits in proptest::collection::vec(proptest::array::uniform4(0.0f64..1.0), 1..12)) {
            let prior = [5.0, 1.0, 2.0, 0.5];
            let answers: Vec<Evidence> =
                fits.iter().map(|fit| Evidence { fit: fit.to_vec(), at_random: 0.3, slip: 0.02 }).collect();
            let after = believe(&prior, &answers).weight;
            let odds = |w: &[f64]| (w[0] + w[2]) / (w[1] + w[3]);
            let sum: f64 = evidence_for(&prior, &answers, &[0, 2]).iter().sum();
            proptest::prop_assert!((odds(&after).log10() - odds(&prior).log10() - sum).abs() < 1e-9);
        }
    }
}
