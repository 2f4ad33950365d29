//! Measures the advice. Every fault that counts is walked with true answers, and again with one wrong answer (the question and the answer
//! are drawn from a seed). `cargo run --example advice -- BIKE [SEED [STRIDE [STEP]]]`. STRIDE takes every STRIDE-th fault. With STEP the
//! faults come in severities at most a factor of STEP apart, and the adviser does not know all of them.
//!
//! True answers: the fault's rank among the suspects at the end, and how often the answers are said to contradict each other, which would
//! be wrong. One wrong answer: how often a sound part is condemned if the user ignores the advice, and if the doubted check is repeated;
//! and how often the doubted check is the wrong one.

#[path = "../support/stage.rs"]
#[allow(dead_code)]
mod stage;

use probeside::circuit::faults::{Fault, Library};
use probeside::diagnose::{Adviser, Asked, CircuitObserver, Observer, Seen};
use probeside::expression::render_names;
use probeside::phrase::{Answer, Hypothesis, Verdict};
use probeside::walk::{Advice, Event};
use stage::{Stage, procedures, world};
use std::collections::BTreeSet;
use std::time::Instant;

/// More answers than this mean that the walk goes in a circle.
const MOST_ANSWERS: usize = 900;

/// Answers according to the bike's state, with a slip at the question with this number, if any.
struct Walked {
    stage: Stage,
    condemned: Vec<String>,
    mended: BTreeSet<String>,
    questions: usize,
    /// The step of the wrong answer.
    slipped: Option<String>,
    /// Checks that were called doubtful.
    doubted: Vec<String>,
}

/// An answer other than the right one.
fn wrong(asked: &Asked, right: Seen, dice: &mut fastrand::Rng) -> Option<Seen> {
    match right {
        Seen::Choice(at) if asked.choices().len() > 1 => {
            let other = dice.usize(0..asked.choices().len() - 1);
            Some(Seen::Choice(if other >= at { other + 1 } else { other }))
        }
        Seen::Value(value) => {
            let (bands, at) = (asked.question.limits(), asked.band(value));
            let resolution = asked.unit().map_or(0.01, |(_, resolution)| resolution);
            let up = bands.get(at + 1).map(|band| Seen::Value(band.from));
            up.or_else(|| at.checked_sub(1).map(|n| Seen::Value(bands[n].below - resolution)))
        }
        _ => None,
    }
}

fn walk(
    mut stage: Stage,
    fault: &[usize],
    faults: &[Fault],
    observer: &CircuitObserver<'_>,
    slip: Option<(usize, u64)>,
    listens: bool,
) -> Walked {
    let mut of = Walked {
        condemned: Vec::new(),
        mended: BTreeSet::new(),
        questions: 0,
        slipped: None,
        doubted: Vec::new(),
        stage: {
            stage.mark = 0;
            stage
        },
    };
    let mut dice = fastrand::Rng::with_seed(slip.map_or(0, |s| s.1));
    for _ in 0..MOST_ANSWERS {
        if of.stage.finished.is_some() {
            break;
        }
        let listen = of.stage.listen.take().expect("somebody listens");
        let id = listen.id;
        let offers = of.stage.said.last().is_some_and(|(_, text)| text.starts_with("That does not fit"));
        let yes = listen.grammar.phrases.iter().any(|p| p.answer == Answer::Yes);
        of.stage.listen = Some(listen);
        let answer = if offers {
            let doubtful = of.stage.walker.suspects().and_then(|w| w.doubtful.clone()).expect("an offer has a doubt");
            of.doubted.push(doubtful.round.map_or(doubtful.step.clone(), |r| format!("{} {r}", doubtful.step)));
            if listens { Answer::Yes } else { Answer::No }
        } else if yes {
            Answer::Yes
        } else if of.stage.walker.is_guarding() {
            Answer::PowerOff
        } else if !of.stage.walker.is_asking() {
            Answer::Done
        } else {
            let world = of.stage.world.clone();
            let asked = Asked::by(&of.stage.walker, &world).expect("it comes out").expect("a step asks");
            of.mended.extend(asked.question.mends.iter().cloned());
            let there: Vec<usize> = fault.iter().copied().filter(|f| !faults[*f].is_mended(&of.mended)).collect();
            let mut seen = observer.seen(&there, &asked).expect("the observer answers");
            if of.slipped.is_none()
                && asked.decides()
                && slip.is_some_and(|(at, _)| of.questions >= at)
                && let Some(other) = wrong(&asked, seen, &mut dice)
            {
                of.slipped = Some(asked.place());
                seen = other;
            }
            of.questions += 1;
            asked.spoken(seen)
        };
        let heard = Hypothesis { answer, words: String::new(), probability: 1.0 };
        of.stage.give(Event::Heard { listen: id, verdict: Verdict::Accept { heard }, begin: 0, end: 0, clip: None });
    }
    let walker = &of.stage.walker;
    if let Some((conclusion, _)) = of.stage.conclusion() {
        let found = walker.world().procedures.get(walker.procedure_id()).and_then(|p| p.conclusion(&conclusion));
        of.condemned = found.and_then(|c| render_names(&c.condemns, &walker.scope()).ok()).unwrap_or_default();
    }
    of
}

