//! How good a procedure is at finding faults, in the terms of IEEE 1522 (testability and diagnosability metrics; the definitions
//! are given here from memory): fraction of faults detected, fraction isolated, size of ambiguity groups.
//!
//! A fault is *detected* when the walk does not end in a conclusion that says all is well. It is *isolated* when the conclusion
//! condemns its part and no fault of another part leads to the same conclusion. Its *ambiguity group* is everything that leads to
//! the same conclusion, counted in parts to be repaired: which of two faults of one coil it is does not matter to the mechanic.

use super::Outcome;
use crate::circuit::faults::Fault;
use serde::Serialize;
use std::collections::BTreeMap;

/// What became of one fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// The conclusion condemns its part.
    Found,
    /// The walk mended it on the way and went on.
    Mended,
    /// Something is wrong, says the conclusion, and condemns nothing.
    Undecided,
    /// The conclusion says that all is well.
    Missed,
    /// The conclusion condemns parts, and the faulty one is not among them.
    Wrong,
}

/// What became of a case with these faults.
pub fn judge(faults: &[&Fault], outcome: &Outcome) -> Verdict {
    let meant = |name: &String| faults.iter().any(|f| f.parts.contains(name));
    let condemns = &outcome.reached.condemns;
    if condemns.iter().any(meant) {
        Verdict::Found
    } else if !condemns.is_empty() {
        Verdict::Wrong
    } else if faults.iter().any(|f| f.is_mended(&outcome.mended)) {
        Verdict::Mended
    } else if outcome.reached.healthy {
        Verdict::Missed
    } else {
        Verdict::Undecided
    }
}

/// One fault and what became of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Judgement {
    /// Its number.
    pub fault: usize,
    /// What leads to the same end shares this.
    pub end: String,
    /// How it was judged.
    pub verdict: Verdict,
    /// Questions asked.
    pub steps: usize,
    /// Working minutes.
    pub minutes: f64,
    /// Minutes for changes of side and of set-up between the checks.
    pub set_up: f64,
}

/// The figures over all faults, each counted once or by its likelihood.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Figures {
    /// Share of the faults that are detected.
    pub fault_detection_rate: f64,
    /// Share of the detected faults that are isolated to one part.
    pub fault_isolation_rate: f64,
    /// The same to at most two and at most three parts.
    pub isolated_to_two: f64,
    /// At most three.
    pub isolated_to_three: f64,
    /// Mean size of a fault's ambiguity group, in parts.
    pub mean_ambiguity_group: f64,
    /// Mean size of a fault's ambiguity group, in faults.
    pub mean_ambiguity_group_faults: f64,
    /// Mean number of questions.
    pub mean_steps: f64,
    /// Mean working minutes.
    pub mean_minutes: f64,
    /// The same with changes of side and of set-up between the checks.
    pub mean_minutes_with_set_up: f64,
}

/// Ambiguity groups: the faults that share an end.
pub fn groups(judged: &[Judgement]) -> BTreeMap<&str, Vec<usize>> {
    let mut groups: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for one in judged {
        groups.entry(&one.end).or_default().push(one.fault);
    }
    groups
}

/// Size of a group in parts: how many have to be repaired so that whichever of the faults it was is gone (found greedily; a
/// fault of several parts is gone with any of them).
pub fn parts(of: &[usize], faults: &[Fault]) -> usize {
    let mut left: Vec<&Fault> = of.iter().map(|f| &faults[*f]).collect();
    let mut repaired = 0;
    while !left.is_empty() {
        let mut names: BTreeMap<&str, usize> = BTreeMap::new();
        left.iter().flat_map(|f| &f.parts).for_each(|part| *names.entry(part).or_default() += 1);
        let Some((part, _)) = names.into_iter().max_by_key(|(_, n)| *n) else { break };
        left.retain(|f| !f.parts.iter().any(|p| p == part));
        repaired += 1;
    }
    repaired
}

