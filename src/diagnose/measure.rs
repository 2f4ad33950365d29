//! How good a procedure is at finding faults, in the terms of IEEE 1522 (testability and diagnosability metrics; the definitions
//! are given here from memory): fraction of faults detected, fraction isolated, size of ambiguity groups.
//!
//! A fault is *detected* when the walk ends in a conclusion that says something is wrong and names no wrong cause. It is *isolated* when
//! every fault that leads to the same end has one cure; by name, when the conclusion names one cure. Its *ambiguity group* is everything
//! that leads to the same conclusion, counted in parts to be repaired: which of two faults of one coil it is does not matter to the mechanic.

use super::causes::Causes;
use super::said::Said;
use super::{Outcome, Verdict};
use crate::circuit::faults::Fault;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// One fault and what became of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Judgement {
    /// Its number.
    pub fault: usize,
    /// It harms, and the procedure is there to find it.
    pub counts: bool,
    /// The conclusion condemns a part of it, or the walk mended it on the way.
    pub part_found: bool,
    /// The conclusion condemns parts, and none of them is at fault.
    pub removes_sound: bool,
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
    /// How much was said.
    pub said: Said,
}

/// The figures, each fault counted once or by its likelihood.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Figures {
    /// Share of the faults under which the walk says that something is wrong and names no wrong cause.
    pub detection_rate: f64,
    /// Share of the faults for which the right cause is named, or mended on the way.
    pub right_cause_rate: f64,
    /// Share of the walks under any fault, those included that are mild or another procedure's, that condemn sound parts only.
    pub false_removal_rate: f64,
    /// Share of the sound bikes that are called faulty.
    pub false_alarm_rate: f64,
    /// Share of the detected faults at whose end only faults of one cure arrive.
    pub isolation_rate: f64,
    /// Share of the detected faults whose conclusion names one cure.
    pub isolation_rate_named: f64,
    /// Mean number of questions.
    pub mean_questions: f64,
    /// The same as `detection_rate`, under its old name.
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
    /// The same as `mean_questions`, under its old name.
    pub mean_steps: f64,
    /// Mean working minutes.
    pub mean_minutes: f64,
    /// The same with changes of side and of set-up between the checks.
    pub mean_minutes_with_set_up: f64,
    /// Mean number of words said, cautions not counted.
    pub mean_words: f64,
    /// Mean number of them until the first answer that tells something about the circuit.
    pub words_to_first_fact: f64,
    /// Mean number of words of cautions.
    pub caution_words: f64,
    /// Mean number of cautions acknowledged.
    pub mean_acknowledgements: f64,
    /// Nine of ten faults come to their end within these minutes, changes of set-up included.
    pub minutes_90: f64,
    /// In best order: the share of faults that come to their end more than ten minutes later than in the written order.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub later_than_written_share: Option<f64>,
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

/// What mends the faults of a group: one text for each cause.
pub(super) fn cures<'f>(of: &[usize], faults: &'f [Fault]) -> BTreeSet<&'f str> {
    of.iter().map(|f| faults[*f].cure.as_str()).collect()
}

/// The figures over all walks under a fault; `false_alarm` says that the sound bike was called faulty, `weight` how much each fault counts.
pub fn measure(walked: &[Judgement], faults: &[Fault], false_alarm: bool, weight: impl Fn(&Fault) -> f64) -> Figures {
    let judged: Vec<Judgement> = walked.iter().filter(|one| one.counts).cloned().collect();
    let groups = groups(&judged);
    let (mut all, mut detected, mut right, mut one_cure) = (0.0, 0.0, 0.0, 0.0);
    let mut isolated = [0.0; 3];
    let mut sums = [0.0; 9];
    for one in &judged {
        let w = weight(&faults[one.fault]);
        let group = &groups[one.end.as_str()];
        let size = parts(group, faults);
        all += w;
        let in_all = one.minutes + one.set_up;
        let Said { words, caution_words, acknowledged, until_first_fact } = one.said;
        let said = [words, until_first_fact.unwrap_or(words), caution_words, acknowledged].map(|n| n as f64);
        let values = [size as f64, group.len() as f64, one.steps as f64, one.minutes, in_all].into_iter().chain(said);
        for (sum, value) in sums.iter_mut().zip(values) {
            *sum += w * value;
        }
        let names_it = matches!(one.verdict, Verdict::Right | Verdict::Ambiguous);
        if names_it || one.verdict == Verdict::Undecided {
            detected += w;
        }
        if one.verdict == Verdict::Right {
            right += w;
        }
        if names_it && cures(group, faults).len() == 1 {
            one_cure += w;
        }
        if names_it && one.part_found {
            isolated.iter_mut().enumerate().filter(|(n, _)| size <= n + 1).for_each(|(_, sum)| *sum += w);
        }
    }
    let share = |part: f64, whole: f64| if whole > 0.0 { part / whole } else { 0.0 };
    let weigh = |of: &Judgement| weight(&faults[of.fault]);
    let removed: f64 = walked.iter().filter(|one| one.removes_sound).map(weigh).fold(0.0, |sum, w| sum + w);
    Figures {
        detection_rate: share(detected, all),
        right_cause_rate: share(right, all),
        false_removal_rate: share(removed, walked.iter().map(weigh).sum()),
        false_alarm_rate: f64::from(u8::from(false_alarm)),
        isolation_rate: share(one_cure, detected),
        isolation_rate_named: share(right, detected),
        mean_questions: share(sums[2], all),
        fault_detection_rate: share(detected, all),
        fault_isolation_rate: share(isolated[0], detected),
        isolated_to_two: share(isolated[1], detected),
        isolated_to_three: share(isolated[2], detected),
        mean_ambiguity_group: share(sums[0], all),
        mean_ambiguity_group_faults: share(sums[1], all),
        mean_steps: share(sums[2], all),
        mean_minutes: share(sums[3], all),
        mean_minutes_with_set_up: share(sums[4], all),
        mean_words: share(sums[5], all),
        words_to_first_fact: share(sums[6], all),
        caution_words: share(sums[7], all),
        mean_acknowledgements: share(sums[8], all),
        minutes_90: minutes_90(&judged, weigh),
        later_than_written_share: None,
    }
}

