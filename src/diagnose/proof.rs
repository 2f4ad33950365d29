//! The result of a proof, as JSON documents it. Fields are added, never renamed, within one schema version.

use super::{Figures, Verdict};
use serde::Serialize;
use std::collections::BTreeMap;

/// Version of the JSON's schema. 2: a fault's verdict says whether its cause was named, not its part.
pub const SCHEMA_VERSION: u32 = 2;

/// One fault.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Finding {
    /// Its id, `KIND:PLACE`.
    pub fault: String,
    /// In words.
    pub words: String,
    /// The parts, one of which is to be repaired.
    pub parts: Vec<String>,
    /// What mends it: faults with one cure are one cause.
    pub cure: String,
    /// How likely it is beside the others.
    pub likelihood: f64,
    /// It harms the ignition, and the procedure is there to find it; the figures are over these.
    pub counts: bool,
    /// The procedure is there to find it, as it says itself.
    pub covered: bool,
    /// What only an exchange of parts tells from it, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub only_by_substitution: Option<String>,
    /// The conclusion that the walk came to, with its round: `coil-bad left`.
    pub conclusion: String,
    /// What mends the faults that it names, one text for each cause.
    pub named_cures: Vec<String>,
    /// How that is judged.
    pub verdict: Verdict,
    /// Something is wrong, says the conclusion, and it names no wrong cause.
    pub detected: bool,
    /// The walk mended it on the way.
    pub mended: bool,
    /// The conclusion condemns parts, and none of them is at fault.
    pub removes_sound: bool,
    /// Number of causes among the faults that come to the same end, its own included.
    pub cause_group: usize,
    /// Number of parts in its ambiguity group, its own included.
    pub ambiguity_group: usize,
    /// The other faults in it.
    pub ambiguous_with: Vec<String>,
    /// Questions asked.
    pub steps: usize,
    /// Working minutes.
    pub minutes: f64,
    /// Minutes for changes of side and of set-up between the checks.
    pub set_up_minutes: f64,
    /// The answer that decided, as `STEP: ANSWER`.
    pub decided_by: String,
}

/// How small a fault is still found.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Smallest {
    /// `KIND:PLACE`.
    pub fault: String,
    /// The severity's unit.
    pub unit: String,
    /// The smallest severity from which on it is found; none if none is.
    pub found_from: Option<f64>,
    /// Severities that count, from the mildest on.
    pub counts_from: Option<f64>,
}

/// What came of the healthy bike.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Healthy {
    /// Its conclusion.
    pub conclusion: String,
    /// It says that all is well.
    pub right: bool,
    /// Questions asked.
    pub steps: usize,
    /// The same under its newer name.
    pub questions: usize,
    /// Working minutes.
    pub minutes: f64,
    /// Minutes for changes of side and of set-up between the checks.
    pub set_up_minutes: f64,
}

/// Two faults at once that came out wrong.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Pair {
    /// The two.
    pub faults: [String; 2],
    /// The conclusion.
    pub conclusion: String,
    /// How it is judged.
    pub verdict: Verdict,
}

/// How many walks came to each verdict.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Verdicts {
    /// The right cause was named, or mended on the way; of two faults, that of one.
    pub found: usize,
    /// A fault was named among others that need another remedy.
    pub ambiguous: usize,
    /// Nothing was named, though something is wrong.
    pub undecided: usize,
    /// The conclusion says that all is well.
    pub missed: usize,
    /// A wrong cause was named.
    pub wrong: usize,
}

impl Verdicts {
    pub(super) fn count(&mut self, verdict: Verdict) {
        *match verdict {
            Verdict::Right => &mut self.found,
            Verdict::Ambiguous => &mut self.ambiguous,
            Verdict::Undecided => &mut self.undecided,
            Verdict::Missed => &mut self.missed,
            Verdict::Wrong => &mut self.wrong,
        } += 1;
    }
}

