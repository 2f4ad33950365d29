//! A proof from beginning to end: every fault alone, then pairs and slips where they are asked for.

use super::causes::Causes;
use super::covered::covered;
use super::measure::{Judgement, cures, groups, judgement, later_share, measure, parts};
use super::outcome::{Again, Outcome, Sighting};
use super::proof::{Finding, Healthy, Misled, Pair, Pairs, Proof, SCHEMA_VERSION, Slips, Smallest, Verdicts};
use super::simulate::{Progress, Setting, simulate};
use super::{Asked, Observer, Order, ProveError, Verdict};
use crate::circuit::faults::Fault;
use crate::procedure::Meaning;
use crate::walk::World;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Progress is told after so many walks.
const BATCH: usize = 100;
/// Most pairs that are listed by name.
const MOST_LISTED: usize = 1000;

/// What is to be proved beside the single faults.
#[derive(Debug, Clone, Copy, Default)]
pub struct Wanted {
    /// Every pair of faults.
    pub pairs: bool,
    /// Every fault with one wrong observation.
    pub slips: bool,
    /// Every deciding question under every fault, whether its walk comes there or not.
    pub matrix: bool,
    /// The parts of the procedure in the best order instead of the written one.
    pub best: bool,
}

/// A proof and what it was made of.
pub struct Proved {
    /// The result.
    pub proof: Proof,
    /// Every deciding question with its answers, on the healthy bike and under each fault, where that is wanted.
    pub matrix: Vec<Row>,
}

/// One test of the D-matrix.
pub struct Row {
    /// The question, in the state it was first asked in.
    pub asked: Arc<Asked>,
    /// The healthy bike's answer.
    pub healthy: String,
    /// The answer under each fault.
    pub answers: Vec<String>,
}

/// Proves `world`'s main procedure for its bike.
///
/// # Errors
/// The procedure, the bike's wiring and the walker do not go together.
pub fn prove(
    world: &Arc<World>,
    faults: &[Fault],
    observer: &dyn Observer,
    wanted: Wanted,
    progress: Progress<'_>,
) -> Result<Proved, ProveError> {
    let mut cases: Vec<Vec<usize>> = (0..faults.len()).map(|s| vec![s]).collect();
    cases.push(Vec::new());
    let mut outcomes: Vec<Option<Outcome>> = vec![None; cases.len()];
    let order = if wanted.best { Some(Order::new(world, faults, observer)?) } else { None };
    let setting = Setting { world, faults, cases: &cases, observer, slips: false, order: order.as_ref(), speaks: true };
    simulate(&setting, &mut |case, outcome| outcomes[case] = Some(outcome))?;
    let mut outcomes: Vec<Outcome> = outcomes.into_iter().flatten().collect();
    if outcomes.len() != cases.len() {
        let why = "a walk came to no end".to_owned();
        return Err(ProveError::Walk { step: String::new(), fault: String::new(), why });
    }
    let sightings = seen_on_the_ways(&outcomes);
    let matrix = if wanted.matrix { d_matrix(&sightings, faults.len(), observer) } else { Vec::new() };
    let healthy = outcomes.pop().expect("the healthy bike was walked last");
    let covered = covered(world, faults)?;
    let counts = |n: usize| faults[n].counts && covered[n];
    let mut causes = Causes::new(faults);
    let judged: Vec<Judgement> = outcomes
        .iter()
        .enumerate()
        .map(|(n, o)| Judgement { counts: counts(n), ..judgement(n, faults, &mut causes, o) })
        .collect();
    let counting: Vec<Judgement> = judged.iter().filter(|one| one.counts).cloned().collect();
    let by_end = groups(&counting);
    let finding = |(one, outcome): (&Judgement, &Outcome)| {
        let fault = &faults[one.fault];
        let mut group = by_end.get(one.end.as_str()).cloned().unwrap_or_default();
        group.retain(|other| *other != one.fault);
        let ambiguous_with = group.iter().map(|other| faults[*other].id.clone()).collect();
        group.push(one.fault);
        Finding {
            fault: fault.id.clone(),
            words: fault.words.clone(),
            parts: fault.parts.clone(),
            cure: fault.cure.clone(),
            likelihood: fault.likelihood,
            counts: one.counts,
            covered: covered[one.fault],
            only_by_substitution: fault.only_by_substitution.clone(),
            conclusion: outcome.reached.name(),
            named_cures: causes.named(&outcome.reached.means).cures.iter().cloned().collect(),
            verdict: one.verdict,
            detected: !matches!(one.verdict, Verdict::Missed | Verdict::Wrong),
            mended: causes.mended(&[one.fault], outcome),
            removes_sound: one.removes_sound,
            cause_group: cures(&group, faults).len(),
            ambiguity_group: parts(&group, faults),
            ambiguous_with,
            steps: one.steps,
            minutes: one.minutes,
            set_up_minutes: one.set_up,
            decided_by: decided_by(outcome),
        }
    };
    let findings = judged.iter().zip(&outcomes).map(finding).collect();
    let main = &world.procedures[&world.main];
    let mut proof = Proof {
        schema: SCHEMA_VERSION,
        procedure: world.main.clone(),
        procedure_version: main.version,
        bike: world.bike.name.clone(),
        order: if wanted.best { "best" } else { "written" },
        figures: measure(&judged, faults, !healthy.reached.healthy, |_| 1.0),
        by_likelihood: measure(&judged, faults, !healthy.reached.healthy, |f| f.likelihood),
        healthy: Healthy {
            conclusion: healthy.reached.name(),
            right: healthy.reached.healthy,
            steps: healthy.steps,
            questions: healthy.steps,
            minutes: healthy.minutes,
            set_up_minutes: healthy.set_up,
        },
        not_covered: (0..faults.len()).filter(|n| faults[*n].counts && !covered[*n]).count(),
        smallest_found: smallest_found(&judged, faults, &covered),
        not_told: observer.not_told(),
        faults: findings,
        never_decides: never_decides(&sightings),
        never_asked: never_asked(world, &sightings),
        never_concluded: never_concluded(world, outcomes.iter().chain([&healthy])),
        bikes: None,
        intermittent: None,
        pairs: None,
        slips: None,
    };
    if let Some(order) = &order {
        let later =
            |weight: fn(&Fault) -> f64| Some(later_share(&judged, faults, |f| order.written_minutes(f), weight));
        proof.figures.later_than_written_share = later(|_| 1.0);
        proof.by_likelihood.later_than_written_share = later(|f| f.likelihood);
    }
    let counting: Vec<usize> = (0..faults.len()).filter(|f| counts(*f)).collect();
    if wanted.slips {
        let cases: Vec<Vec<usize>> = counting.iter().map(|f| vec![*f]).chain([Vec::new()]).collect();
        let setting = Setting { cases: &cases, slips: true, speaks: false, ..setting };
        proof.slips = Some(slips(&setting, progress)?);
    }
    if wanted.pairs {
        proof.pairs = Some(pairs(&setting, &counting, progress)?);
    }
    Ok(Proved { proof, matrix })
}

