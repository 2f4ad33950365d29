//! Which readings count: of a reading and its corrections the last one, of a check that was gone back over and made again the last time.
//!
//! The walker gives a correction ("correct that") the number of the reading that it amends, so that one number may stand in several records; a
//! journal from elsewhere may number it on. "Go back" leaves what was read where it was: the check is asked again, as are those
//! after it, and a reading taken there then takes the place of the earlier one.

use super::Reading;
use crate::phrase::Command;
use crate::session::Record;
use std::collections::{BTreeMap, BTreeSet};

/// A check in the walk: step and loop item.
type Place = (String, Option<String>);

/// Follows a journal's records and says what amends what.
#[derive(Default)]
pub(super) struct Corrections {
    /// Every check that was entered, and how many readings there were by then.
    entered: Vec<(Place, usize)>,
    /// "Go back", or "correct that" where the last answer was no reading; nothing was answered since.
    goes_back: bool,
    /// By its place in the review, readings that the walk went back over, not taken again yet.
    gone_over: BTreeSet<usize>,
    /// The reading that counts, by its place in the review, for every number.
    counts: BTreeMap<u32, usize>,
}

impl Corrections {
    /// A record that is no reading, after so many readings.
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
            // A correction of what was gone over is gone over, too; what was read anew is not.
            if self.gone_over.remove(&before) && reading.amends.is_some() {
                self.gone_over.insert(at);
            }
            let number = readings[before].number;
            reading.amends = reading.amends.or(Some(number));
            readings[before].effective = false;
            // Whatever that one amended is amended by this one now.
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
    /// How it stands to another reading, in words that go on from one; empty where it amends none and none amends it.
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
