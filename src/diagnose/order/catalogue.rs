//! The catalogue of checks: every question of the main procedure that decides something, where a walk can go to for it, and the end that the
//! written order comes to under each fault.
//!
//! It is made by walking the written order under every fault. A check is a question with the actions before it that prepare it: the state of
//! the bike that it starts from is the one that the written walk brought it to.

use crate::advice::{Chosen, Next, Spot};
use crate::circuit::faults::Fault;
use crate::diagnose::causes::Causes;
use crate::diagnose::handling::Handling;
use crate::diagnose::lead::{Came, Led, Ways, lead};
use crate::diagnose::looked_at::readings_used;
use crate::diagnose::outcome::Sighting;
use crate::diagnose::{Asked, Observer, ProveError, set_up};
use crate::expression::{Scope, Seen, Template, evaluate_bool, evaluate_list, render, render_names};
use crate::procedure::{Observe, Procedure, Target};
use crate::source::Written;
use crate::walk::{Walker, World};
use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};
use std::sync::Arc;

/// A check.
pub(super) struct Check {
    /// Where it begins.
    pub spot: Spot,
    /// What prepares it, then its question.
    pub way: Vec<Arc<Asked>>,
    /// What counts as new once it is prepared.
    pub mends: BTreeSet<String>,
    /// Its minutes, with what prepares it and what puts it back.
    pub minutes: f64,
    /// The faults that are gone once it is prepared.
    pub takes: Vec<bool>,
    /// Whether it, or one that observes the same, is needed before the bike can be called sound.
    pub is_needed: bool,
    /// Its question's name among answers.
    pub key: String,
    /// The names of its steps among those that were left out.
    pub keys: Vec<String>,
}

impl Check {
    fn new(spot: Spot, way: Vec<Arc<Asked>>, mends: BTreeSet<String>, minutes: f64) -> Self {
        let key = way.last().map(|asked| asked.key()).unwrap_or_default();
        let round = |asked: &Asked| asked.round.clone().unwrap_or_default();
        let keys = way.iter().map(|asked| format!("{}/{}/{}", asked.procedure, asked.id, round(asked))).collect();
        Self { spot, way, mends, minutes, takes: Vec::new(), is_needed: false, key, keys }
    }

    /// Its question.
    pub fn asked(&self) -> &Arc<Asked> {
        self.way.last().expect("a check has a question")
    }

    /// What it begins with.
    pub fn first(&self) -> &Asked {
        &self.way[0]
    }
}

/// The end that the written order comes to under a fault.
#[derive(Clone)]
pub(super) struct End {
    pub conclusion: String,
    pub round: Option<String>,
    pub means: Vec<String>,
    pub condemns: Vec<String>,
    pub remedy: String,
    pub recheck: Vec<String>,
    pub cautions: Vec<String>,
    /// Minutes to there, changes of set-up included.
    pub minutes: f64,
    /// Whether one remedy mends all that it means.
    pub is_one_cause: bool,
}

/// The checks, in the order in which the written walks come to them, and the end under each fault.
pub(super) struct Catalogue {
    pub checks: Vec<Check>,
    /// Check numbers by question key. A key names only the innermost round, so checks in several outer rounds share it.
    pub by_key: HashMap<String, Vec<usize>>,
    pub ends: Vec<Option<End>>,
    /// What comes before an instrument's first reading, in the order of the procedure's list.
    pub before: Vec<Option<Check>>,
    /// What taking things off and putting them back takes.
    pub handling: Handling,
}

/// A step and the rounds that it stands in.
type Key = (String, Vec<(String, usize)>);

