//! The real walker, led from question to question under some faults, and forked where they would be answered differently.

use super::handling::Handling;
use super::looked_at::reading_name;
use super::outcome::{Again, Reached, Sighting, Slip};
use super::said::Said;
use super::set_up;
use super::{Asked, Observer, ProveError, Seen};
use crate::advice::Chosen;
use crate::circuit::faults::Fault;
use crate::expression::render_names;
use crate::phrase::{Answer, Escape, Hypothesis, Verdict};
use crate::session::{Now, Record};
use crate::walk::{Answered, Effect, Event, FINISHED, Request, Walker, World};
use std::collections::{BTreeSet, VecDeque};
use std::sync::Arc;

/// More questions than this mean that the walk goes in a circle.
const MOST_QUESTIONS: usize = 600;
/// More acknowledgements in a row than this, likewise.
const MOST_ACKNOWLEDGED: usize = 50;

/// What a walker is led under.
pub(super) struct Led<'a> {
    pub world: &'a Arc<World>,
    /// All faults that there are.
    pub faults: &'a [Fault],
    /// The cases: numbers of faults, ascending.
    pub cases: &'a [Vec<usize>],
    pub observer: &'a dyn Observer,
    /// With one wrong observation somewhere, in every way, instead of without.
    pub slips: bool,
    /// In best order: what taking things off and putting them back takes.
    pub best: Option<&'a Handling>,
}

/// One way, and the cases that take it.
pub(super) struct Track {
    pub walker: Walker,
    listen: u64,
    pub cases: Vec<usize>,
    pub mended: BTreeSet<String>,
    pub steps: usize,
    /// Of the checks themselves.
    pub minutes: f64,
    /// Of changes of set-up between them.
    pub set_up: f64,
    pub said: Said,
    pub last: Option<Arc<Sighting>>,
    pub slip: Option<Slip>,
}

impl Track {
    /// Gives its walker an event, and counts what it says to it.
    fn give(&mut self, event: Event) -> After {
        let after = give(&mut self.walker, event);
        self.said.add(&after.said);
        after
    }
}

/// Where a way has come to.
pub(super) enum Came {
    /// A conclusion.
    To(Reached),
    /// It has to be chosen what comes next.
    Between,
}

/// What becomes of ways: told of each where it has come to, it chooses what comes next.
pub(super) type Ways<'w> = &'w mut dyn FnMut(&Track, Came) -> Result<Option<Chosen>, ProveError>;

/// Leads a walker that has not begun through all cases, forking it where they would be answered differently.
pub(super) fn lead(
    of: &Led<'_>,
    mut walker: Walker,
    cases: Vec<usize>,
    by_value: &BTreeSet<String>,
    ways: Ways<'_>,
) -> Result<(), ProveError> {
    let after = give(&mut walker, Event::Begin);
    let first = Track {
        walker,
        listen: 0,
        cases,
        mended: BTreeSet::new(),
        steps: 0,
        minutes: 0.0,
        set_up: 0.0,
        said: after.said,
        last: None,
        slip: None,
    };
    let mut open = Vec::new();
    go_on(of, first, after, &mut open, ways)?;
    while let Some(track) = open.pop() {
        step(of, track, by_value, &mut open, ways)?;
    }
    Ok(())
}

/// What follows an answer: a conclusion, another part, or the next question.
fn go_on(
    of: &Led<'_>,
    mut track: Track,
    mut after: After,
    open: &mut Vec<Track>,
    ways: Ways<'_>,
) -> Result<(), ProveError> {
    while let Some(id) = after.chooses.take() {
        let Some(chosen) = ways(&track, Came::Between)? else { return Ok(()) };
        after = track.give(Event::Chosen(Answered::to(id, chosen)));
    }
    if let Some(reached) = after.reached {
        return ways(&track, Came::To(reached)).map(drop);
    }
    if let Some(why) = after.failed {
        let case = track.cases.first().map(|c| of.cases[*c].clone()).unwrap_or_default();
        let fault = case.iter().map(|f| of.faults[*f].id.clone()).collect::<Vec<_>>().join(" with ");
        let fault = if fault.is_empty() { "no fault".to_owned() } else { fault };
        return Err(ProveError::Walk { step: track.walker.place().0.to_owned(), fault, why });
    }
    match after.listen {
        Some(listen) => open.push(Track { listen, ..track }),
        None => return Err(stuck(&track.walker, "nobody listens any more")),
    }
    Ok(())
}

