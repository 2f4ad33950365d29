//! What comes next in a walk in best order: the check that tells most per minute, or the end.
//!
//! The belief is over the faults of the library and something outside it, by Bayes' rule from all answers. Faults that one remedy mends are one
//! cause. What a check tells is the expected fall of the entropy over causes (Shannon, A Mathematical Theory of Communication, 1948); what it
//! costs are its own minutes, those of what prepares it and puts it back, and those of the change from the bike's present state. One step is
//! looked ahead. The walk ends when one cause is sure enough, or when no check that is left tells anything.

mod catalogue;
mod end;
mod outlook;
mod thread;

use super::belief::bayes::{Belief, Evidence, believe};
use super::belief::evidence::{Answer, Row, evidence};
use super::belief::fit::saw;
use super::covered::covered;
use super::handling::Handling;
use super::weights::{BAR, LEAST_BITS, LEAST_MINUTES, MILD, NOTHING, OUTSIDE};
use super::{Asked, Observer, ProveError, Seen, set_up};
use crate::advice::{Chosen, Next};
use crate::bike::BikeState;
use crate::circuit::Expected;
use crate::circuit::faults::Fault;
use crate::procedure::{Checks, Meaning};
use crate::walk::{Crossing, Saw, World};
use catalogue::{Catalogue, Check, is_due};
use end::{Needs, found};
use outlook::Outlook;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::{Arc, Mutex, PoisonError};

pub(super) use thread::OrderThread;

/// Bikes beside the typical one, within the tolerances of sound parts, that a fault is tried on. With none the single's right causes fell from
/// 99.4 to 96.7 %.
const SAMPLES: u64 = 2;

/// An answer of a walk.
pub struct Given {
    /// What was asked, in the state it was asked in.
    pub asked: Arc<Asked>,
    /// What was seen.
    pub saw: Saw,
    /// Probability of this answer if it is unrelated to what was to be seen.
    pub at_random: f64,
    /// Whether the user confirmed it.
    pub confirmed: bool,
}

impl Given {
    /// An answer of a simulated walk.
    pub fn new(asked: Arc<Asked>, seen: Seen) -> Self {
        let saw = saw(&asked, seen);
        let at_random = saw.at_random(asked.choices().len(), asked.plausible);
        Self { asked, saw, at_random, confirmed: false }
    }

    fn is_bad(&self) -> bool {
        self.asked.meaning(&self.saw.name(&self.asked.question)) == Meaning::Bad
    }
}

/// Says what comes next.
pub struct Order<'a> {
    world: &'a Arc<World>,
    checks: &'a Checks,
    faults: &'a [Fault],
    observer: &'a dyn Observer,
    /// The faults, then what is outside, then nothing at all.
    prior: Vec<f64>,
    /// The cause of each of them. The last cause is that of what is outside and of nothing at all.
    cause: Vec<usize>,
    causes: usize,
    catalogue: Catalogue,
    rows: Mutex<HashMap<(BikeState, String), Row>>,
    outlooks: Mutex<HashMap<usize, Arc<Outlook>>>,
}

impl<'a> Order<'a> {
    /// The order for `world`'s main procedure and bike. `observer` knows the typical bike.
    ///
    /// # Errors
    /// The procedure has no `checks`, or it does not come out for this bike.
    pub fn new(world: &'a Arc<World>, faults: &'a [Fault], observer: &'a dyn Observer) -> Result<Self, ProveError> {
        Self::walked_under(world, faults, observer, &(0..faults.len()).collect::<Vec<_>>())
    }

    /// The same for faults in fine degrees: of each fault the mildest and the worst that count are walked, and the one in the middle, so that the
    /// first choice is soon there.
    ///
    /// # Errors
    /// As [`Order::new`].
    pub(super) fn in_degrees(
        world: &'a Arc<World>,
        faults: &'a [Fault],
        observer: &'a dyn Observer,
    ) -> Result<Self, ProveError> {
        let mut groups: BTreeMap<(&str, &str), Vec<usize>> = BTreeMap::new();
        for (number, fault) in faults.iter().enumerate().filter(|(_, fault)| fault.counts) {
            groups.entry((&fault.kind, &fault.place)).or_default().push(number);
        }
        let few = |group: &Vec<usize>| [0, group.len() / 2, group.len() - 1].map(|at| group[at]);
        let walked: BTreeSet<usize> = groups.values().flat_map(few).collect();
        Self::walked_under(world, faults, observer, &walked.into_iter().collect::<Vec<_>>())
    }