impl Catalogue {
    /// Walks the written order under these faults, and on a healthy bike. A fault that is not among them is taken to end as one of its kind at
    /// the same place.
    pub fn new(
        world: &Arc<World>,
        faults: &[Fault],
        walked: &[usize],
        observer: &dyn Observer,
    ) -> Result<Self, ProveError> {
        let cases: Vec<Vec<usize>> = walked.iter().map(|f| vec![*f]).chain([Vec::new()]).collect();
        let of = Led { world, faults, cases: &cases, observer, slips: false, best: None };
        let main = &world.procedures[&world.main];
        let mut ends: Vec<Option<End>> = vec![None; cases.len()];
        let mut ways: Vec<Arc<Sighting>> = Vec::new();
        let walker = Walker::unheard(world.clone());
        let mut causes = Causes::new(faults);
        lead(&of, walker, (0..cases.len()).collect(), &readings_used(world), &mut |track, came| {
            if let Came::To(reached) = came {
                let end = world.procedures.get(&reached.procedure).and_then(|p| p.conclusion(&reached.conclusion));
                let scope = track.walker.scope();
                let end = end.map(|found| {
                    Ok::<_, ProveError>(End {
                        conclusion: reached.conclusion.clone(),
                        round: reached.round.clone(),
                        is_one_cause: causes.named(&reached.means).cures.len() == 1,
                        means: reached.means.clone(),
                        condemns: reached.condemns.clone(),
                        minutes: track.minutes + track.set_up,
                        remedy: render(&found.remedy, &scope)?,
                        recheck: render_names(&found.recheck, &scope)?,
                        cautions: match reached.procedure == world.main {
                            true => found.cautions.iter().map(|id| id.value.clone()).collect(),
                            false => Vec::new(),
                        },
                    })
                });
                let end = end.transpose()?;
                track.cases.iter().for_each(|case| ends[*case].clone_from(&end));
                ways.extend(track.last.clone());
            }
            Ok(None)
        })?;
        beside(&of, &mut ways)?;
        let mut all_checks: Vec<Check> = Vec::new();
        let mut places: BTreeMap<Key, usize> = BTreeMap::new();
        let mut known = HashSet::new();
        let mut back: BTreeMap<Key, f64> = BTreeMap::new();
        let mut handling = Handling::default();
        for way in &ways {
            let mut all = Vec::new();
            let mut at = Some(way.clone());
            while let Some(one) = at {
                at = one.before.clone();
                all.push(one);
            }
            all.reverse();
            for (number, one) in all.iter().enumerate() {
                if !known.insert(Arc::as_ptr(one)) {
                    continue;
                }
                let Some(spot) = &one.spot else { continue };
                if let (false, Some(before)) = (one.asked.decides(), number.checked_sub(1)) {
                    handling.learn(&all[before].asked.state, &one.asked);
                }
                if one.asked.step().puts_back() {
                    put_back(&all[..number], one, &mut back);
                    continue;
                }
                // A doubted answer is asked for again: what prepared it came before the first time.
                let same = |other: &&Arc<Sighting>| {
                    let there = other.spot.as_ref().map(|there| (&there.step, &there.rounds));
                    there == Some((&spot.step, &spot.rounds))
                };
                if !one.asked.decides() || all[..number].iter().any(|other| same(&other)) {
                    continue;
                }
                let check = check(&all[..=number]);
                let at = *places.entry((spot.step.clone(), spot.rounds.clone())).or_insert(all_checks.len());
                match all_checks.get_mut(at) {
                    Some(known) if check.way.len() < known.way.len() => *known = check,
                    Some(_) => {}
                    None => all_checks.push(check),
                }
            }
        }
        for (key, minutes) in back {
            if let Some(at) = places.get(&key) {
                all_checks[*at].minutes += minutes;
            }
        }
        let needs = |check: &Check| {
            let id = &check.asked().id;
            main.checks.iter().flat_map(|checks| &checks.needs).any(|need| need.value == *id)
        };
        let (mut checks, mut by_key): (Vec<Check>, HashMap<_, _>) = (Vec::new(), HashMap::new());
        for mut check in all_checks {
            check.takes = faults.iter().map(|fault| fault.is_mended(&check.mends)).collect();
            check.is_needed = needs(&check);
            let at = checks.iter().position(|known| is_same(known, &check)).unwrap_or(checks.len());
            let of_key: &mut Vec<usize> = by_key.entry(check.key.clone()).or_default();
            if !of_key.contains(&at) {
                of_key.push(at);
            }
            match checks.get_mut(at) {
                Some(known) => known.is_needed |= check.is_needed,
                None => checks.push(check),
            }
        }
        let before = main.checks.iter().flat_map(|checks| &checks.before);
        let before = before.map(|one| first_of(&one.step.value, &ways)).collect();
        let like = |fault: &Fault| {
            let same = |f: &usize| faults[*f].kind == fault.kind && faults[*f].place == fault.place;
            let away = |f: &usize| match (faults[*f].severity, fault.severity) {
                (Some(a), Some(b)) => (a / b).ln().abs(),
                _ => 0.0,
            };
            let nearest = (0..walked.len()).filter(|n| same(&walked[*n]));
            nearest.min_by(|a, b| away(&walked[*a]).total_cmp(&away(&walked[*b]))).and_then(|n| ends[n].clone())
        };
        let ends = faults.iter().map(like).collect();
        Ok(Self { checks, by_key, ends, before, handling })
    }
}

