//! The real walker, led through a procedure under many faults at once.
//!
//! All cases set out together; wherever they would answer differently the walker is forked, so that each way is walked once
//! however many faults take it.

use super::{Asked, Observer, ProveError, Seen};
use crate::circuit::faults::Fault;
use crate::phrase::{Answer, Hypothesis, Reading, ReadingKind, Verdict};
use crate::procedure::{Ask, Expression, Meaning, Procedure, Route, expression, render_names};
use crate::session::{Now, Record};
use crate::walk::{Effect, Event, FINISHED, Walker, World};
use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, mpsc};

/// More questions than this mean that the walk goes in a circle.
const MOST_QUESTIONS: usize = 600;
/// More acknowledgements in a row than this, likewise.
const MOST_ACKNOWLEDGED: usize = 50;

/// One answer on a way.
pub struct Sighting {
    /// What was asked, in the state it was asked in.
    pub asked: Arc<Asked>,
    /// What was answered, by its short name.
    pub answer: String,
    /// The answer was a wrong one.
    pub slipped: bool,
    /// The sighting before.
    pub before: Option<Arc<Sighting>>,
}

/// A wrong observation: what was there and what was said.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Slip {
    /// `points-turn left`.
    pub place: String,
    /// The right answer.
    pub right: String,
    /// The one given.
    pub given: String,
    /// The same question was put again later, and answered rightly.
    pub repeated: bool,
}

/// How a walk ended.
#[derive(Debug, Clone)]
pub struct Reached {
    /// Procedure.
    pub procedure: String,
    /// Conclusion.
    pub conclusion: String,
    /// Round.
    pub round: Option<String>,
    /// What it condemns.
    pub condemns: Vec<String>,
    /// It says that nothing is wrong.
    pub healthy: bool,
}

impl Reached {
    /// The conclusion with its round: `coil-bad left`.
    pub fn name(&self) -> String {
        self.round.as_ref().map_or_else(|| self.conclusion.clone(), |r| format!("{} {r}", self.conclusion))
    }
}

/// What came of one case.
#[derive(Clone)]
pub struct Outcome {
    /// How it ended.
    pub reached: Reached,
    /// What was mended on the way, as the procedure's steps say.
    pub mended: BTreeSet<String>,
    /// Questions asked.
    pub steps: usize,
    /// Working minutes.
    pub minutes: f64,
    /// The last answer; the others hang on it.
    pub last: Option<Arc<Sighting>>,
    /// The wrong observation, if there was one.
    pub slip: Option<Slip>,
}

struct Track {
    walker: Walker,
    listen: u64,
    cases: Vec<usize>,
    mended: BTreeSet<String>,
    steps: usize,
    minutes: f64,
    last: Option<Arc<Sighting>>,
    slip: Option<Slip>,
}

/// What is simulated.
pub struct Setting<'a> {
    /// Procedure, bike and words.
    pub world: &'a Arc<World>,
    /// All faults that there are.
    pub faults: &'a [Fault],
    /// The cases: numbers of faults, ascending; an empty one is the healthy bike.
    pub cases: &'a [Vec<usize>],
    /// Says what is seen.
    pub observer: &'a dyn Observer,
    /// With one wrong observation somewhere, in every way, instead of without.
    pub slips: bool,
}

/// Fewest cases that are walked together: what they share of the way is walked once.
const FEWEST_TOGETHER: usize = 12;
/// Most of them, so that progress can be told.
const MOST_TOGETHER: usize = 200;
/// Lots of cases for each thread: some take longer than others.
const LOTS_EACH: usize = 6;

/// Walks every case and tells `outcome` of each: its number and what came of it. The cases are shared out to as many threads as the
/// machine runs at once; the order in which they are told does not depend on which is ready first.
///
/// # Errors
/// The procedure, the bike's wiring and the walker do not go together.
pub fn simulate(of: &Setting<'_>, outcome: &mut dyn FnMut(usize, Outcome)) -> Result<(), ProveError> {
    let by_value = readings_used(of.world);
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    let together = of.cases.len().div_ceil(threads * LOTS_EACH).clamp(FEWEST_TOGETHER, MOST_TOGETHER);
    let lots = of.cases.len().div_ceil(together);
    let lot = |n: usize| (n * together..((n + 1) * together).min(of.cases.len())).collect::<Vec<usize>>();
    if threads == 1 || lots < 2 {
        return (0..lots).try_for_each(|n| walk(of, lot(n), &by_value, outcome));
    }
    let next = AtomicUsize::new(0);
    let (sender, walked) = mpsc::channel();
    std::thread::scope(|scope| {
        for _ in 0..threads.min(lots) {
            let (sender, next, by_value) = (sender.clone(), &next, &by_value);
            scope.spawn(move || {
                loop {
                    let n = next.fetch_add(1, Ordering::Relaxed);
                    if n >= lots {
                        return;
                    }
                    let mut all = Vec::new();
                    let result = walk(of, lot(n), by_value, &mut |case, outcome| all.push((case, outcome)));
                    if result.is_err() {
                        next.store(lots, Ordering::Relaxed);
                    }
                    // Nobody takes it any more when another lot has failed.
                    let _ = sender.send((n, result.map(|()| all)));
                }
            });
        }
        drop(sender);
        let mut waiting = BTreeMap::new();
        let mut told = 0;
        for (n, result) in walked {
            waiting.insert(n, result?);
            while let Some(all) = waiting.remove(&told) {
                all.into_iter().for_each(|(case, one)| outcome(case, one));
                told += 1;
            }
        }
        Ok(())
    })
}

