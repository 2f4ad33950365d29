//! What comes next in a walk in best order: the check that tells most per minute, or the end.
//!
//! Bayes' rule over all answers gives each fault of the library, and something outside it, a probability. Faults with the same remedy are one
//! cause. A check's value is the expected fall of the entropy over causes (Shannon, A Mathematical Theory of Communication, 1948). Its cost is its
//! own minutes, those to prepare it and to put things back, and those to change the set-up. Checks are ranked by bits per minute, alone or together
//! with the best follow-up check. Once a cause is probable, a check's value is what it tells about whether it is this one. The walk ends when one
//! cause stays probable with any single answer left out, or when no remaining check tells enough and no answer is doubtful.

mod catalogue;
mod end;
mod given;
mod grounds;
mod outlook;
mod why;

use super::handling::Handling;
use super::weights::{BAR, CARRIED, DOUBTFUL, HARDLY_SOUND, LEAST_BITS, MOST_TIMES};
use super::{Asked, Observer, ProveError};
use crate::advice::{Chosen, Next};
use crate::circuit::faults::Fault;
use crate::procedure::Observe;
use crate::walk::{Crossing, World};
use catalogue::{Check, is_due};
use end::{Needs, found};
use grounds::{Grounds, Known};
use outlook::{Best, Outlooks};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::Arc;

pub use given::Given;

