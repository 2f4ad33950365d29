//! What comes next in a walk in best order: the check that tells most per minute, or the end.
//!
//! The belief is over the faults of the library and something outside it, by Bayes' rule from all answers. Faults that one remedy mends are one
//! cause. What a check tells is the expected fall of the entropy over causes (Shannon, A Mathematical Theory of Communication, 1948); what it
//! costs are its own minutes, those of what prepares it and puts it back, and those of the change from the bike's present state. One step is
//! looked ahead. The walk ends when one cause is sure enough, or when no check that is left tells anything.

use super::belief::bayes::{Belief, Evidence, believe};
use super::belief::fit::{answers, fit, forecast, saw};
use super::catalogue::{Catalogue, Check, is_due};
use super::covered::covered;
use super::handling::Handling;
use super::weights::{
    AGAIN, BAR, LEAST_BITS, LEAST_MINUTES, MILD, MISHEARD, MOST_NAMED, NOTHING, OUTSIDE, OUTSIDE_SHOWS, READING_SPREAD,
    SLIP, STEP_SPREAD, WORTH_NAMING,
};
use super::words::{sentence, spoken};
use super::{Asked, Observer, ProveError, Seen, set_up};
use crate::advice::{Chosen, Found, Next};
use crate::bike::BikeState;
use crate::circuit::Expected;
use crate::circuit::faults::Fault;
use crate::procedure::{Ask, Checks, Meaning};
use crate::walk::{Crossing, Saw, World};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::{Arc, Mutex, PoisonError};

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
        let (saw, at_random) = saw(&asked, seen).unwrap_or((Saw::Done, 1.0));
        Self { asked, saw, at_random, confirmed: false }
    }
}

/// What every fault lets expect at a question; the healthy bike's is the last.
type Row = Arc<Vec<Expected>>;

/// Probability of each answer to a check, fault by fault; the healthy bike's is the last.
struct Outlook {
    count: usize,
    of: Vec<f64>,
}

impl Outlook {
    fn under(&self, fault: usize) -> &[f64] {
        &self.of[fault * self.count..(fault + 1) * self.count]
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
        let evidence = self.evidence(given)?;
        let belief = believe(&self.prior, &evidence);
        let mut by_cause = vec![0.0; self.causes];
        let mended: BTreeSet<String> = given.iter().flat_map(|one| one.asked.question.mends.iter().cloned()).collect();
        let cause = self.causes_after(&mended);
        belief.weight.iter().zip(&cause).for_each(|(weight, cause)| by_cause[*cause] += weight);
        let outside = self.causes - 1;
        let top = (0..self.causes).max_by(|a, b| by_cause[*a].total_cmp(&by_cause[*b])).unwrap_or(outside);
        let sure = by_cause[top] >= BAR;
        if sure && top != outside {
            return Ok(found(self.found(&belief, &by_cause, &[top])));
        }
        let mut mended = BTreeSet::new();
        let mut asked: BTreeSet<(String, usize)> = BTreeSet::new();
        for one in given {
            mended.extend(one.asked.question.mends.iter().cloned());
            asked.insert((format!("{}/{}", one.asked.procedure, one.asked.place()), mended.len()));
        }
        let main = &self.world.procedures[&self.world.main];
        let mut open = Vec::new();
        for (number, check) in self.catalogue.checks.iter().enumerate() {
            let place = check.asked().place();
            let new = check.mends.iter().any(|name| !mended.contains(name));
            let known = asked.iter().any(|(other, count)| {
                *other == format!("{}/{place}", self.world.main) && (*count == mended.len() || !new)
            });
            if !known && !is_skipped(crossing, check) && is_due(self.world, main, check, &crossing.seen)? {
                open.push(number);
            }
        }
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
        for number in open.iter().copied() {
            let check = &self.catalogue.checks[number];
            let bits = self.tells(number, &belief, (&cause, &by_cause), &mended)?;
            let minutes = (check.minutes
                + last.map_or(0.0, |last| {
                    set_up::minutes(last, check.first()) + self.handling().minutes(last, check.first())
                })
                + self.before(check, crossing).map_or(0.0, |before| before.minutes))
            .max(LEAST_MINUTES);
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
            None => Ok(found(self.found(&belief, &by_cause, &self.left(&by_cause)))),
        }
    }

    /// The cause of every fault after these repairs. A fault that was mended on the way leaves a sound bike. A part that was only put in for a
    /// test mends nothing for good.
    fn causes_after(&self, mended: &BTreeSet<String>) -> Vec<usize> {
        let mut cause = self.cause.clone();
        let names: Vec<String> = mended.iter().cloned().collect();
        for (number, fault) in self.faults.iter().enumerate().filter(|_| !names.is_empty()) {
            if names.contains(&fault.id) || fault.is_one_of(&names) {
                cause[number] = self.causes - 1;
            }
        }
        cause
    }