/// Walks some cases together, forking where they would answer differently.
fn walk(
    of: &Setting<'_>,
    cases: Vec<usize>,
    by_value: &BTreeSet<String>,
    outcome: &mut dyn FnMut(usize, Outcome),
) -> Result<(), ProveError> {
    let mut walker = Walker::unheard(of.world.clone());
    let Some(listen) = give(&mut walker, Event::Begin).listen else { return Err(stuck(&walker, "nobody listens")) };
    let first =
        Track { walker, listen, cases, mended: BTreeSet::new(), steps: 0, minutes: 0.0, last: None, slip: None };
    let mut open = vec![first];
    while let Some(track) = open.pop() {
        step(of, track, by_value, &mut open, outcome)?;
    }
    Ok(())
}

fn stuck(walker: &Walker, why: &str) -> ProveError {
    ProveError::Walk { step: walker.place().0.to_owned(), fault: "some fault".to_owned(), why: why.to_owned() }
}

/// Faults of a case that are still there.
fn effective(of: &Setting<'_>, track: &Track, case: usize) -> Vec<usize> {
    of.cases[case].iter().copied().filter(|f| !of.faults[*f].is_mended(&track.mended)).collect()
}

/// Puts the question at hand to every case of the track and forks where they differ.
fn step(
    of: &Setting<'_>,
    mut track: Track,
    by_value: &BTreeSet<String>,
    open: &mut Vec<Track>,
    outcome: &mut dyn FnMut(usize, Outcome),
) -> Result<(), ProveError> {
    for _ in 0..MOST_ACKNOWLEDGED {
        if track.walker.is_asking() {
            break;
        }
        match give(&mut track.walker, heard(track.listen, Answer::Done)).listen {
            Some(listen) => track.listen = listen,
            None => return Err(stuck(&track.walker, "a caution cannot be acknowledged")),
        }
    }
    if track.steps >= MOST_QUESTIONS {
        return Err(stuck(&track.walker, "the walk goes in a circle"));
    }
    let Some(asked) = Asked::by(&track.walker, of.world)? else {
        return Err(stuck(&track.walker, "there is no such step"));
    };
    let asked = Arc::new(asked);
    let step = asked.step();
    track.mended.extend(asked.question.mends.iter().cloned());
    track.steps += 1;
    track.minutes += step.minutes;
    let exact = asked.unit().is_some() && reading_name(step).is_some_and(|n| by_value.contains(&n));
    let mut groups: Vec<(Seen, Vec<usize>)> = Vec::new();
    for case in std::mem::take(&mut track.cases) {
        let seen = of.observer.seen(&effective(of, &track, case), &asked)?;
        let same = |other: &Seen| match (seen, *other) {
            (Seen::Value(a), Seen::Value(b)) if !exact => asked.band(a) == asked.band(b),
            (a, b) => a == b,
        };
        match groups.iter_mut().find(|(other, _)| same(other)) {
            Some((_, cases)) => cases.push(case),
            None => groups.push((seen, vec![case])),
        }
    }
    if let Some(slip) = &mut track.slip {
        slip.repeated |= slip.place == asked.place();
    }
    if of.slips && track.slip.is_none() {
        for (right, cases) in &groups {
            for wrong in slips(&asked, *right) {
                let mut other = fork(&mut track, cases.clone());
                let (place, given) = (asked.place(), asked.name(wrong));
                other.slip = Some(Slip { place, right: asked.name(*right), given, repeated: false });
                answer(of, other, &asked, wrong, true, open, outcome)?;
            }
        }
    }
    let Some((last, others)) = groups.split_last_mut() else { return Ok(()) };
    for (seen, cases) in others {
        let other = fork(&mut track, std::mem::take(cases));
        answer(of, other, &asked, *seen, false, open, outcome)?;
    }
    track.cases = std::mem::take(&mut last.1);
    answer(of, track, &asked, last.0, false, open, outcome)
}