/// Says what comes next.
pub struct Order<'a> {
    outlooks: Outlooks<'a>,
    /// Whether each choice says why.
    explains: bool,
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
    /// first choice is soon there. Its choices say why.
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
        let order = Self::walked_under(world, faults, observer, &walked.into_iter().collect::<Vec<_>>())?;
        Ok(Self { explains: true, ..order })
    }

    fn walked_under(
        world: &'a Arc<World>,
        faults: &'a [Fault],
        observer: &'a dyn Observer,
        walked: &[usize],
    ) -> Result<Self, ProveError> {
        Ok(Self { outlooks: Outlooks::new(Grounds::new(world, faults, observer, walked)?), explains: false })
    }

    /// What taking things off and putting them back takes.
    pub(super) fn handling(&self) -> &Handling {
        self.outlooks.grounds.handling()
    }

    /// The minutes of the written order under a fault, changes of set-up included.
    pub(super) fn written_minutes(&self, fault: usize) -> Option<f64> {
        self.outlooks.grounds.catalogue.ends.get(fault)?.as_ref().map(|end| end.minutes)
    }

    /// How many checks there are to choose from.
    pub fn len(&self) -> usize {
        self.outlooks.grounds.catalogue.checks.len()
    }

    /// Whether there is none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Computes beforehand what a check shows.
    ///
    /// # Errors
    /// The check and the bike's wiring do not fit together.
    pub fn prepare(&self, check: usize) -> Result<(), ProveError> {
        self.outlooks.outlook(check, false).map(drop)
    }

    /// What comes next after these answers.
    ///
    /// # Errors
    /// A check and the bike's wiring do not fit together.
    pub fn choose(&self, crossing: &Crossing, given: &[Given]) -> Result<Chosen, ProveError> {
        let grounds = &self.outlooks.grounds;
        let known = grounds.known(given, crossing.comes_and_goes())?;
        let open = self.open(crossing, given, &known)?;
        let (sometimes, comes_and_goes) = (known.sometimes, known.comes_and_goes());
        let chosen = match known.heaviest() {
            top if top == grounds.causes - 1 => self.towards_sound(crossing, given, &known, open),
            top => self.towards_cause(top, crossing, given, known, open),
        }?;
        let unsure = chosen.next == Next::Sound && sometimes > HARDLY_SOUND;
        Ok(Chosen { comes_and_goes: comes_and_goes || unsure, ..chosen })
    }

    /// The next step while `top` is the most probable cause: a check, or the conclusion.
    fn towards_cause(
        &self,
        top: usize,
        crossing: &Crossing,
        given: &[Given],
        known: Known,
        mut open: Vec<usize>,
    ) -> Result<Chosen, ProveError> {
        let grounds = &self.outlooks.grounds;
        let last = last_made(given);
        let tells = |best: &Best| best.most >= LEAST_BITS;
        let sure = known.by_cause[top] >= BAR;
        let likely = known.by_cause[top] >= CARRIED;
        let carries = if likely { self.carried_by_one(&known, given, top) } else { self.doubtful(&known, given) };
        if sure && carries.is_none() {
            return Ok(found(grounds.found(&known, &[top])));
        }
        if !sure && let Some(best) = self.outlooks.best(&open, &known, last, crossing, None)?.filter(tells) {
            return self.next(&best, &open, &known, crossing);
        }
        let end = found(grounds.found(&known, &grounds.left(&known.by_cause)));
        let Some(carries) = carries else { return Ok(end) };
        // What would tell whether it is this cause, if that answer was a slip? The same check once more is one way.
        let again = self.again(&given[known.weighed.numbers[carries]], given);
        open.extend(again.filter(|again| !open.contains(again)));
        let known = known.without(carries);
        match self.outlooks.best(&open, &known, last, crossing, Some(top))?.filter(tells) {
            Some(best) => self.next(&best, &open, &known, crossing),
            None => Ok(end),
        }
    }

    /// The next step while a sound bike is most probable: a check, one that the procedure needs before it calls the bike sound, or that verdict.
    fn towards_sound(
        &self,
        crossing: &Crossing,
        given: &[Given],
        known: &Known,
        open: Vec<usize>,
    ) -> Result<Chosen, ProveError> {
        let grounds = &self.outlooks.grounds;
        let last = last_made(given);
        let sure = known.by_cause[grounds.causes - 1] >= BAR;
        // What did not show today is not sound, however many checks it passes.
        let needs = if known.comes_and_goes() { Needs::Met } else { grounds.needs(given, &open) };
        let candidates = match &needs {
            Needs::Met if sure => return Ok(Chosen { next: Next::Sound, ..Chosen::default() }),
            Needs::Open(wanted) if sure => wanted,
            _ => &open,
        };
        let wanted = sure && matches!(needs, Needs::Open(_));
        let best = self.outlooks.best(candidates, known, last, crossing, None)?;
        if let Some(best) = best.filter(|best| best.most >= LEAST_BITS || wanted) {
            return self.next(&best, candidates, known, crossing);
        }
        match needs {
            Needs::Met => Ok(Chosen { next: Next::Sound, ..Chosen::default() }),
            Needs::Open(wanted) => self.next(&Best { number: wanted[0], ..Best::default() }, &wanted, known, crossing),
            Needs::Bad => Ok(Chosen::default()),
        }
    }

    /// Whether a check was made as often as it may be.
    fn is_often(&self, check: usize, given: &[Given]) -> bool {
        self.outlooks.grounds.answers_to(check, given).filter(|one| !one.told).count() >= MOST_TIMES
    }

    /// The check that an answer was given to, if it can be made once more. What the bike did stays as it was told.
    fn again(&self, one: &Given, given: &[Given]) -> Option<usize> {
        let grounds = &self.outlooks.grounds;
        let is_history = |check: &usize| {
            let step = grounds.catalogue.checks[*check].asked().step();
            matches!(step.observe, Some(Observe::Complaint(_)))
        };
        let check = grounds.checks_of(one).first().copied();
        check.filter(|check| !is_history(check) && !self.is_often(*check, given))
    }

    /// The answer that most probably was a slip, if it is doubtful and can be asked for again.
    fn doubtful(&self, known: &Known, given: &[Given]) -> Option<usize> {
        if known.comes_and_goes() {
            return None;
        }
        let slips = &known.belief.slips;
        let can_be = |answer: &usize| self.again(&given[known.weighed.numbers[*answer]], given).is_some();
        let doubtful = (0..slips.len()).filter(|answer| slips[*answer] >= DOUBTFUL).filter(can_be);
        doubtful.max_by(|a, b| slips[*a].total_cmp(&slips[*b]))
    }

    /// A check as what comes next, or what has to come before it.
    fn next(&self, best: &Best, open: &[usize], known: &Known, crossing: &Crossing) -> Result<Chosen, ProveError> {
        let grounds = &self.outlooks.grounds;
        let check = &grounds.catalogue.checks[best.number];
        let spot = grounds.before(check, crossing).map_or(&check.spot, |before| &before.spot);
        let why = self.explains.then(|| self.outlooks.why(best, open, known, crossing)).transpose()?;
        Ok(Chosen {
            next: Next::Check(Box::new(spot.clone())),
            bits: best.bits,
            minutes: best.minutes,
            why,
            ..Chosen::default()
        })
    }

    /// The answer without which the cause would fall furthest below [`CARRIED`]. An answer that its check gave twice does not count; what is only
    /// told was not given.
    fn carried_by_one(&self, known: &Known, given: &[Given], cause: usize) -> Option<usize> {
        let share = |answer: usize| known.by_cause_without(answer)[cause];
        let check = |one: &Given| self.outlooks.grounds.checks_of(one).first().ok_or_else(|| one.asked.key()).copied();
        let name = |one: &Given| (check(one), one.saw.name(&one.asked.question));
        let names: Vec<_> = given.iter().map(name).collect();
        let is_once = |answer: &usize| {
            let own = &names[known.weighed.numbers[*answer]];
            names.iter().zip(given).filter(|(name, one)| *name == own && !one.told).count() <= 1
        };
        let once = (0..known.weighed.numbers.len()).filter(is_once);
        let weakest = once.map(|answer| (answer, share(answer))).min_by(|a, b| a.1.total_cmp(&b.1));
        weakest.filter(|(_, share)| *share < CARRIED).map(|(answer, _)| answer)
    }

    /// The checks that can be made: not made yet but perhaps told of, or not since something was repaired; not too often; not skipped; due.
    fn open(&self, crossing: &Crossing, given: &[Given], known: &Known) -> Result<Vec<usize>, ProveError> {
        let grounds = &self.outlooks.grounds;
        let comes_and_goes = known.comes_and_goes();
        let mut made: HashMap<usize, (usize, usize)> = HashMap::new();
        let mut mended: BTreeSet<&String> = BTreeSet::new();
        let mut repairs = 0;
        for one in given.iter().filter(|one| !one.told) {
            let new = one.asked.question.mends.iter().filter(|name| mended.insert(name));
            repairs += new.filter(|name| grounds.repairs.contains(*name)).count();
            made.extend(grounds.checks_of(one).iter().map(|check| (*check, (repairs, mended.len()))));
        }
        let main = &grounds.world.procedures[&grounds.world.main];
        let mut open = Vec::new();
        for (number, check) in grounds.catalogue.checks.iter().enumerate() {
            let again = || check.mends.iter().any(|name| !known.mended.contains(name));
            let made = made.get(&number);
            // What the eyes saw before a repair, and what the bike did, is not asked again.
            let by_eye = check.asked().state.instrument.is_none();
            // What comes and goes may show another time.
            let another_time = comes_and_goes && !by_eye;
            let known = !another_time
                && made
                    .is_some_and(|(then, count)| (*then == repairs || by_eye) && (*count == mended.len() || !again()));
            // Moving a part tells nothing of what stays.
            let idle = check.asked().question.is_moved() && !comes_and_goes;
            let may_come = !idle && !known && !self.is_often(number, given) && !is_out(crossing, check);
            if may_come && is_due(grounds.world, main, check, &crossing.seen)? {
                open.push(number);
            }
        }
        Ok(open)
    }
}

/// The check that was made last: the bike stands as it needed.
fn last_made(given: &[Given]) -> Option<&Asked> {
    given.iter().rfind(|one| !one.told).map(|one| &*one.asked)
}

/// Whether a check was skipped, or needs something that the user has not got.
fn is_out(crossing: &Crossing, check: &Check) -> bool {
    let lacks = |asked: &Arc<Asked>| asked.state.at_hand().any(|name| crossing.lacking.contains(name));
    check.keys.iter().any(|key| crossing.skipped.contains(key)) || check.way.iter().any(lacks)
}