/// Every answer on every way, once.
fn seen_on_the_ways(outcomes: &[Outcome]) -> Vec<Arc<Sighting>> {
    let mut all: Vec<Arc<Sighting>> = Vec::new();
    let mut known = BTreeSet::new();
    for outcome in outcomes {
        let mut way = Vec::new();
        let mut at = outcome.last.clone();
        while let Some(one) = at {
            if !known.insert(Arc::as_ptr(&one) as usize) {
                break;
            }
            at = one.before.clone();
            way.push(one);
        }
        all.extend(way.into_iter().rev());
    }
    all
}

/// The last answer that was not as it should be.
fn decided_by(outcome: &Outcome) -> String {
    let mut at = outcome.last.as_deref();
    while let Some(one) = at {
        if one.asked.meaning(&one.answer) == Meaning::Bad {
            return format!("{}: {}", one.asked.place(), one.answer);
        }
        at = one.before.as_deref();
    }
    String::new()
}

fn smallest_found(judged: &[Judgement], faults: &[Fault], covered: &[bool]) -> Vec<Smallest> {
    let mut all: Vec<(String, Vec<&Judgement>)> = Vec::new();
    for one in judged.iter().filter(|one| covered[one.fault] && faults[one.fault].severity.is_some()) {
        let fault = &faults[one.fault];
        let id = fault.group();
        match all.last_mut() {
            Some((last, group)) if *last == id => group.push(one),
            _ => all.push((id, vec![one])),
        }
    }
    let smallest = |(fault, group): (String, Vec<&Judgement>)| {
        let found = |one: &&&Judgement| one.verdict == Verdict::Right;
        let from = group.iter().rev().take_while(found).last();
        let counts = group.iter().find(|one| faults[one.fault].counts);
        Smallest {
            fault,
            unit: faults[group[0].fault].unit.clone().unwrap_or_default(),
            found_from: from.and_then(|one| faults[one.fault].severity),
            counts_from: counts.and_then(|one| faults[one.fault].severity),
        }
    };
    all.into_iter().map(smallest).collect()
}

fn d_matrix(sightings: &[Arc<Sighting>], faults: usize, observer: &dyn Observer) -> Vec<Row> {
    let mut rows: Vec<Row> = Vec::new();
    let mut known = BTreeSet::new();
    for one in sightings.iter().filter(|s| s.asked.decides()) {
        let asked = &one.asked;
        if !known.insert((asked.procedure.clone(), asked.place())) {
            continue;
        }
        // Under a fault that the state of this question does not fit there is no answer.
        let answer = |faults: &[usize]| observer.seen(faults, asked).map_or_else(|_| String::new(), |s| asked.name(s));
        let answers = (0..faults).map(|s| answer(&[s])).collect();
        rows.push(Row { asked: asked.clone(), healthy: answer(&[]), answers });
    }
    rows
}