fn fork(track: &mut Track, cases: Vec<usize>) -> Track {
    Track {
        walker: track.walker.fork(),
        listen: track.listen,
        cases,
        mended: track.mended.clone(),
        steps: track.steps,
        minutes: track.minutes,
        last: track.last.clone(),
        slip: track.slip.clone(),
    }
}

#[allow(clippy::too_many_arguments)]
fn answer(
    of: &Setting<'_>,
    mut track: Track,
    asked: &Arc<Asked>,
    seen: Seen,
    slipped: bool,
    open: &mut Vec<Track>,
    outcome: &mut dyn FnMut(usize, Outcome),
) -> Result<(), ProveError> {
    let spoken = spoken(asked, seen);
    track.last =
        Some(Arc::new(Sighting { asked: asked.clone(), answer: asked.name(seen), slipped, before: track.last.take() }));
    let mut after = give(&mut track.walker, heard(track.listen, spoken));
    // "That cannot be: is that right?" of a value that no healthy bike shows.
    for agreed in [Answer::Yes, Answer::Yes] {
        if track.walker.is_questioning()
            && let Some(listen) = after.listen
        {
            after = give(&mut track.walker, heard(listen, agreed));
        }
    }
    // No answer: the check is left out, with a reason where one is asked for.
    for _ in 0..3 {
        if seen == Seen::Nothing
            && let Some(listen) = after.listen
            && track.walker.place().0 == asked.id
            && after.reached.is_none()
        {
            after = give(&mut track.walker, heard(listen, Answer::Escape(crate::phrase::Escape::CannotReach)));
        }
    }
    if let Some(reached) = after.reached {
        for case in track.cases {
            outcome(
                case,
                Outcome {
                    reached: reached.clone(),
                    mended: track.mended.clone(),
                    steps: track.steps,
                    minutes: track.minutes,
                    last: track.last.clone(),
                    slip: track.slip.clone(),
                },
            );
        }
        return Ok(());
    }
    if let Some(why) = after.failed {
        let case = track.cases.first().map(|c| of.cases[*c].clone()).unwrap_or_default();
        let fault = case.iter().map(|f| of.faults[*f].id.clone()).collect::<Vec<_>>().join(" with ");
        let fault = if fault.is_empty() { "no fault".to_owned() } else { fault };
        return Err(ProveError::Walk { step: asked.place(), fault, why });
    }
    match after.listen {
        Some(listen) => open.push(Track { listen, ..track }),
        None => return Err(stuck(&track.walker, "nobody listens any more")),
    }
    Ok(())
}

fn spoken(asked: &Asked, seen: Seen) -> Answer {
    match (seen, asked.unit()) {
        (Seen::Choice(at), _) => Answer::Choice(asked.choices()[at].id.value.clone()),
        (Seen::Value(value), Some((unit, _))) => {
            Answer::Reading(Reading { kind: ReadingKind::Plain, value, unit, said_unit: None })
        }
        (Seen::OverRange, Some((unit, _))) => {
            Answer::Reading(Reading { kind: ReadingKind::OverRange, value: 0.0, unit, said_unit: None })
        }
        (Seen::Done, _) => match asked.step().ask {
            Ask::Note(_) => Answer::Note(String::new()),
            _ => Answer::Done,
        },
        _ => Answer::Escape(crate::phrase::Escape::CannotReach),
    }
}

/// What people say wrongly: any other choice, or a number in the band beside the right one.
fn slips(asked: &Asked, right: Seen) -> Vec<Seen> {
    match right {
        Seen::Choice(at) => (0..asked.choices().len()).filter(|n| *n != at).map(Seen::Choice).collect(),
        Seen::Value(value) => {
            let (at, (_, resolution)) = (asked.band(value), asked.unit().unwrap_or((crate::trade::Unit::One, 0.0)));
            let bands = asked.question.limits();
            let up = bands.get(at + 1).map(|band| Seen::Value(band.from));
            let down = at.checked_sub(1).map(|n| Seen::Value(bands[n].below - resolution));
            up.into_iter().chain(down).collect()
        }
        _ => Vec::new(),
    }
}

fn heard(listen: u64, answer: Answer) -> Event {
    let heard = Hypothesis { answer, words: String::new(), probability: 1.0 };
    Event::Heard { listen, verdict: Verdict::Accept { heard }, begin: 0, end: 0, clip: None }
}