/// Every pair of faults.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Pairs {
    /// How many pairs.
    pub pairs: usize,
    /// Their verdicts.
    #[serde(flatten)]
    pub verdicts: Verdicts,
    /// The missed and the wrong ones, at most the first thousand.
    pub listed: Vec<Pair>,
}

/// A wrong observation that leads to a wrong conclusion under some faults.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Misled {
    /// `points-turn left`.
    pub place: String,
    /// What was there.
    pub right: String,
    /// What was said.
    pub given: String,
    /// The conclusion.
    pub conclusion: String,
    /// Under how many faults.
    pub faults: usize,
}

/// How walks with one wrong observation ended.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct SlipEnds {
    /// Walks: a fault, a question on its way, a wrong answer to it.
    pub walks: usize,
    /// Their verdicts.
    #[serde(flatten)]
    pub verdicts: Verdicts,
    /// The conclusion condemns parts, and none of them is at fault.
    pub false_removals: usize,
}

impl SlipEnds {
    pub(super) fn count(&mut self, verdict: Verdict, removes_sound: bool) {
        self.walks += 1;
        self.false_removals += usize::from(removes_sound);
        self.verdicts.count(verdict);
    }
}

/// Every fault with one wrong observation.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Slips {
    /// Where the question is put again, it is answered rightly.
    #[serde(flatten)]
    pub ends: SlipEnds,
    /// Where the question is put again, the same wrong answer is given each time.
    pub repeating: SlipEnds,
    /// A wrong cause was named and the wrong answer had been repeated, rightly, before.
    pub wrong_repeated: usize,
    /// A wrong cause was named without the wrong answer's question being put again.
    pub wrong_unrepeated: usize,
    /// The last as a share of the walks.
    pub wrong_unrepeated_rate: f64,
    /// Where.
    pub misled: Vec<Misled>,
}

/// What a procedure finds on a bike.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Proof {
    /// [`SCHEMA_VERSION`].
    pub schema: u32,
    /// Procedure id.
    pub procedure: String,
    /// Its version.
    pub procedure_version: u32,
    /// The bike's name.
    pub bike: String,
    /// The order of the procedure's checks: `written` or `best`.
    pub order: &'static str,
    /// Each fault counted once.
    #[serde(flatten)]
    pub figures: Figures,
    /// Each fault counted by its likelihood.
    pub by_likelihood: Figures,
    /// The healthy bike.
    pub healthy: Healthy,
    /// Faults that harm and that the procedure is not there to find.
    pub not_covered: usize,
    /// Every fault, those included that are too mild to count or that the procedure is not there to find.
    pub faults: Vec<Finding>,
    /// For every fault that comes in several severities, the smallest that is still found.
    pub smallest_found: Vec<Smallest>,
    /// Steps for which nothing tells what would be seen, and why: the answer that means good is given there.
    pub not_told: BTreeMap<String, String>,
    /// Steps that have several answers and got one and the same under every fault and on the healthy bike.
    pub never_decides: Vec<String>,
    /// Steps that no walk came to.
    pub never_asked: Vec<String>,
    /// Conclusions that no walk came to.
    pub never_concluded: Vec<String>,
    /// With `--bikes`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub bikes: Option<super::Drawn>,
    /// With `--intermittent`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub intermittent: Option<super::Intermittent>,
    /// With `--pairs`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pairs: Option<Pairs>,
    /// With `--slips`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub slips: Option<Slips>,
}

impl Proof {
    /// Faults that count and are judged so.
    pub fn judged(&self, verdict: Verdict) -> impl Iterator<Item = &Finding> {
        self.faults.iter().filter(move |f| f.counts && f.verdict == verdict)
    }

    /// No fault is missed, no wrong cause is named, no sound part is condemned, and a healthy bike is called healthy.
    pub fn holds(&self) -> bool {
        let wrong =
            |f: &Finding| f.removes_sound || f.verdict == Verdict::Wrong || (f.counts && f.verdict == Verdict::Missed);
        self.healthy.right && !self.faults.iter().any(wrong)
    }
}