    /// The causes that nothing tells apart any more, the heaviest first.
    fn left(&self, by_cause: &[f64]) -> Vec<usize> {
        let mut all: Vec<usize> = (0..self.causes - 1).filter(|cause| by_cause[*cause] >= WORTH_NAMING).collect();
        all.sort_by(|a, b| by_cause[*b].total_cmp(&by_cause[*a]).then(a.cmp(b)));
        all.truncate(MOST_NAMED);
        all
    }

    /// Every answer as evidence. A check that was repeated counts once: its last answer.
    fn evidence(&self, given: &[Given]) -> Result<Vec<Evidence>, ProveError> {
        let mut mended = BTreeSet::new();
        let mut all: Vec<(String, Saw, Evidence)> = Vec::new();
        for one in given {
            mended.extend(one.asked.question.mends.iter().cloned());
            if one.saw == Saw::Done {
                continue;
            }
            let row = self.row(&one.asked)?;
            let good = &row[self.faults.len()];
            let healthy = fit(good, &one.saw, one.at_random, READING_SPREAD);
            let under = |number: usize| {
                let fault = &self.faults[number];
                let by_degree = fault.severity.is_some() && row[number] != *good;
                let spread = if by_degree { STEP_SPREAD } else { READING_SPREAD };
                match self.prior[number] > 0.0 && !fault.is_mended(&mended) {
                    true => fit(&row[number], &one.saw, one.at_random, spread),
                    false => healthy,
                }
            };
            let mut fits: Vec<f64> = (0..self.faults.len()).map(under).collect();
            fits.extend([(1.0 - OUTSIDE_SHOWS) * healthy + OUTSIDE_SHOWS * one.at_random, healthy]);
            let slip = SLIP + if one.confirmed { 0.0 } else { MISHEARD };
            let mut evidence = Evidence { fit: fits, at_random: one.at_random, slip };
            let key = format!("{}/{} {}", one.asked.procedure, one.asked.place(), mended.len());
            if let Some(at) = all.iter().position(|(other, ..)| *other == key) {
                let (_, said, before) = all.remove(at);
                if said == one.saw {
                    evidence.slip = (before.slip * AGAIN).min(evidence.slip);
                }
            }
            all.push((key, one.saw.clone(), evidence));
        }
        Ok(all.into_iter().map(|(.., evidence)| evidence).collect())
    }

    /// By how much a check lowers the entropy over causes on average, bits.
    fn tells(
        &self,
        number: usize,
        belief: &Belief,
        (cause, by_cause): (&[usize], &[f64]),
        mended: &BTreeSet<String>,
    ) -> Result<f64, ProveError> {
        let check = &self.catalogue.checks[number];
        let outlook = self.outlook(number)?;
        let (count, healthy) = (outlook.count, self.faults.len());
        let slip = SLIP + MISHEARD;
        let mends = check.mends.iter().any(|name| !mended.contains(name));
        let gone: BTreeSet<String> = mended.union(&check.mends).cloned().collect();
        let mut joint = vec![0.0; self.causes * count];
        for (number, weight) in belief.weight.iter().enumerate().filter(|(_, weight)| **weight > 1e-9) {
            let is_mended = number < healthy && (mends || !mended.is_empty()) && self.faults[number].is_mended(&gone);
            let under = outlook.under(if is_mended { healthy } else { number.min(healthy) });
            let at = cause[number] * count;
            for (answer, p) in under.iter().enumerate() {
                let p = if number == healthy { (1.0 - OUTSIDE_SHOWS) * p + OUTSIDE_SHOWS / count as f64 } else { *p };
                joint[at + answer] += weight * ((1.0 - slip) * p + slip / count as f64);
            }
        }
        let mut bits = entropy(by_cause.iter().copied());
        for answer in 0..count {
            let all: f64 = (0..self.causes).map(|cause| joint[cause * count + answer]).sum();
            if all > 0.0 {
                bits -= all * entropy((0..self.causes).map(|cause| joint[cause * count + answer] / all));
            }
        }
        Ok(bits)
    }