#[derive(Default)]
struct After {
    listen: Option<u64>,
    reached: Option<Reached>,
    failed: Option<String>,
}

/// Gives an event and does at once all that it leads to.
fn give(walker: &mut Walker, event: Event) -> After {
    let now = Now { mono_ms: 0, wall: String::new() };
    let mut after = After::default();
    let mut queue = VecDeque::from([event]);
    while let Some(event) = queue.pop_front() {
        for effect in walker.handle(event, &now) {
            match effect {
                Effect::Say { id, .. } => queue.push_back(Event::PromptEnded { id, whole: true }),
                Effect::Cut => queue.retain(|e| !matches!(e, Event::PromptEnded { .. })),
                Effect::Listen { id, .. } => after.listen = Some(id),
                Effect::Deaf => after.listen = None,
                Effect::Record { id, record, sync } => {
                    if sync {
                        queue.push_back(Event::Recorded { id });
                    }
                    if let Record::Concluded { procedure, conclusion, round, last: true, .. } = record {
                        after.reached = Some(reached(walker, procedure, conclusion, round));
                    }
                }
                Effect::Finish { code, why } if code != 0 => after.failed = Some(why),
                _ => {}
            }
        }
    }
    after
}

fn reached(walker: &Walker, procedure: String, conclusion: String, round: Option<String>) -> Reached {
    let scope = walker.scope();
    let found = walker.world().procedures.get(&procedure).and_then(|p| p.conclusion(&conclusion));
    let condemns = found.map(|c| &c.condemns[..]).unwrap_or_default();
    // A template that does not come out has failed the walk before.
    let condemns = render_names(condemns, &scope).unwrap_or_default();
    // What only ends, and blames nothing, found nothing.
    let healthy = found.map_or(conclusion == FINISHED, |c| c.healthy);
    Reached { healthy, procedure, conclusion, round, condemns }
}

fn reading_name(step: &crate::procedure::Step) -> Option<String> {
    match &step.ask {
        Ask::Reading(reading) => Some(reading.name.value.replace('-', "_")),
        _ => None,
    }
}

/// Names of readings that a route or a limit looks at by their value: for them two values in one band are not the same.
fn readings_used(world: &World) -> BTreeSet<String> {
    let mut names = BTreeSet::new();
    for expression in world.procedures.values().flat_map(expressions) {
        let all = expression::names(expression).into_iter();
        names.extend(all.filter_map(|name| name.path.strip_prefix("seen.").map(str::to_owned)));
    }
    let steps = world.procedures.values().flat_map(|p| &p.steps);
    let readings: BTreeSet<String> = steps.filter_map(reading_name).collect();
    let used = |reading: &&String| names.iter().any(|n| n == *reading || n.starts_with(&format!("{reading}_")));
    readings.iter().filter(used).cloned().collect()
}

/// Every expression of a procedure.
fn expressions(procedure: &Procedure) -> Vec<&Expression> {
    let mut all: Vec<&Expression> = procedure.loops.iter().map(|l| &l.over).collect();
    let mut routes: Vec<&Route> = procedure.loops.iter().map(|l| &l.then).collect();
    for step in &procedure.steps {
        all.extend(&step.when);
        routes.extend(step.otherwise.iter().chain([&step.untested]));
        match &step.ask {
            Ask::Choice(choices) | Ask::Watch { choices, .. } => routes.extend(choices.iter().map(|c| &c.go)),
            Ask::Reading(reading) => {
                all.extend([&reading.low, &reading.high]);
                all.extend(reading.bands.iter().flat_map(|band| band.from.iter().chain(&band.below)));
                routes.extend(reading.bands.iter().map(|band| &band.go).chain(&reading.over_range));
            }
            Ask::Done(to) | Ask::Note(to) => routes.push(to),
        }
    }
    all.extend(routes.into_iter().flat_map(|r| &r.0).filter_map(|c| c.when.as_ref()));
    all
}

/// What the answer of a sighting means, by the procedure.
pub(super) fn meaning(world: &World, sighting: &Sighting) -> Meaning {
    let step = world.procedures.get(&sighting.asked.procedure).and_then(|p| p.step(&sighting.asked.id));
    match step.map(|s| &s.ask) {
        Some(Ask::Choice(choices) | Ask::Watch { choices, .. }) => {
            choices.iter().find(|c| *c.id == sighting.answer).map_or(Meaning::Neither, |c| c.means)
        }
        Some(Ask::Reading(reading)) => {
            reading.bands.iter().find(|b| *b.id == sighting.answer).map_or(Meaning::Bad, |b| b.means)
        }
        _ => Meaning::Neither,
    }
}