/// Walks each check that stands beside the written tree, in every round of its loop, under every case.
fn beside(of: &Led<'_>, ways: &mut Vec<Arc<Sighting>>) -> Result<(), ProveError> {
    let walk = |ways: Ways<'_>| {
        let walker = Walker::unheard(of.world.clone()).in_best_order();
        lead(of, walker, (0..of.cases.len()).collect(), &readings_used(of.world), ways)
    };
    if of.world.procedures[&of.world.main].beside().is_empty() {
        return Ok(());
    }
    let mut starts = Vec::new();
    walk(&mut |track, _| {
        starts = starts_beside(of.world, &track.walker)?;
        Ok(None)
    })?;
    for start in starts {
        walk(&mut |track, came| {
            // A spot is known from the first check on.
            let begun = track.last.as_ref().is_some_and(|last| last.spot.is_some());
            if matches!(came, Came::Between) && !begun {
                return Ok(Some(start.clone()));
            }
            ways.extend(track.last.clone());
            Ok(None)
        })?;
    }
    Ok(())
}

/// The choices that lead to the checks beside the written tree, the bike as it is where the checks may come in any order.
fn starts_beside(world: &World, walker: &Walker) -> Result<Vec<Chosen>, ProveError> {
    let main = &world.procedures[&world.main];
    let to = |step: &Written<String>, rounds: Vec<(String, usize)>| {
        let spot = Spot { step: step.value.clone(), rounds, state: walker.bike_state().clone() };
        Chosen { next: Next::Check(Box::new(spot)), ..Chosen::default() }
    };
    let mut starts = Vec::new();
    for target in main.beside() {
        match target {
            Target::Step(id) => starts.push(to(id, Vec::new())),
            Target::Each(id) => {
                let Some(each) = main.each(id) else { continue };
                let rounds = evaluate_list(&each.over, &walker.scope())?.len();
                starts.extend((0..rounds).map(|round| to(&each.first, vec![(id.value.clone(), round)])));
            }
            _ => {}
        }
    }
    Ok(starts)
}

/// Whether both would observe the same: a procedure asks some things again where it doubts them.
fn is_same(one: &Check, other: &Check) -> bool {
    let (a, b) = (one.asked(), other.asked());
    let ids = |asked: &Asked| asked.choices().iter().map(|choice| choice.id.value.clone()).collect::<BTreeSet<_>>();
    if one.mends != other.mends || ids(a) != ids(b) || a.unit() != b.unit() {
        return false;
    }
    match (&a.step().observe, &b.step().observe) {
        (None, None) => a.round == b.round && a.bare() == b.bare(),
        (Some(Observe::Look { look: one, at: here }), Some(Observe::Look { look: other, at: there })) => {
            let names = |at: &[Template]| at.iter().map(|part| part.value.clone()).collect::<Vec<_>>();
            // What is looked at is the same in every round, unless the round names it.
            let one_place = names(here).iter().all(|name| name.contains("bike."));
            one.value == other.value && names(here) == names(there) && (a.round == b.round || one_place)
        }
        _ => false,
    }
}