/// The minutes within which nine of ten come to their end.
fn minutes_90(judged: &[Judgement], weigh: impl Fn(&Judgement) -> f64) -> f64 {
    let mut all: Vec<(f64, f64)> = judged.iter().map(|one| (one.minutes + one.set_up, weigh(one))).collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let sum: f64 = all.iter().map(|(_, weight)| weight).sum();
    let mut so_far = 0.0;
    for (minutes, weight) in &all {
        so_far += weight;
        if so_far >= 0.9 * sum - 1e-12 {
            return *minutes;
        }
    }
    0.0
}

/// The share of faults that come to their end more than ten minutes later than in the written order.
pub(super) fn later_share(
    judged: &[Judgement],
    faults: &[Fault],
    written: impl Fn(usize) -> Option<f64>,
    weight: impl Fn(&Fault) -> f64,
) -> f64 {
    const LATER: f64 = 10.0;
    let (mut later, mut all) = (0.0, 0.0);
    for one in judged.iter().filter(|one| one.counts) {
        let Some(before) = written(one.fault) else { continue };
        let weight = weight(&faults[one.fault]);
        all += weight;
        later += if one.minutes + one.set_up > before + LATER { weight } else { 0.0 };
    }
    if all > 0.0 { later / all } else { 0.0 }
}