    fn walked_under(
        world: &'a Arc<World>,
        faults: &'a [Fault],
        observer: &'a dyn Observer,
        walked: &[usize],
    ) -> Result<Self, ProveError> {
        let Some(checks) = &world.procedures[&world.main].checks else { return Err(ProveError::NoChecks) };
        let covered = covered(world, faults)?;
        let weight = |(n, fault): (usize, &Fault)| match (covered[n], fault.counts) {
            (true, true) => fault.likelihood,
            (true, false) => fault.likelihood * MILD,
            (false, _) => 0.0,
        };
        let weights: Vec<f64> = faults.iter().enumerate().map(weight).collect();
        let all: f64 = weights.iter().sum();
        let mut prior: Vec<f64> =
            weights.iter().map(|weight| (1.0 - OUTSIDE) * weight / all.max(f64::MIN_POSITIVE)).collect();
        prior.extend([OUTSIDE * (1.0 - NOTHING), OUTSIDE * NOTHING]);
        let mut cures: BTreeMap<&str, usize> = BTreeMap::new();
        for fault in faults.iter().filter(|fault| fault.counts) {
            let next = cures.len();
            cures.entry(fault.cure.as_str()).or_insert(next);
        }
        // A fault that lets the plugs fire leaves a bike that does what it should.
        let outside = cures.len();
        let of = |fault: &Fault| if fault.counts { cures[fault.cure.as_str()] } else { outside };
        let cause: Vec<usize> = faults.iter().map(of).chain([outside; 2]).collect();
        Ok(Self {
            causes: cures.len() + 1,
            catalogue: Catalogue::new(world, faults, walked, observer)?,
            world,
            checks,
            faults,
            observer,
            prior,
            cause,
            rows: Mutex::default(),
            outlooks: Mutex::default(),
        })
    }

    /// What taking things off and putting them back takes.
    pub(super) fn handling(&self) -> &Handling {
        &self.catalogue.handling
    }

    /// The minutes of the written order under a fault, changes of set-up included.
    pub(super) fn written_minutes(&self, fault: usize) -> Option<f64> {
        self.catalogue.ends.get(fault)?.as_ref().map(|end| end.minutes)
    }

    /// How many checks there are to choose from.
    pub fn len(&self) -> usize {
        self.catalogue.checks.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.catalogue.checks.is_empty()
    }

    /// Reckons beforehand what a check shows.
    ///
    /// # Errors
    /// The check and the bike's wiring do not fit together.
    pub fn prepare(&self, check: usize) -> Result<(), ProveError> {
        self.outlook(check).map(drop)
    }

    /// What comes next after these answers.
    ///
    /// # Errors
    /// A check and the bike's wiring do not fit together.
    pub fn choose(&self, crossing: &Crossing, given: &[Given]) -> Result<Chosen, ProveError> {
        let known = self.known(given)?;
        let outside = self.causes - 1;
        let top = known.heaviest();
        let sure = known.by_cause[top] >= BAR;
        if sure && top != outside {
            return Ok(found(self.found(&known, &[top])));
        }
        let mut open = self.open(crossing, given, &known)?;
        let sound = self.needs(given, &open);
        let sound_enough = sure && top == outside;
        if sound_enough {
            match &sound {
                Needs::Met => return Ok(Chosen { next: Next::Sound, ..Chosen::default() }),
                Needs::Open(wanted) => open.retain(|number| wanted.contains(number)),
                Needs::Bad => {}
            }
        }
        let last = given.last().map(|one| &*one.asked);
        let mut best: Option<(usize, f64, f64)> = None;
        for number in open {
            let bits = self.tells(number, &known)?;
            let minutes = self.minutes(number, last, crossing);
            if best.is_none_or(|(_, b, m)| bits / minutes > b / m + 1e-9) {
                best = Some((number, bits, minutes));
            }
        }
        let wanted = sound_enough && matches!(sound, Needs::Open(_));
        match best.filter(|(_, bits, _)| *bits >= LEAST_BITS || wanted) {
            Some((number, bits, minutes)) => {
                let check = &self.catalogue.checks[number];
                let spot = self.before(check, crossing).map_or(&check.spot, |before| &before.spot);
                Ok(Chosen { next: Next::Check(Box::new(spot.clone())), bits, minutes })
            }
            None if top == outside => match sound {
                Needs::Met => Ok(Chosen { next: Next::Sound, ..Chosen::default() }),
                Needs::Open(wanted) => {
                    let spot = self.catalogue.checks[wanted[0]].spot.clone();
                    Ok(Chosen { next: Next::Check(Box::new(spot)), ..Chosen::default() })
                }
                Needs::Bad => Ok(Chosen::default()),
            },
            None => Ok(found(self.found(&known, &self.left(&known.by_cause)))),
        }
    }

