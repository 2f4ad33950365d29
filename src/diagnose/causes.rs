//! Causes: the faults that one remedy mends, and what a conclusion that names faults means by them on this bike.

use super::Outcome;
use crate::circuit::faults::Fault;
use serde::Serialize;
use std::collections::{BTreeSet, HashMap};

/// What became of one fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// The conclusion names the fault, and its remedy mends every fault that it names; or the walk mended the fault on the way.
    Right,
    /// The conclusion names the fault among others that need another remedy.
    Ambiguous,
    /// Something is wrong, says the conclusion, and names nothing.
    Undecided,
    /// The conclusion says that all is well.
    Missed,
    /// The conclusion names other faults, or condemns a part, and does not name the fault.
    Wrong,
}

/// The faults of a bike that one conclusion names.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Named {
    /// Their numbers.
    pub faults: BTreeSet<usize>,
    /// What mends them: one text for each cause.
    pub cures: BTreeSet<String>,
}

/// Judges conclusions by the faults that they name.
pub struct Causes<'f> {
    faults: &'f [Fault],
    known: HashMap<Vec<String>, Named>,
}

impl<'f> Causes<'f> {
    /// For a bike's faults.
    pub fn new(faults: &'f [Fault]) -> Self {
        Self { faults, known: HashMap::new() }
    }

    /// The faults that these names mean.
    pub fn named(&mut self, means: &[String]) -> &Named {
        let faults = self.faults;
        self.known.entry(means.to_vec()).or_insert_with(|| {
            let numbers: BTreeSet<usize> = (0..faults.len()).filter(|n| faults[*n].is_one_of(means)).collect();
            let cures = numbers.iter().map(|n| faults[*n].cure.clone()).collect();
            Named { faults: numbers, cures }
        })
    }

    /// What became of a case with these faults.
    pub fn judge(&mut self, case: &[usize], outcome: &Outcome) -> Verdict {
        let reached = &outcome.reached;
        let named = self.named(&reached.means);
        let (names_it, names_any, cures) =
            (case.iter().any(|f| named.faults.contains(f)), !named.faults.is_empty(), named.cures.len());
        match () {
            () if names_it && cures == 1 => Verdict::Right,
            () if names_it => Verdict::Ambiguous,
            () if names_any || !reached.condemns.is_empty() => Verdict::Wrong,
            () if self.mended(case, outcome) => Verdict::Right,
            () if reached.healthy => Verdict::Missed,
            () => Verdict::Undecided,
        }
    }

    /// Whether the walk mended one of these faults on the way: a step names the fault. A part put in for a test mends nothing for good.
    pub fn mended(&self, case: &[usize], outcome: &Outcome) -> bool {
        !outcome.mended.is_empty() && case.iter().any(|f| self.faults[*f].is_repaired(&outcome.mended))
    }

    /// Whether the conclusion condemns parts, and none of them is at fault.
    pub fn removes_sound(&self, case: &[usize], outcome: &Outcome) -> bool {
        let condemned = &outcome.reached.condemns;
        !condemned.is_empty() && !self.condemns_one(case, outcome)
    }

    /// Whether the conclusion condemns a part that is at fault.
    pub(super) fn condemns_one(&self, case: &[usize], outcome: &Outcome) -> bool {
        case.iter().flat_map(|f| &self.faults[*f].parts).any(|part| outcome.reached.condemns.contains(part))
    }
}

#[cfg(test)]
mod tests {
    use super::super::outcome::{Outcome, Reached};
    use super::*;

    fn fault(kind: &str, place: &str, part: &str, cure: &str) -> Fault {
        Fault {
            id: format!("{kind}:{place}"),
            kind: kind.to_owned(),
            place: place.to_owned(),
            severity: None,
            unit: None,
            counts: true,
            words: String::new(),
            parts: vec![part.to_owned()],
            cure: cure.to_owned(),
            likelihood: 1.0,
            only_by_substitution: None,
            alterations: Vec::new(),
            looks: Vec::new(),
        }
    }

    fn ended(means: &[&str], condemns: &[&str], mended: &[&str], healthy: bool) -> Outcome {
        let all = |names: &[&str]| names.iter().map(|n| (*n).to_owned()).collect::<Vec<String>>();
        let reached = Reached {
            procedure: "p".to_owned(),
            conclusion: "c".to_owned(),
            round: None,
            condemns: all(condemns),
            means: all(means),
            healthy,
        };
        let mended = all(mended).into_iter().collect();
        Outcome {
            reached,
            mended,
            steps: 1,
            minutes: 1.0,
            set_up: 0.0,
            said: Default::default(),
            last: None,
            slip: None,
        }
    }

    #[test]
    fn a_conclusion_is_right_when_its_one_remedy_mends_what_is_wrong() {
        let faults = [
            fault("wires-swapped", "", "wire", "exchange back"),
            fault("wire-open", "wire", "wire", "renew the wire"),
            fault("wire-corroded", "wire", "wire", "renew the wire"),
            fault("lead-open", "lead", "lead", "replace the lead"),
        ];
        let mut causes = Causes::new(&faults);
        let mut judge = |case: usize, outcome: &Outcome| causes.judge(&[case], outcome);
        let renew = ended(&["wire-open:wire", "wire-corroded"], &["wire"], &[], false);
        assert_eq!(judge(1, &renew), Verdict::Right);
        assert_eq!(judge(2, &renew), Verdict::Right, "the same remedy");
        assert_eq!(judge(0, &renew), Verdict::Wrong, "the part is at fault, and a new one does not help");
        assert_eq!(judge(3, &renew), Verdict::Wrong);
        let either = ended(&["wire-open", "wires-swapped"], &["wire"], &[], false);
        assert_eq!(judge(1, &either), Verdict::Ambiguous);
        assert_eq!(judge(1, &ended(&[], &["wire"], &[], false)), Verdict::Wrong, "condemned without a cause");
        assert_eq!(judge(1, &ended(&[], &[], &[], false)), Verdict::Undecided);
        assert_eq!(judge(1, &ended(&[], &[], &[], true)), Verdict::Missed);
        assert_eq!(judge(1, &ended(&[], &[], &["wire-open"], true)), Verdict::Right, "mended on the way");
        assert_eq!(
            judge(1, &ended(&[], &[], &["wire"], true)),
            Verdict::Missed,
            "a part that was only put in for a test"
        );
        let after = ended(&["lead-open:lead"], &["lead"], &["wire-open"], false);
        assert_eq!(judge(1, &after), Verdict::Wrong, "mended, and then a sound part is condemned");
    }

    #[test]
    fn a_false_removal_condemns_only_sound_parts() {
        let faults = [fault("a", "", "wire", "x"), fault("b", "", "lead", "y")];
        let causes = Causes::new(&faults);
        let both = ended(&[], &["wire", "lead"], &[], false);
        assert!(!causes.removes_sound(&[0], &both) && !causes.removes_sound(&[1], &both));
        assert!(causes.removes_sound(&[1], &ended(&[], &["wire"], &[], false)));
        assert!(!causes.removes_sound(&[1], &ended(&[], &[], &[], false)));
        assert!(causes.removes_sound(&[], &both), "nothing is wrong at all");
    }
}