/// The figures; `weight` is how much each fault counts.
pub fn measure(judged: &[Judgement], faults: &[Fault], weight: impl Fn(&Fault) -> f64) -> Figures {
    let groups = groups(judged);
    let (mut all, mut detected) = (0.0, 0.0);
    let mut isolated = [0.0; 3];
    let mut sums = [0.0; 5];
    for one in judged {
        let w = weight(&faults[one.fault]);
        let group = &groups[one.end.as_str()];
        let size = parts(group, faults);
        all += w;
        let in_all = one.minutes + one.set_up;
        let values = [size as f64, group.len() as f64, one.steps as f64, one.minutes, in_all];
        for (sum, value) in sums.iter_mut().zip(values) {
            *sum += w * value;
        }
        if one.verdict != Verdict::Missed {
            detected += w;
        }
        if matches!(one.verdict, Verdict::Found | Verdict::Mended) {
            isolated.iter_mut().enumerate().filter(|(n, _)| size <= n + 1).for_each(|(_, sum)| *sum += w);
        }
    }
    let share = |part: f64, whole: f64| if whole > 0.0 { part / whole } else { 0.0 };
    Figures {
        fault_detection_rate: share(detected, all),
        fault_isolation_rate: share(isolated[0], detected),
        isolated_to_two: share(isolated[1], detected),
        isolated_to_three: share(isolated[2], detected),
        mean_ambiguity_group: share(sums[0], all),
        mean_ambiguity_group_faults: share(sums[1], all),
        mean_steps: share(sums[2], all),
        mean_minutes: share(sums[3], all),
        mean_minutes_with_set_up: share(sums[4], all),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fault(id: &str, part: &str, likelihood: f64) -> Fault {
        Fault {
            id: id.to_owned(),
            kind: id.to_owned(),
            place: String::new(),
            severity: None,
            unit: None,
            counts: true,
            words: String::new(),
            parts: vec![part.to_owned()],
            likelihood,
            only_by_substitution: None,
            alterations: Vec::new(),
            looks: Vec::new(),
        }
    }

    fn judged(fault: usize, end: &str, verdict: Verdict, steps: usize) -> Judgement {
        Judgement { fault, end: end.to_owned(), verdict, steps, minutes: steps as f64 * 2.0, set_up: 1.0 }
    }

    /// Five faults of four parts with failure rates 4, 3, 1, 1, 1. By hand: four of five are detected, 9/10 by rate. To one part
    /// are isolated f0 and f1 (one group, both of the coil): 2 of 4 detected, 7/9 by rate. f2 and f3 share an end (two
    /// parts). Group sizes in parts 1, 1, 2, 2, 1: mean 7/5, by rate (4 + 3 + 2 + 2 + 1)/10 = 1.2; in faults 2, 2, 2, 2, 1: 9/5.
    #[test]
    fn worked_example() {
        let faults =
            [("f0", "coil", 4.0), ("f1", "coil", 3.0), ("f2", "key", 1.0), ("f3", "fuse", 1.0), ("f4", "plug", 1.0)]
                .map(|(id, part, weight)| fault(id, part, weight));
        let all = [
            judged(0, "coil-bad", Verdict::Found, 10),
            judged(1, "coil-bad", Verdict::Found, 10),
            judged(2, "no-feed", Verdict::Found, 4),
            judged(3, "no-feed", Verdict::Undecided, 4),
            judged(4, "good", Verdict::Missed, 20),
        ];
        let plain = measure(&all, &faults, |_| 1.0);
        let close = |a: f64, b: f64| assert!((a - b).abs() < 1e-12, "{a} and not {b}");
        close(plain.fault_detection_rate, 4.0 / 5.0);
        close(plain.fault_isolation_rate, 2.0 / 4.0);
        close(plain.isolated_to_two, 3.0 / 4.0);
        close(plain.mean_ambiguity_group, 7.0 / 5.0);
        close(plain.mean_ambiguity_group_faults, 9.0 / 5.0);
        close(plain.mean_steps, 48.0 / 5.0);
        let by_rate = measure(&all, &faults, |f| f.likelihood);
        close(by_rate.fault_detection_rate, 9.0 / 10.0);
        close(by_rate.fault_isolation_rate, 7.0 / 9.0);
        close(by_rate.mean_ambiguity_group, 1.2);
        close(by_rate.mean_minutes, 2.0 * (70.0 + 8.0 + 20.0) / 10.0);
        close(by_rate.mean_minutes_with_set_up, by_rate.mean_minutes + 1.0);
    }

    #[test]
    fn nothing_gives_no_number_that_is_none() {
        assert_eq!(measure(&[], &[], |_| 1.0).mean_steps, 0.0);
    }
}