fn stuck(walker: &Walker, why: &str) -> ProveError {
    ProveError::Walk { step: walker.place().0.to_owned(), fault: "some fault".to_owned(), why: why.to_owned() }
}

/// Faults of a case that are still there.
fn effective(of: &Led<'_>, track: &Track, case: usize) -> Vec<usize> {
    of.cases[case].iter().copied().filter(|f| !of.faults[*f].is_mended(&track.mended)).collect()
}

/// Puts the question at hand to every case of the track and forks where they differ.
fn step(
    of: &Led<'_>,
    mut track: Track,
    by_value: &BTreeSet<String>,
    open: &mut Vec<Track>,
    ways: Ways<'_>,
) -> Result<(), ProveError> {
    for _ in 0..MOST_ACKNOWLEDGED {
        if track.walker.is_asking() {
            break;
        }
        match track.give(heard(track.listen, Answer::Done)).listen {
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
    let handling = |before: &Asked| of.best.map_or(0.0, |best| best.minutes(before, &asked));
    track.set_up +=
        track.last.as_ref().map_or(0.0, |before| set_up::minutes(&before.asked, &asked) + handling(&before.asked));
    // What comes next in best order depends on the value, not only on its band.
    let looked_at = || reading_name(step).is_some_and(|name| by_value.contains(&name));
    let exact = asked.unit().is_some() && (of.best.is_some() || looked_at());
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
    if let Some(slip) = track.slip.clone().filter(|slip| slip.place == asked.place()) {
        slip_again(of, &mut track, &slip, &asked, &mut groups, open, ways)?;
    }
    if of.slips && track.slip.is_none() {
        for (right, cases) in &groups {
            for wrong in slips(&asked, *right) {
                let mut other = fork(&mut track, cases.clone());
                let (place, given) = (asked.place(), asked.name(wrong));
                other.slip =
                    Some(Slip { place, right: asked.name(*right), given, seen: wrong, again: Again::NotAsked });
                answer(of, other, &asked, wrong, true, open, ways)?;
            }
        }
    }
    let Some((last, others)) = groups.split_last_mut() else { return Ok(()) };
    for (seen, cases) in others {
        let other = fork(&mut track, std::mem::take(cases));
        answer(of, other, &asked, *seen, false, open, ways)?;
    }
    track.cases = std::mem::take(&mut last.1);
    answer(of, track, &asked, last.0, false, open, ways)
}

/// The question of a slip is put again: the same wrong answer in a way of its own, the right one in this.
fn slip_again(
    of: &Led<'_>,
    track: &mut Track,
    slip: &Slip,
    asked: &Arc<Asked>,
    groups: &mut Vec<(Seen, Vec<usize>)>,
    open: &mut Vec<Track>,
    ways: Ways<'_>,
) -> Result<(), ProveError> {
    if slip.again != Again::Right {
        // After a repair something else may be right, and the slip is none any more.
        let is_slip = |seen: Seen| asked.name(seen) == slip.right;
        let same = groups.iter().filter(|(seen, _)| is_slip(*seen)).flat_map(|(_, cases)| cases.iter().copied());
        let mut other = fork(track, same.collect());
        if !other.cases.is_empty() {
            other.slip = Some(Slip { again: Again::Wrong, ..slip.clone() });
            answer(of, other, asked, slip.seen, true, open, ways)?;
        }
        if slip.again == Again::Wrong {
            groups.retain(|(seen, _)| !is_slip(*seen));
        }
    }
    if slip.again == Again::NotAsked {
        track.slip = Some(Slip { again: Again::Right, ..slip.clone() });
    }
    Ok(())
}

fn fork(track: &mut Track, cases: Vec<usize>) -> Track {
    Track {
        walker: track.walker.fork(),
        listen: track.listen,
        cases,
        mended: track.mended.clone(),
        steps: track.steps,
        minutes: track.minutes,
        set_up: track.set_up,
        said: track.said,
        last: track.last.clone(),
        slip: track.slip.clone(),
    }
}

#[allow(clippy::too_many_arguments)]
fn answer(
    of: &Led<'_>,
    mut track: Track,
    asked: &Arc<Asked>,
    seen: Seen,
    slipped: bool,
    open: &mut Vec<Track>,
    ways: Ways<'_>,
) -> Result<(), ProveError> {
    let spoken = asked.spoken(seen);
    track.last = Some(Arc::new(Sighting {
        asked: asked.clone(),
        spot: track.walker.spot(),
        seen,
        answer: asked.name(seen),
        slipped,
        before: track.last.take(),
    }));
    track.said.answered(asked);
    let mut after = track.give(heard(track.listen, spoken));
    // "That cannot be: is that right?" of a value that no healthy bike shows.
    for agreed in [Answer::Yes, Answer::Yes] {
        if track.walker.is_questioning()
            && let Some(listen) = after.listen
        {
            after = track.give(heard(listen, agreed));
        }
    }
    // No answer: the check is left out, with a reason where one is asked for.
    for _ in 0..3 {
        if seen == Seen::Nothing
            && let Some(listen) = after.listen
            && track.walker.place().0 == asked.id
            && after.reached.is_none()
        {
            after = track.give(heard(listen, Answer::Escape(Escape::CannotReach)));
        }
    }
    go_on(of, track, after, open, ways)
}

/// What people say wrongly: any other choice, or a number in the band beside the right one.
fn slips(asked: &Asked, right: Seen) -> Vec<Seen> {
    match right {
        Seen::Choice(at) => (0..asked.choices().len()).filter(|n| *n != at).map(Seen::Choice).collect(),
        Seen::Value(value) => {
            let (at, (_, resolution)) = (asked.band(value), asked.unit().unwrap_or((crate::units::Unit::One, 0.0)));
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
    chooses: Option<Request>,
    failed: Option<String>,
    said: Said,
}

/// Gives an event and does at once all that it leads to.
fn give(walker: &mut Walker, event: Event) -> After {
    let now = Now { mono_ms: 0, wall: String::new() };
    let mut after = After::default();
    let mut queue = VecDeque::from([event]);
    while let Some(event) = queue.pop_front() {
        for effect in walker.handle(event, &now) {
            after.said.count(&effect);
            match effect {
                Effect::Say { id, .. } => queue.push_back(Event::PromptEnded { id, whole: true }),
                Effect::Cut => queue.retain(|e| !matches!(e, Event::PromptEnded { .. })),
                Effect::Listen { id, .. } => after.listen = Some(id),
                Effect::Deaf => after.listen = None,
                Effect::Choose { id } => after.chooses = Some(id),
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
    if let Some(found) = walker.found() {
        let (condemns, means) = (found.condemns.clone(), found.means.clone());
        return Reached { healthy: false, procedure, conclusion, round, condemns, means };
    }
    let scope = walker.scope();
    let found = walker.world().procedures.get(&procedure).and_then(|p| p.conclusion(&conclusion));
    let condemns = found.map(|c| &c.condemns[..]).unwrap_or_default();
    // A template that does not come out has failed the walk before.
    let condemns = render_names(condemns, &scope).unwrap_or_default();
    let means = found.map(|c| render_names(&c.means, &scope).unwrap_or_default()).unwrap_or_default();
    // What only ends, and blames nothing, found nothing.
    let healthy = found.map_or(conclusion == FINISHED, |c| c.healthy);
    Reached { healthy, procedure, conclusion, round, condemns, means }
}