/// The minutes of a step that puts back, for the check before it.
fn put_back(before: &[Arc<Sighting>], one: &Sighting, back: &mut BTreeMap<Key, f64>) {
    let check = before.iter().rev().find(|other| other.asked.decides());
    if let Some(spot) = check.and_then(|check| check.spot.as_ref()) {
        let minutes = one.asked.step().minutes;
        let known = back.entry((spot.step.clone(), spot.rounds.clone())).or_default();
        *known = known.max(minutes);
    }
}

/// The last sighting of a way as a check, with the actions just before it that prepare it.
fn check(way: &[Arc<Sighting>]) -> Check {
    let last = &way[way.len() - 1];
    let rounds = |one: &Sighting| one.spot.as_ref().map(|spot| spot.rounds.clone());
    let prepares = |one: &&Arc<Sighting>| {
        !one.asked.decides() && !one.asked.step().puts_back() && one.spot.is_some() && rounds(one) == rounds(last)
    };
    let before = way[..way.len() - 1].iter().rev().take_while(prepares).count();
    let own = &way[way.len() - 1 - before..];
    let mut spot = own[0].spot.clone().expect("it prepares where a walk can come back to");
    if own[0].asked.step().state.instrument.is_none() {
        spot.state.instrument = None;
    }
    let mends = own.iter().flat_map(|one| one.asked.question.mends.iter().cloned()).collect();
    let between: f64 = own.windows(2).map(|two| set_up::minutes(&two[0].asked, &two[1].asked)).sum();
    let minutes = between + own.iter().map(|one| one.asked.step().minutes).sum::<f64>();
    Check::new(spot, own.iter().map(|one| one.asked.clone()).collect(), mends, minutes)
}

/// The step and what it calls, until the next question of the main procedure.
fn first_of(step: &str, ways: &[Arc<Sighting>]) -> Option<Check> {
    ways.iter().find_map(|way| {
        let mut after: Vec<Arc<Sighting>> = Vec::new();
        let mut at = Some(way.clone());
        while let Some(one) = at {
            at = one.before.clone();
            if let Some(spot) = one.spot.clone() {
                if spot.step == step {
                    after.push(one.clone());
                    after.reverse();
                    let minutes = after.iter().map(|one| one.asked.step().minutes).sum();
                    return Some(Check::new(spot, vec![one.asked.clone()], BTreeSet::new(), minutes));
                }
                after.clear();
            } else {
                after.push(one);
            }
        }
        None
    })
}

/// The scope at a check after these observations.
pub(super) fn scope_at(world: &World, spot: &Spot, seen: &Seen) -> Result<Scope, ProveError> {
    let main = &world.procedures[&world.main];
    let mut scope = Scope::after(world.bike_value.clone(), seen.clone());
    for (id, at) in &spot.rounds {
        let Some(each) = main.each(id) else { continue };
        let items = evaluate_list(&each.over, &scope)?;
        if let Some(item) = items.into_iter().nth(*at) {
            scope.bind(&each.bind, item);
        }
    }
    Ok(scope)
}

/// Whether a check's steps are to be made at all after these observations.
pub(super) fn is_due(world: &World, main: &Procedure, check: &Check, seen: &Seen) -> Result<bool, ProveError> {
    let whens = || check.way.iter().filter_map(|asked| main.step(&asked.id)?.when.as_ref());
    if whens().next().is_none() {
        return Ok(true);
    }
    let scope = scope_at(world, &check.spot, seen)?;
    for when in whens() {
        if !evaluate_bool(when, &scope)? {
            return Ok(false);
        }
    }
    Ok(true)
}