/// Whether a sound part is condemned.
fn is_wrong(of: &Walked, fault: &Fault) -> bool {
    !of.condemned.is_empty()
        && !of.condemned.iter().any(|part| fault.parts.contains(part))
        && !fault.is_mended(&of.mended)
}

fn main() {
    let mut args = std::env::args().skip(1);
    let bike = args.next().unwrap_or_else(|| "borage-twin".to_owned());
    let seed: u64 = args.next().and_then(|s| s.parse().ok()).unwrap_or(1);
    let stride: usize = args.next().and_then(|s| s.parse().ok()).unwrap_or(1);
    let step: Option<f64> = args.next().and_then(|s| s.parse().ok()).filter(|step| *step > 1.0);
    println!("{bike}, seed {seed}, every {stride}. fault, degrees {step:?} times apart");
    let world = world("no-spark", &bike);
    let library = Library::load(&procedures().join("faults/ignition.yaml")).expect("the library loads");
    let walked = step.map_or_else(|| library.clone(), |step| library.clone().in_between(step));
    let faults = walked.for_bike_in(&world.bike, &world.vocabulary).expect("it fits the bike");
    let observer = CircuitObserver::new(&world.bike, &walked, &faults);
    let mut adviser = Adviser::start(&world, library.clone()).expect("an adviser");
    let counting: Vec<usize> = (0..faults.len()).filter(|f| faults[*f].counts).step_by(stride).collect();

    let began = Instant::now();
    let (mut first, mut three, mut false_alarms, mut weight, mut answers, mut all) = (0.0, 0.0, 0, 0.0, 0, 0.0);
    let mut lengths = Vec::new();
    for (n, f) in counting.iter().enumerate() {
        let mut of = walk(Stage::advised_by(world.clone(), adviser), &[*f], &faults, &observer, None, false);
        let fault = &faults[*f];
        let weighed = of.stage.walker.suspects().cloned().unwrap_or_default();
        let at = weighed.suspects.iter().position(|s| s.parts.iter().any(|p| fault.parts.contains(p)));
        let likely = fault.likelihood;
        first += if at == Some(0) { likely } else { 0.0 };
        three += if at.is_some_and(|at| at < 3) { likely } else { 0.0 };
        weight += likely
            * weighed
                .suspects
                .iter()
                .filter(|s| s.parts.iter().any(|p| fault.parts.contains(p)))
                .map(|s| s.weight)
                .sum::<f64>();
        all += likely;
        if !of.doubted.is_empty() {
            false_alarms += 1;
            println!("does not fit though true: {} at {:?}", fault.id, of.doubted);
        }
        if at.is_none_or(|at| at > 2) {
            println!(
                "not among the first three: {}, first {:?}",
                fault.id,
                weighed.suspects.first().map(|s| (&s.fault, s.weight))
            );
        }
        answers += of.questions;
        lengths.push(of.questions);
        adviser = of.stage.adviser.take().expect("it comes back");
        if n % 20 == 0 {
            eprintln!("{n} of {}, {:.0} s", counting.len(), began.elapsed().as_secs_f64());
        }
    }
    println!(
        "true answers: {} walks, {answers} questions, {:.1} s. At the end a part at fault stands first {:.1} %, among the first three {:.1} %, \
         mean weight {:.3} (by likelihood). Said not to fit: {false_alarms}",
        counting.len(),
        began.elapsed().as_secs_f64(),
        100.0 * first / all,
        100.0 * three / all,
        weight / all
    );

    let mut dice = fastrand::Rng::with_seed(seed);
    let (mut walks, mut deaf, mut listening, mut noticed, mut right) = (0, 0, 0, 0, 0);
    for (n, f) in counting.iter().enumerate() {
        let slip = (dice.usize(0..lengths[n]), dice.u64(..));
        let fault = &faults[*f];
        let mut of = walk(Stage::advised_by(world.clone(), adviser), &[*f], &faults, &observer, Some(slip), false);
        adviser = of.stage.adviser.take().expect("it comes back");
        let Some(place) = of.slipped.clone() else { continue };
        walks += 1;
        deaf += usize::from(is_wrong(&of, fault));
        noticed += usize::from(!of.doubted.is_empty());
        right += usize::from(of.doubted.contains(&place));
        let mut again = walk(Stage::advised_by(world.clone(), adviser), &[*f], &faults, &observer, Some(slip), true);
        adviser = again.stage.adviser.take().expect("it comes back");
        listening += usize::from(is_wrong(&again, fault));
        if is_wrong(&again, fault) {
            println!("misled: {} by {place}: {:?}, doubted {:?}", fault.id, again.stage.conclusion(), again.doubted);
        }
    }
    println!(
        "one wrong answer: {walks} walks. Said not to fit {noticed}, the wrong answer among the doubted {right}. A sound part condemned: \
         {deaf} when the advice is not listened to, {listening} when the doubted checks are made again"
    );
    let _: &dyn Advice = &adviser;
}