fn never_decides(sightings: &[Arc<Sighting>]) -> Vec<String> {
    let mut answers: BTreeMap<(&str, &str), BTreeSet<&str>> = BTreeMap::new();
    for one in sightings.iter().filter(|s| s.asked.decides()) {
        answers.entry((&one.asked.procedure, &one.asked.id)).or_default().insert(&one.answer);
    }
    answers.into_iter().filter(|(_, a)| a.len() == 1).map(|((p, s), _)| format!("{p}/{s}")).collect()
}

fn never_asked(world: &World, sightings: &[Arc<Sighting>]) -> Vec<String> {
    let asked: BTreeSet<_> = sightings.iter().map(|s| (s.asked.procedure.as_str(), s.asked.id.as_str())).collect();
    let all = world.procedures.values().flat_map(|p| p.steps.iter().map(|s| (p.id.as_str(), s.id.as_str())));
    all.filter(|s| !asked.contains(s)).map(|(p, s)| format!("{p}/{s}")).collect()
}

fn never_concluded<'o>(world: &World, outcomes: impl Iterator<Item = &'o Outcome>) -> Vec<String> {
    let reached: BTreeSet<_> =
        outcomes.map(|o| (o.reached.procedure.as_str(), o.reached.conclusion.as_str())).collect();
    let all = world.procedures.values().flat_map(|p| p.conclusions.iter().map(|c| (p.id.as_str(), c.id.as_str())));
    all.filter(|c| !reached.contains(c)).map(|(p, c)| format!("{p}/{c}")).collect()
}

fn pairs(singles: &Setting<'_>, counting: &[usize], progress: Progress<'_>) -> Result<Pairs, ProveError> {
    let all = singles.faults;
    let two = |n: usize| counting[n + 1..].iter().map(move |b| vec![counting[n], *b]);
    // Two severities of one fault are no pair.
    let one_place = |pair: &Vec<usize>| {
        let (a, b) = (&all[pair[0]], &all[pair[1]]);
        a.kind == b.kind && a.place == b.place
    };
    let cases: Vec<Vec<usize>> = (0..counting.len()).flat_map(two).filter(|pair| !one_place(pair)).collect();
    let mut of = Pairs { pairs: cases.len(), verdicts: Verdicts::default(), listed: Vec::new() };
    let setting = Setting { cases: &cases, speaks: false, ..*singles };
    let mut causes = Causes::new(all);
    let mut done = 0;
    progress("pairs of faults", done, cases.len());
    simulate(&setting, &mut |case, outcome| {
        done += 1;
        if done.is_multiple_of(BATCH) {
            progress("pairs of faults", done, cases.len());
        }
        let verdict = causes.judge(&cases[case], &outcome);
        of.verdicts.count(verdict);
        if matches!(verdict, Verdict::Missed | Verdict::Wrong) {
            let faults = [all[cases[case][0]].id.clone(), all[cases[case][1]].id.clone()];
            of.listed.push(Pair { faults, conclusion: outcome.reached.name(), verdict });
        }
    })?;
    progress("pairs of faults", cases.len(), cases.len());
    of.listed.sort_by(|a, b| a.faults.cmp(&b.faults));
    of.listed.truncate(MOST_LISTED);
    Ok(of)
}

fn slips(setting: &Setting<'_>, progress: Progress<'_>) -> Result<Slips, ProveError> {
    let mut of = Slips::default();
    let mut causes = Causes::new(setting.faults);
    let mut misled: BTreeMap<[String; 4], usize> = BTreeMap::new();
    simulate(setting, &mut |case, outcome| {
        let Some(slip) = &outcome.slip else { return };
        let case = &setting.cases[case];
        let verdict = match causes.judge(case, &outcome) {
            Verdict::Missed if case.is_empty() => Verdict::Right,
            verdict => verdict,
        };
        let removes_sound = causes.removes_sound(case, &outcome);
        if slip.again != Again::Right {
            of.repeating.count(verdict, removes_sound);
        }
        if slip.again == Again::Wrong {
            return;
        }
        of.ends.count(verdict, removes_sound);
        if of.ends.walks.is_multiple_of(BATCH) {
            progress("walks with a slip", of.ends.walks, 0);
        }
        match (verdict, slip.again) {
            (Verdict::Wrong, Again::Right) => of.wrong_repeated += 1,
            (Verdict::Wrong, _) => {
                of.wrong_unrepeated += 1;
                let key = [slip.place.clone(), slip.right.clone(), slip.given.clone(), outcome.reached.name()];
                *misled.entry(key).or_default() += 1;
            }
            _ => {}
        }
    })?;
    of.wrong_unrepeated_rate = of.wrong_unrepeated as f64 / (of.ends.walks as f64).max(1.0);
    let one = |([place, right, given, conclusion], faults): ([String; 4], usize)| Misled {
        place,
        right,
        given,
        conclusion,
        faults,
    };
    of.misled = misled.into_iter().map(one).collect();
    of.misled.sort_by(|a, b| b.faults.cmp(&a.faults).then_with(|| a.place.cmp(&b.place)));
    Ok(of)
}
