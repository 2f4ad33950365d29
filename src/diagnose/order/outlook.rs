//! What a check tells: how probable each of its answers is under every fault, and by how much it lowers the entropy over causes.

use super::grounds::{Grounds, Known};
use crate::diagnose::belief::evidence::{share, shows};
use crate::diagnose::belief::fit::{answers, forecast};
use crate::diagnose::weights::{AHEAD, ANYWAY, BAR, LEAST_MINUTES, MISHEARD, OUTSIDE_SHOWS, SLIP};
use crate::diagnose::{Asked, ProveError, set_up};
use crate::walk::Crossing;
use std::collections::{BTreeSet, HashMap};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};

/// Hypotheses with less weight are left out (chosen, no source).
const LEAST_WEIGHT: f64 = 1e-9;
/// The same for what would be left after a check (chosen, no source).
const LEAST_AHEAD: f64 = 1e-4;

/// Probability of each answer to a check, fault by fault; the healthy bike's is the last.
pub(super) struct Outlook {
    count: usize,
    of: Vec<f64>,
}

impl Outlook {
    fn under(&self, fault: usize) -> &[f64] {
        &self.of[fault * self.count..(fault + 1) * self.count]
    }
}

/// The check that comes next.
#[derive(Default)]
pub(super) struct Best {
    pub number: usize,
    /// What it tells by itself, bits.
    pub bits: f64,
    /// What it takes, minutes.
    pub minutes: f64,
    /// What the most telling check would tell, bits.
    pub most: f64,
    /// What it tells, alone or with the check that follows, bits, and what that takes, minutes.
    pub told: f64,
    pub taken: f64,
    /// Bits per minute of the best among the others, 0 if none tells anything.
    pub second: f64,
}

/// A check after another's answer.
pub(super) struct NextAfter {
    pub number: usize,
    pub bits: f64,
    pub minutes: f64,
}

/// A check that could come next.
struct Candidate {
    number: usize,
    /// What it tells by itself, bits.
    bits: f64,
    /// Minutes with what has to come before it, and without.
    minutes: f64,
    alone: f64,
    /// The share of them that would not be spent anyway.
    extra: f64,
}

/// The hypotheses that still weigh something.
pub(super) struct Active {
    pub of: Vec<Hypothesis>,
    causes: usize,
}

#[derive(Clone, Copy)]
pub(super) struct Hypothesis {
    /// The fault's number; the number of faults stands for what is outside, and one more for nothing at all.
    pub number: usize,
    pub weight: f64,
    /// Its cause, counted among those of active hypotheses.
    cause: usize,
}

impl Active {
    /// Those of the belief. With `whether`, all causes but this one count as one.
    pub(super) fn new(known: &Known, whether: Option<usize>) -> Self {
        let mut numbers = vec![usize::MAX; known.by_cause.len()];
        let mut causes = 0;
        let weights = known.belief.weight.iter().enumerate().filter(|(_, weight)| **weight > LEAST_WEIGHT);
        let of = weights.map(|(number, weight)| {
            let own = known.cause[number];
            let cause = &mut numbers[whether.map_or(own, |this| usize::from(own == this))];
            if *cause == usize::MAX {
                *cause = causes;
                causes += 1;
            }
            Hypothesis { number, weight: *weight, cause: *cause }
        });
        Self { of: of.collect(), causes }
    }

    /// The probability of the heaviest cause, and the entropy over causes, bits.
    fn certainty(&self) -> (f64, f64) {
        let mut by_cause = vec![0.0; self.causes];
        self.of.iter().for_each(|one| by_cause[one.cause] += one.weight);
        (by_cause.iter().copied().fold(0.0, f64::max), entropy(by_cause.into_iter()))
    }
}

/// Tells what checks tell, and what they take.
pub(super) struct Outlooks<'a> {
    pub grounds: Grounds<'a>,
    /// By check, and by whether the trouble comes and goes.
    known: Mutex<HashMap<(usize, bool), Arc<Outlook>>>,
    /// Minutes from one check to another, as far as they were asked for.
    changes: Vec<OnceLock<f64>>,
}

impl<'a> Outlooks<'a> {
    pub(super) fn new(grounds: Grounds<'a>) -> Self {
        let count = grounds.catalogue.checks.len();
        Self { grounds, known: Mutex::default(), changes: vec![OnceLock::new(); count * count] }
    }

