//! What every check is given: the surroundings that a procedure is checked against, and the list that findings go into. Nothing is checked here.

use crate::bike::{Bike, Words};
use crate::circuit::faults::Library;
use crate::procedure::Procedure;
use crate::source::{Diagnostic, Place, Severity};
use std::collections::BTreeSet;
use std::rc::Rc;

/// Findings. Each is kept once: the same check at the same place adds nothing for another bike or round.
#[derive(Default)]
pub(super) struct Findings {
    found: Vec<Diagnostic>,
    told: BTreeSet<(Place, String)>,
}

impl Findings {
    pub fn add(&mut self, finding: Diagnostic) {
        if self.told.insert((finding.place.clone(), finding.check.clone())) {
            self.found.push(finding);
        }
    }

    pub(super) fn has_errors(&self) -> bool {
        self.found.iter().any(|finding| finding.severity == Severity::Error)
    }

    pub fn sorted(mut self) -> Vec<Diagnostic> {
        self.found.sort();
        self.found
    }
}

/// A phrase with a meaning of its own at every step, so no answer may use it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reserved {
    /// Lower-case words separated by single spaces.
    pub words: String,
    /// What it is: "the command `back`", "the escape `flickers`", "yes".
    pub meaning: String,
    /// The walk always listens for it. It listens for yes and no only while a confirmation is pending, so an answer may begin with them.
    pub always: bool,
}

/// Everything that a procedure is checked against.
pub struct Surroundings<'a> {
    /// Bikes to try it with; those that its `applies` excludes are skipped.
    pub bikes: &'a [Bike],
    /// Finds a called procedure by its id; `None` if the file is missing or does not load.
    pub called: &'a dyn Fn(&str) -> Option<Rc<Procedure>>,
    /// The other procedures of its folder.
    pub library: &'a [Rc<Procedure>],
    /// Phrases that no answer may use.
    pub reserved: &'a [Reserved],
    /// How parts are named aloud.
    pub words: &'a dyn Words,
    /// The fault library. Without it, the answers of a healthy bike are not computed.
    pub faults: Option<&'a Library>,
}
