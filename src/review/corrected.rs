//! Decides which readings count: the last one of a reading and its corrections, and the latest if a check was repeated after "go back".
//!
//! The walker gives a correction ("correct that") the number of the reading that it amends, so one number may appear in several records. A
//! journal from elsewhere may give it a new number. "Go back" leaves earlier readings in place: that check and those after it are asked
//! again, and a new reading there replaces the earlier one.

use super::Reading;
use crate::phrase::Command;
use crate::session::Record;
use std::collections::{BTreeMap, BTreeSet};

/// A check in the walk: step and loop item.
type Place = (String, Option<String>);

/// Follows a journal's records and determines which reading amends which.
#[derive(Default)]
pub(super) struct Corrections {
    /// Every check that was entered, with the number of readings up to then.
    entered: Vec<(Place, usize)>,
    /// "Go back", or "correct that" after an answer that was not a reading. Nothing was answered since.
    goes_back: bool,
    /// Readings that the walk went back over and has not taken again yet, by index in the review.
    gone_over: BTreeSet<usize>,
    /// The reading that counts for every number, by index in the review.
    counts: BTreeMap<u32, usize>,
}

impl Corrections {
    /// Follows a record that is not a reading. `readings` are those before it.
    pub(super) fn follow(&mut self, record: &Record, readings: &[Reading]) {
        match record {
            Record::Controlled { command: Command::Back | Command::Correct, .. } => self.goes_back = true,
            Record::Answered { .. } | Record::Escaped { .. } | Record::Untested { .. } => self.goes_back = false,
            Record::Entered { step, round, .. } => {
                let place = (step.clone(), round.clone());
                let before = self.entered.iter().rposition(|(entered, _)| *entered == place);
                if let (true, Some(at)) = (std::mem::take(&mut self.goes_back), before) {
                    let since = self.entered[at].1;
                    self.gone_over.extend((since..readings.len()).filter(|at| readings[*at].effective));
                }
                self.entered.push((place, readings.len()));
            }
            _ => {}
        }
    }

    /// Adds a reading to those before it.
    pub(super) fn add(&mut self, mut reading: Reading, readings: &mut Vec<Reading>) {
        self.goes_back = false;
        let same = |at: &usize| {
            let other = &readings[*at];
            (&other.step, &other.round, &other.name) == (&reading.step, &reading.round, &reading.name)
        };
        let before = match reading.amends {
            Some(number) => self.counts.get(&number).copied(),
            None => self.gone_over.iter().rev().copied().find(same),
        };
        let at = readings.len();
        if let Some(before) = before {
            // The correction of a reading that was gone over is gone over too. A new reading is not.
            if self.gone_over.remove(&before) && reading.amends.is_some() {
                self.gone_over.insert(at);
            }
            let number = readings[before].number;
            reading.amends = reading.amends.or(Some(number));
            readings[before].effective = false;
            // This reading also amends whatever the amended reading amended.
            for (earlier, counting) in &mut self.counts {
                if *counting == before {
                    *counting = at;
                    readings
                        .iter_mut()
                        .filter(|r| r.number == *earlier && !r.effective)
                        .for_each(|r| r.amended_by = Some(reading.number));
                }
            }
        }
        self.counts.insert(reading.number, at);
        readings.push(reading);
    }
}

impl Reading {
    /// Its relation to another reading, in words that continue a sentence. Empty if it amends none and none amends it.
    pub(super) fn correction(&self) -> String {
        let same = |number: u32| number == self.number;
        match (self.amends, self.amended_by) {
            (_, Some(by)) if same(by) => "corrected later".to_owned(),
            (_, Some(by)) => format!("amended by reading {by}"),
            (Some(before), None) if same(before) => "the corrected value".to_owned(),
            (Some(before), None) => format!("amends reading {before}"),
            (None, None) => String::new(),
        }
    }
}
