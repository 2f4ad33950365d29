//! What the checks found.

use crate::source::{Diagnostic, Place, Severity};
use std::collections::BTreeSet;

/// Findings, each kept once: the same check at the same place for another bike or another round adds nothing.
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

    pub fn has_errors(&self) -> bool {
        self.found.iter().any(|finding| finding.severity == Severity::Error)
    }

    pub fn sorted(mut self) -> Vec<Diagnostic> {
        self.found.sort();
        self.found
    }
}