    /// What these answers say.
    fn known(&self, given: &[Given]) -> Result<Known, ProveError> {
        let mended: BTreeSet<String> = given.iter().flat_map(|one| one.asked.question.mends.iter().cloned()).collect();
        let mut cause = self.cause.clone();
        let mut gone = vec![false; self.faults.len()];
        if !mended.is_empty() {
            for (number, fault) in self.faults.iter().enumerate() {
                gone[number] = fault.is_mended(&mended);
                // A fault that was mended on the way leaves a sound bike.
                if fault.is_repaired(&mended) {
                    cause[number] = self.causes - 1;
                }
            }
        }
        let belief = believe(&self.prior, &self.evidence(given)?);
        let mut by_cause = vec![0.0; self.causes];
        belief.weight.iter().zip(&cause).for_each(|(weight, cause)| by_cause[*cause] += weight);
        Ok(Known { belief, cause, by_cause, mended, gone })
    }

    /// Every answer as evidence.
    fn evidence(&self, given: &[Given]) -> Result<Vec<Evidence>, ProveError> {
        let row = |one: &Given| if one.saw == Saw::Done { Ok(Row::default()) } else { self.row(&one.asked) };
        let rows = given.iter().map(row).collect::<Result<Vec<_>, ProveError>>()?;
        let answers = given.iter().zip(rows).map(|(one, row)| Answer {
            place: one.asked.key(),
            mends: &one.asked.question.mends,
            saw: &one.saw,
            name: one.saw.name(&one.asked.question),
            at_random: one.at_random,
            confirmed: one.confirmed,
            row,
        });
        Ok(evidence(self.faults, answers).0.into_iter().map(|(_, evidence)| evidence).collect())
    }

    /// The checks that can be made: not made yet, or not since something was mended; not skipped; due.
    fn open(&self, crossing: &Crossing, given: &[Given], known: &Known) -> Result<Vec<usize>, ProveError> {
        let mut made: BTreeMap<String, usize> = BTreeMap::new();
        let mut mended: BTreeSet<&String> = BTreeSet::new();
        for one in given {
            mended.extend(&one.asked.question.mends);
            made.insert(one.asked.key(), mended.len());
        }
        let main = &self.world.procedures[&self.world.main];
        let mut open = Vec::new();
        for (number, check) in self.catalogue.checks.iter().enumerate() {
            let again = || check.mends.iter().any(|name| !known.mended.contains(name));
            let known = made.get(&check.key).is_some_and(|count| *count == mended.len() || !again());
            if !known && !is_skipped(crossing, check) && is_due(self.world, main, check, &crossing.seen)? {
                open.push(number);
            }
        }
        Ok(open)
    }

    /// What a check takes from where the walk stands.
    fn minutes(&self, number: usize, last: Option<&Asked>, crossing: &Crossing) -> f64 {
        let check = &self.catalogue.checks[number];
        let change = |last: &Asked| set_up::minutes(last, check.first()) + self.handling().minutes(last, check.first());
        let before = self.before(check, crossing).map_or(0.0, |before| before.minutes);
        (check.minutes + last.map_or(0.0, change) + before).max(LEAST_MINUTES)
    }

    /// What has to come before a check, if its instrument needs something that was not done yet.
    fn before(&self, check: &Check, crossing: &Crossing) -> Option<&Check> {
        let kind = check.asked().state.instrument.as_ref()?.kind;
        let wanted = self.checks.before.iter().position(|one| one.instruments.contains(&kind))?;
        self.catalogue.before[wanted].as_ref().filter(|before| !crossing.readied.contains(&before.spot.step))
    }

    /// What a question lets expect under every fault.
    fn row(&self, asked: &Asked) -> Result<Row, ProveError> {
        let key = (asked.bare(), asked.key());
        if let Some(known) = self.rows.lock().unwrap_or_else(PoisonError::into_inner).get(&key) {
            return Ok(known.clone());
        }
        let of = |number: usize| match self.prior[number] > 0.0 {
            true => self.observer.expected(&[number], asked, SAMPLES),
            false => Ok(Expected::Nothing),
        };
        let mut row = (0..self.faults.len()).map(of).collect::<Result<Vec<_>, _>>()?;
        row.push(self.observer.expected(&[], asked, SAMPLES)?);
        let row = Arc::new(row);
        self.rows.lock().unwrap_or_else(PoisonError::into_inner).insert(key, row.clone());
        Ok(row)
    }
}

/// What the answers of a walk say.
struct Known {
    belief: Belief,
    /// The cause of every hypothesis after the repairs.
    cause: Vec<usize>,
    /// The probability of each cause.
    by_cause: Vec<f64>,
    /// What was mended, or put in for a test.
    mended: BTreeSet<String>,
    /// The faults that this takes away.
    gone: Vec<bool>,
}

impl Known {
    /// The most probable cause.
    fn heaviest(&self) -> usize {
        let of = &self.by_cause;
        (0..of.len()).max_by(|a, b| of[*a].total_cmp(&of[*b])).unwrap_or_default()
    }
}

fn is_skipped(crossing: &Crossing, check: &Check) -> bool {
    let is = |key: &String| crossing.skipped.contains(key);
    !crossing.skipped.is_empty() && check.keys.iter().any(is)
}