/// What became of one fault of `faults`.
pub(super) fn judgement(fault: usize, faults: &[Fault], causes: &mut Causes<'_>, outcome: &Outcome) -> Judgement {
    let case = [fault];
    let (verdict, mended) = (causes.judge(&case, outcome), causes.mended(&case, outcome));
    let end = match verdict {
        // Whoever mends it has seen which cause it was.
        Verdict::Right if mended && outcome.reached.means.is_empty() => {
            format!("{}, after: {}", outcome.reached.name(), faults[fault].cure)
        }
        _ => outcome.reached.name(),
    };
    Judgement {
        fault,
        counts: faults[fault].counts,
        part_found: mended || causes.condemns_one(&case, outcome),
        removes_sound: causes.removes_sound(&case, outcome),
        end,
        verdict,
        steps: outcome.steps,
        minutes: outcome.minutes,
        set_up: outcome.set_up,
        said: outcome.said,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fault(id: &str, part: &str, cure: &str, likelihood: f64) -> Fault {
        Fault {
            id: id.to_owned(),
            kind: id.to_owned(),
            place: String::new(),
            severity: None,
            unit: None,
            counts: true,
            words: String::new(),
            parts: vec![part.to_owned()],
            cure: cure.to_owned(),
            likelihood,
            only_by_substitution: None,
            alterations: Vec::new(),
            looks: Vec::new(),
        }
    }

    fn judged(fault: usize, end: &str, verdict: Verdict, steps: usize) -> Judgement {
        let (part_found, removes_sound) = (verdict == Verdict::Right, verdict == Verdict::Wrong);
        let (end, minutes) = (end.to_owned(), steps as f64 * 2.0);
        let said = Said { words: 10 * steps, caution_words: 5, acknowledged: 2, until_first_fact: Some(7) };
        Judgement { fault, counts: true, part_found, removes_sound, end, verdict, steps, minutes, set_up: 1.0, said }
    }

    /// Six faults of five parts with failure rates 4, 3, 1, 1, 1, 2, and a seventh of rate 3 that does not count. By hand: f0 to f3 of the
    /// six are detected, 9/12 by rate (f4 is missed, f5 ends with a sound part condemned). Right are f0, f1 and f2: 3/6, 8/12. A sound part
    /// is condemned under f5 and f6: 2 of 7 walks, 5/15 by rate. f0 and f1 share an end, a part and not a cure: to one part are isolated f0
    /// and f1, 2 of 4, 7/9; to one cure nothing, since f2 and f3 share an end too (two parts, two cures). By name f0, f1 and f2: 3/4, 8/9.
    /// Group sizes in parts 1, 1, 2, 2, 1, 1: mean 8/6, by rate (4 + 3 + 2 + 2 + 1 + 2)/12; in faults 2, 2, 2, 2, 1, 1: 10/6.
    #[test]
    fn worked_example() {
        let faults = [
            ("f0", "coil", "replace", 4.0),
            ("f1", "coil", "exchange", 3.0),
            ("f2", "key", "clean", 1.0),
            ("f3", "fuse", "renew", 1.0),
            ("f4", "plug", "gap", 1.0),
            ("f5", "cap", "cap", 2.0),
            ("f6", "lead", "lead", 3.0),
        ]
        .map(|(id, part, cure, weight)| fault(id, part, cure, weight));
        let mild = Judgement { counts: false, ..judged(6, "coil-bad", Verdict::Wrong, 10) };
        let all = [
            judged(0, "coil-bad", Verdict::Right, 10),
            judged(1, "coil-bad", Verdict::Right, 10),
            judged(2, "no-feed", Verdict::Right, 4),
            judged(3, "no-feed", Verdict::Undecided, 4),
            judged(4, "good", Verdict::Missed, 20),
            judged(5, "lead-bad", Verdict::Wrong, 10),
            mild,
        ];
        let plain = measure(&all, &faults, false, |_| 1.0);
        let close = |a: f64, b: f64| assert!((a - b).abs() < 1e-12, "{a} and not {b}");
        close(plain.detection_rate, 4.0 / 6.0);
        close(plain.right_cause_rate, 3.0 / 6.0);
        close(plain.false_removal_rate, 2.0 / 7.0);
        close(plain.false_alarm_rate, 0.0);
        close(plain.isolation_rate, 0.0);
        close(plain.isolation_rate_named, 3.0 / 4.0);
        close(plain.fault_isolation_rate, 2.0 / 4.0);
        close(plain.isolated_to_two, 3.0 / 4.0);
        close(plain.mean_ambiguity_group, 8.0 / 6.0);
        close(plain.mean_ambiguity_group_faults, 10.0 / 6.0);
        close(plain.mean_questions, 58.0 / 6.0);
        let by_rate = measure(&all, &faults, true, |f| f.likelihood);
        close(by_rate.detection_rate, 9.0 / 12.0);
        close(by_rate.right_cause_rate, 8.0 / 12.0);
        close(by_rate.false_removal_rate, 5.0 / 15.0);
        close(by_rate.false_alarm_rate, 1.0);
        close(by_rate.isolation_rate_named, 8.0 / 9.0);
        close(by_rate.fault_isolation_rate, 7.0 / 9.0);
        close(by_rate.mean_ambiguity_group, 14.0 / 12.0);
        close(by_rate.mean_minutes, 2.0 * (70.0 + 8.0 + 20.0 + 20.0) / 12.0);
        close(by_rate.mean_minutes_with_set_up, by_rate.mean_minutes + 1.0);
        close(by_rate.mean_words, 10.0 * by_rate.mean_questions);
        close(by_rate.words_to_first_fact, 7.0);
        close(by_rate.caution_words, 5.0);
        close(by_rate.mean_acknowledgements, 2.0);
        // By rate 2 of 12 within 9 minutes, 11 within 21, all within 41: nine tenths are passed at 21.
        close(by_rate.minutes_90, 21.0);
        close(later_share(&all, &faults, |_| Some(10.0), |f| f.likelihood), 10.0 / 12.0);
    }

    /// Two faults with one cure at one end, and one alone: all of them isolated.
    #[test]
    fn faults_of_one_cure_at_one_end_are_isolated() {
        let faults = [("a", "x"), ("b", "x"), ("c", "y")].map(|(id, cure)| fault(id, id, cure, 1.0));
        let ends = ["one", "one", "two"];
        let all: Vec<Judgement> = (0..3).map(|n| judged(n, ends[n], Verdict::Right, 1)).collect();
        assert_eq!(measure(&all, &faults, false, |_| 1.0).isolation_rate, 1.0);
    }

    #[test]
    fn nothing_gives_no_number_that_is_none() {
        assert_eq!(measure(&[], &[], false, |_| 1.0).mean_steps, 0.0);
    }
}