    /// What a question lets expect under every fault.
    fn row(&self, asked: &Asked) -> Result<Row, ProveError> {
        let mut state = asked.state.clone();
        state.switches.remove("fuel");
        let key = (state, format!("{}/{}", asked.procedure, asked.place()));
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

    fn outlook(&self, number: usize) -> Result<Arc<Outlook>, ProveError> {
        if let Some(known) = self.outlooks.lock().unwrap_or_else(PoisonError::into_inner).get(&number) {
            return Ok(known.clone());
        }
        let asked = self.catalogue.checks[number].asked();
        let row = self.row(asked)?;
        let good = &row[self.faults.len()];
        let mut of = Vec::new();
        for (fault, expected) in row.iter().enumerate() {
            let by_degree = self.faults.get(fault).is_some_and(|f| f.severity.is_some()) && expected != good;
            of.extend(forecast(expected, asked, if by_degree { STEP_SPREAD } else { READING_SPREAD }));
        }
        let outlook = Arc::new(Outlook { count: answers(asked), of });
        self.outlooks.lock().unwrap_or_else(PoisonError::into_inner).insert(number, outlook.clone());
        Ok(outlook)
    }

    /// What has to come before a check, if its instrument needs something that was not done yet.
    fn before(&self, check: &Check, crossing: &Crossing) -> Option<&Check> {
        let kind = check.asked().state.instrument.as_ref()?.kind;
        let wanted = self.checks.before.iter().position(|one| one.instruments.contains(&kind))?;
        self.catalogue.before[wanted].as_ref().filter(|before| !crossing.readied.contains(&before.spot.step))
    }

    /// What is needed before the bike can be called sound.
    fn needs(&self, given: &[Given], open: &[usize]) -> Needs {
        let needed = |step: &str| self.checks.needs.iter().any(|need| need.value == step);
        let bad = given.iter().any(|one| {
            let last = given.iter().rev().find(|other| other.asked.place() == one.asked.place());
            needed(&one.asked.id) && last.is_some_and(|last| meaning(&last.asked, &last.saw) == Meaning::Bad)
        });
        if bad {
            return Needs::Bad;
        }
        let wanted: Vec<usize> =
            open.iter().copied().filter(|number| needed(&self.catalogue.checks[*number].asked().id)).collect();
        if wanted.is_empty() { Needs::Met } else { Needs::Open(wanted) }
    }

    /// These causes as a conclusion.
    fn found(&self, belief: &Belief, by_cause: &[f64], causes: &[usize]) -> Found {
        let mut found = Found::default();
        let (mut words, mut remedies) = (Vec::new(), Vec::new());
        for cause in causes.iter().filter(|cause| by_cause[**cause] > 0.0) {
            let of = |number: &usize| self.cause[*number] == *cause && self.prior[*number] > 0.0;
            let Some(heaviest) =
                (0..self.faults.len()).filter(of).max_by(|a, b| belief.weight[*a].total_cmp(&belief.weight[*b]))
            else {
                continue;
            };
            let fault = &self.faults[heaviest];
            let names = |fault: &Fault| {
                if fault.place.is_empty() { fault.kind.clone() } else { format!("{}:{}", fault.kind, fault.place) }
            };
            let meant: BTreeSet<String> = (0..self.faults.len()).filter(of).map(|n| names(&self.faults[n])).collect();
            found.means.extend(meant);
            words.push(spoken(&fault.words, self.world));
            let written = self.catalogue.ends[heaviest].as_ref();
            let written = written.filter(|end| {
                let cures: BTreeSet<&str> =
                    self.faults.iter().filter(|f| f.is_one_of(&end.means)).map(|f| f.cure.as_str()).collect();
                fault.is_one_of(&end.means) && cures.len() == 1
            });
            remedies.push(written.map_or_else(|| sentence(&spoken(&fault.cure, self.world)), |end| end.remedy.clone()));
            if causes.len() == 1 {
                found.condemns = written.map_or_else(|| fault.parts.clone(), |end| end.condemns.clone());
            }
            let Some(end) = written else { continue };
            if found.conclusion.is_empty() {
                found.conclusion.clone_from(&end.conclusion);
                found.round.clone_from(&end.round);
                found.recheck.clone_from(&end.recheck);
            }
            for caution in &end.cautions {
                if !found.cautions.contains(caution) {
                    found.cautions.push(caution.clone());
                }
            }
        }
        if found.conclusion.is_empty() {
            found.conclusion = found.means.first().cloned().unwrap_or_default();
        }
        found.cause = sentence(&words.join(", or "));
        found.remedy = remedies.join(" ");
        found
    }
}

/// What is needed before the bike can be called sound.
enum Needs {
    /// Nothing more.
    Met,
    /// These checks.
    Open(Vec<usize>),
    /// One of them was not as on a healthy bike.
    Bad,
}

fn found(found: Found) -> Chosen {
    Chosen { next: Next::Found(Box::new(found)), ..Chosen::default() }
}

fn entropy(shares: impl Iterator<Item = f64>) -> f64 {
    shares.filter(|share| *share > 0.0).map(|share| -share * share.log2()).sum()
}

fn is_skipped(crossing: &Crossing, check: &Check) -> bool {
    check.way.iter().any(|asked| {
        let key = format!("{}/{}/{}", asked.procedure, asked.id, asked.round.as_deref().unwrap_or_default());
        crossing.skipped.contains(&key)
    })
}

/// What an answer means, by the procedure.
fn meaning(asked: &Asked, saw: &Saw) -> Meaning {
    match (&asked.step().ask, saw) {
        (_, Saw::Choice(id)) => {
            asked.choices().iter().find(|choice| choice.id.value == *id).map_or(Meaning::Neither, |choice| choice.means)
        }
        (Ask::Reading(reading), Saw::Number { value, .. }) => {
            reading.bands.get(asked.band(*value)).map_or(Meaning::Neither, |band| band.means)
        }
        _ => Meaning::Neither,
    }
}