    /// The probability of each answer to a check under a hypothesis.
    fn under<'o>(&self, outlook: &'o Outlook, check: usize, one: &Hypothesis, known: &Known) -> &'o [f64] {
        let healthy = self.grounds.faults.len();
        let gone =
            one.number < healthy && (known.gone[one.number] || self.grounds.catalogue.checks[check].takes[one.number]);
        outlook.under(if gone { healthy } else { one.number.min(healthy) })
    }

    /// The probability of an answer under a hypothesis, with slips, and with what something outside the library may show.
    fn seen(&self, p: f64, count: usize, one: &Hypothesis) -> f64 {
        let slip = SLIP + MISHEARD;
        let p = if one.number == self.grounds.faults.len() {
            (1.0 - OUTSIDE_SHOWS) * p + OUTSIDE_SHOWS / count as f64
        } else {
            p
        };
        (1.0 - slip) * p + slip / count as f64
    }

    /// Expected fall of the entropy over causes through a check, bits; `before` is the entropy without it.
    pub(super) fn tells(&self, number: usize, active: &Active, before: f64, known: &Known) -> Result<f64, ProveError> {
        let outlook = self.outlook(number, known.comes_and_goes())?;
        let count = outlook.count;
        let mut joint = vec![0.0; active.causes * count];
        let mut of_answer = vec![0.0; count];
        for one in &active.of {
            let at = one.cause * count;
            for (answer, p) in self.under(&outlook, number, one, known).iter().enumerate() {
                let p = one.weight * self.seen(*p, count, one);
                joint[at + answer] += p;
                of_answer[answer] += p;
            }
        }
        // H(cause | answer) = H(cause, answer) - H(answer).
        Ok(before - entropy(joint.into_iter()) + entropy(of_answer.into_iter()))
    }

    /// What is left after each answer to a check, with the answer's probability.
    pub(super) fn after(
        &self,
        number: usize,
        active: &Active,
        known: &Known,
    ) -> Result<Vec<(f64, Active)>, ProveError> {
        let outlook = self.outlook(number, known.comes_and_goes())?;
        let count = outlook.count;
        let mut all: Vec<(f64, Active)> = (0..count)
            .map(|_| (0.0, Active { of: Vec::with_capacity(active.of.len()), causes: active.causes }))
            .collect();
        for one in &active.of {
            for (answer, p) in self.under(&outlook, number, one, known).iter().enumerate() {
                let weight = one.weight * self.seen(*p, count, one);
                all[answer].0 += weight;
                all[answer].1.of.push(Hypothesis { weight, ..*one });
            }
        }
        for (p, left) in &mut all {
            left.of.iter_mut().for_each(|one| one.weight /= p.max(f64::MIN_POSITIVE));
            left.of.retain(|one| one.weight > LEAST_AHEAD);
        }
        Ok(all)
    }

    /// Of these checks the one that tells most per minute, looking one check further: about all causes, or about `whether` it is this one.
    pub(super) fn best(
        &self,
        open: &[usize],
        known: &Known,
        last: Option<&Asked>,
        crossing: &Crossing,
        whether: Option<usize>,
    ) -> Result<Option<Best>, ProveError> {
        let active = Active::new(known, whether);
        // What is needed anyway if the bike is sound costs less now.
        let sound = if whether.is_some() { 0.0 } else { known.by_cause[known.by_cause.len() - 1] };
        let (_, entropy) = active.certainty();
        let mut all = Vec::new();
        for number in open.iter().copied() {
            let bits = self.tells(number, &active, entropy, known)?;
            let (minutes, alone) = self.minutes(number, last, crossing);
            let extra = self.extra(number, sound);
            all.push(Candidate { number, bits, minutes, alone, extra });
        }
        let mut best: Option<Best> = None;
        let most = all.iter().map(|one| one.bits).fold(0.0, f64::max);
        for at in most_per_minute(&all) {
            let Candidate { number, bits, minutes: alone, extra, .. } = all[at];
            let minutes = alone * extra;
            let (mut told, mut taken) = (bits, minutes);
            for (p, left) in self.after(number, &active, known)? {
                if let Some(next) = self.next_after(number, &left, open, known, crossing, sound)? {
                    told += p * next.bits;
                    taken += p * next.minutes;
                }
            }
            // Alone or with the next: a check that tells little never comes only because a good one follows.
            let by_itself = bits / minutes >= told / taken;
            let (told, taken) = if by_itself { (bits, minutes) } else { (told, taken) };
            let new = Best { number, bits, minutes: alone, most, told, taken, second: 0.0 };
            let rate = |best: &Best| best.told / best.taken;
            match &mut best {
                Some(known) if rate(&new) <= rate(known) + 1e-9 => known.second = known.second.max(rate(&new)),
                known => {
                    let second = known.as_ref().map_or(0.0, rate);
                    *known = Some(Best { second, ..new });
                }
            }
        }
        Ok(best)
    }

    /// The check that would come after another's answer, by itself, where something is left to be told.
    pub(super) fn next_after(
        &self,
        number: usize,
        left: &Active,
        open: &[usize],
        known: &Known,
        crossing: &Crossing,
        sound: f64,
    ) -> Result<Option<NextAfter>, ProveError> {
        let (top, entropy) = left.certainty();
        if top >= BAR {
            return Ok(None);
        }
        let mut next: Option<NextAfter> = None;
        for other in open.iter().copied().filter(|other| *other != number) {
            let bits = self.tells(other, left, entropy, known)?;
            let minutes = self.minutes_after(number, other, crossing) * self.extra(other, sound);
            if next.as_ref().is_none_or(|next| bits / minutes > next.bits / next.minutes) {
                next = Some(NextAfter { number: other, bits, minutes });
            }
        }
        Ok(next)
    }

    /// The share of a check's minutes that would not be spent anyway, if the bike is sound with this probability.
    fn extra(&self, number: usize, sound: f64) -> f64 {
        if self.grounds.catalogue.checks[number].is_needed { 1.0 - ANYWAY * sound } else { 1.0 }
    }

    /// Minutes of a check from where the walk stands: with what has to come before its instrument's first reading, and without.
    fn minutes(&self, number: usize, last: Option<&Asked>, crossing: &Crossing) -> (f64, f64) {
        let check = &self.grounds.catalogue.checks[number];
        let alone = check.minutes + last.map_or(0.0, |last| self.change(last, check.first()));
        let before = self.grounds.before(check, crossing).map_or(0.0, |before| before.minutes);
        ((alone + before).max(LEAST_MINUTES), alone.max(LEAST_MINUTES))
    }

    /// Minutes of a check right after another.
    fn minutes_after(&self, before: usize, number: usize, crossing: &Crossing) -> f64 {
        let checks = &self.grounds.catalogue.checks;
        let (one, other) = (&checks[before], &checks[number]);
        let change =
            *self.changes[before * checks.len() + number].get_or_init(|| self.change(one.asked(), other.first()));
        let (came, comes) = (self.grounds.before(one, crossing), self.grounds.before(other, crossing));
        let again = comes.filter(|comes| came.is_none_or(|came| came.key != comes.key));
        (other.minutes + change + again.map_or(0.0, |before| before.minutes)).max(LEAST_MINUTES)
    }

    /// Minutes to change the set-up from one question to another.
    fn change(&self, from: &Asked, to: &Asked) -> f64 {
        set_up::minutes(from, to) + self.grounds.handling().minutes(from, to)
    }

    /// What a check shows under every fault.
    ///
    /// # Errors
    /// The check and the bike's wiring do not fit together.
    pub(super) fn outlook(&self, number: usize, comes_and_goes: bool) -> Result<Arc<Outlook>, ProveError> {
        let key = (number, comes_and_goes);
        if let Some(known) = self.known.lock().unwrap_or_else(PoisonError::into_inner).get(&key) {
            return Ok(known.clone());
        }
        let asked = self.grounds.catalogue.checks[number].asked();
        let row = self.grounds.row(asked)?;
        let good = &row[self.grounds.faults.len()];
        let mut of = Vec::new();
        for (fault, expected) in row.iter().enumerate() {
            of.extend(forecast(expected, asked, share(self.grounds.faults.get(fault), expected, good)));
        }
        let (count, shows) = (answers(asked), shows(comes_and_goes, &asked.question));
        if shows < 1.0 {
            let healthy = of[of.len() - count..].to_vec();
            of.iter_mut().zip(healthy.iter().cycle()).for_each(|(p, good)| *p = shows * *p + (1.0 - shows) * good);
        }
        let outlook = Arc::new(Outlook { count, of });
        self.known.lock().unwrap_or_else(PoisonError::into_inner).insert(key, outlook.clone());
        Ok(outlook)
    }
}

fn entropy(shares: impl Iterator<Item = f64>) -> f64 {
    shares.filter(|share| *share > 0.0).map(|share| -share * share.log2()).sum()
}

/// The candidates with the most bits per minute, [`AHEAD`] with what has to come before them and as many without; ascending.
fn most_per_minute(all: &[Candidate]) -> BTreeSet<usize> {
    let most = |minutes: fn(&Candidate) -> f64| {
        let rate = |at: &usize| all[*at].bits / (minutes(&all[*at]) * all[*at].extra);
        let mut by_rate: Vec<usize> = (0..all.len()).collect();
        by_rate.sort_by(|a, b| rate(b).total_cmp(&rate(a)).then(a.cmp(b)));
        by_rate.into_iter().take(AHEAD)
    };
    most(|one| one.minutes).chain(most(|one| one.alone)).collect()
}
