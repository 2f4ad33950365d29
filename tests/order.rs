//! The best order of checks: a choice worked out by hand, complete walks under every fault of the library with their cautions, the figures
//! compared with the written order, and as the user types it.

mod support;

use probeside::advice::Next;
use probeside::bike::BikeState;
use probeside::circuit::Expected;
use probeside::circuit::faults::{Fault, Library};
use probeside::diagnose::{
    Adviser, Asked, CircuitObserver, Given, Observer, Order, Proof, ProveError, Seen, Verdict as Judged, Wanted,
    intermittent, prove,
};
use probeside::expression::render;
use probeside::phrase::{Answer, Hypothesis, Verdict};
use probeside::session::{JOURNAL_FILE, Now, Record};
use probeside::walk::{Answered, Effect, Event, SayKind, Walker, World};
use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use support::stage::{procedures, world};
use support::typed::typed;

/// More events than this mean that the walk goes in a circle.
const MOST_EVENTS: usize = 5_000;
/// Mean minutes of the written order over the library, weighted by likelihood, with changes of side and of set-up. Frozen on 2026-11-27 with
/// no-spark before its checks could come in another order (version 3). The best order may take half of them at most: the aims are 36 and 35
/// minutes, and what was measured is in tests/measure/RESULTS.md.
const WRITTEN: [(&str, f64); 2] = [("fennel-single", 67.11), ("borage-twin", 92.12)];
/// Largest share of the frozen minutes.
const AT_MOST: f64 = 0.58;

fn own(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/order").join(name)
}

fn three_looks() -> Arc<World> {
    looks("three-looks.yaml")
}

fn looks(procedure: &str) -> Arc<World> {
    let bike = procedures().join("bikes/fennel-single.yaml");
    let words = procedures().join("vocabulary/en.yaml");
    match probeside::run::load::world(&own(procedure), &bike, &words) {
        Ok(loaded) => Arc::new(loaded.world),
        Err(all) => panic!("{}", all.iter().map(|d| format!("{d}\n")).collect::<String>()),
    }
}

/// A walk in the best order, with every answer as the circuit gives it under some faults.
#[derive(Default)]
struct Walked {
    events: Vec<Event>,
    effects: Vec<Effect>,
    /// The questions.
    asked: Vec<String>,
    records: Vec<Record>,
    conclusion: String,
}

impl Walked {
    /// What was chosen: where a check begins, or how the walk ends; the bits and the minutes.
    fn chosen(&self) -> Vec<(String, f64, f64)> {
        let of = |record: &Record| match record {
            Record::Chosen { chosen, .. } => {
                let what = match &chosen.next {
                    Next::Written => "written".to_owned(),
                    Next::Check(spot) => spot.step.clone(),
                    Next::Found(found) => format!("found {}", found.conclusion),
                    Next::Sound => "sound".to_owned(),
                };
                Some((what, chosen.bits, chosen.minutes))
            }
            _ => None,
        };
        self.records.iter().filter_map(of).collect()
    }
}

/// Walks, and checks at every question that its cautions were spoken since the previous one.
fn walk(world: &Arc<World>, order: &Order<'_>, observer: &dyn Observer, faults: &[Fault], under: &[usize]) -> Walked {
    let now = Now { mono_ms: 0, wall: String::new() };
    let mut walker = Walker::new(world.clone()).in_best_order();
    let mut walked = Walked::default();
    let mut answers: Vec<Given> = Vec::new();
    let mut mended = BTreeSet::new();
    let mut cautioned: Vec<String> = Vec::new();
    let mut listen = None;
    let mut queue = VecDeque::from([Event::Begin]);
    for _ in 0..MOST_EVENTS {
        let event = match (queue.pop_front(), listen.take()) {
            (Some(event), kept) => {
                listen = kept;
                event
            }
            (None, Some(id)) => {
                let answer = if let Some(asked) = Asked::by(&walker, world).expect("a question") {
                    for caution in
                        asked.step().cautions.iter().filter_map(|id| world.procedures[&asked.procedure].caution(id))
                    {
                        let scope = walker.scope();
                        let forms = [&caution.say, &caution.brief].map(|text| render(text, &scope).expect("a caution"));
                        let said = cautioned.iter().any(|said| forms.iter().any(|form| said.contains(form.as_str())));
                        assert!(said, "{}: the caution {} was not spoken before it", asked.place(), *caution.id);
                    }
                    cautioned.clear();
                    mended.extend(asked.question.mends.iter().cloned());
                    let left: Vec<usize> = under.iter().copied().filter(|f| !faults[*f].is_mended(&mended)).collect();
                    let seen = observer.seen(&left, &asked).expect("the circuit answers");
                    walked.asked.push(asked.place());
                    let answer = asked.spoken(seen);
                    answers.push(Given::new(Arc::new(asked), seen));
                    answer
                } else if walker.is_questioning() {
                    Answer::Yes
                } else if walker.is_guarding() {
                    Answer::PowerOff
                } else {
                    Answer::Done
                };
                let heard = Hypothesis { answer, words: String::new(), probability: 1.0 };
                Event::Heard { listen: id, verdict: Verdict::Accept { heard }, begin: 0, end: 0, clip: None }
            }
            (None, None) => panic!("nobody listens at {:?}", walker.place()),
        };
        walked.events.push(event.clone());
        for effect in walker.handle(event, &now) {
            match &effect {
                Effect::Say { id, text, kind } => {
                    if *kind == SayKind::Caution {
                        cautioned.push(text.clone());
                    }
                    queue.push_back(Event::PromptEnded { id: *id, whole: true });
                }
                Effect::Listen { id, .. } => listen = Some(*id),
                Effect::Deaf => listen = None,
                Effect::Cut => queue.retain(|e| !matches!(e, Event::PromptEnded { .. })),
                Effect::Record { id, record, sync } => {
                    if let Record::Concluded { conclusion, last: true, .. } = record {
                        walked.conclusion.clone_from(conclusion);
                    }
                    walked.records.push(record.clone());
                    if *sync {
                        queue.push_back(Event::Recorded { id: *id });
                    }
                }
                Effect::Choose { id } => {
                    let crossing = walker.crossing().expect("something to choose");
                    let chosen = order.choose(&crossing, &answers).expect("a choice");
                    queue.push_front(Event::Chosen(Answered::to(*id, chosen)));
                }
                Effect::Finish { code, why } => assert_eq!(*code, 0, "{why}"),
                _ => {}
            }
            walked.effects.push(effect);
        }
        if walker.is_over() {
            return walked;
        }
    }
    panic!("the walk goes in a circle at {:?}", walker.place());
}

/// By hand: three faults of probability 0.3 each, 0.05 for something outside the library and 0.05 for nothing at all, which are one cause. With
/// a slip in 50, a look that shows one fault tells 0.7947 bits (entropy of the causes before, less that after, by each answer). The cam and the
/// leads take a minute and the fuse ten. The leads are needed before the bike can be called sound, so that half of their minute would be spent
/// anyway with a probability of 0.1: they come first. They are firm: the cam tells 0.8877 bits. It turns: the fuse, 0.7025.
#[test]
fn the_choice_is_the_one_worked_out_by_hand() {
    let world = three_looks();
    let library = Library::load(&own("three.yaml")).expect("the library loads");
    let faults = library.for_bike(&world.bike).expect("it fits");
    let observer = CircuitObserver::new(&world.bike, &library, &faults);
    let order = Order::new(&world, &faults, &observer).expect("an order");
    let healthy = walk(&world, &order, &observer, &faults, &[]);
    let close = |a: f64, b: f64| assert!((a - b).abs() < 5e-4, "{a} and not {b}");
    let chosen = healthy.chosen();
    assert_eq!(
        chosen.iter().map(|c| c.0.as_str()).collect::<Vec<_>>(),
        ["lead-look", "cam-look", "fuse-look", "sound"],
        "{chosen:?}"
    );
    for (number, bits, minutes) in [(0, 0.7947, 1.0), (1, 0.8877, 1.0), (2, 0.7025, 10.0)] {
        close(chosen[number].1, bits);
        close(chosen[number].2, minutes);
    }
    assert_eq!(healthy.asked, ["begin", "lead-look", "cam-look", "fuse-look"]);
    assert_eq!(healthy.conclusion, "nothing-found");
    // One look that shows the cam leaves it at 0.969, less than the bar, so the others are looked at too. Without that one look nothing speaks
    // for the cam, so it is looked at once more.
    for (number, conclusion, asked) in [(0, "fuse-blown", 5), (1, "cam-sheared", 5), (2, "lead-loose", 5)] {
        let walked = walk(&world, &order, &observer, &faults, &[number]);
        assert_eq!((walked.conclusion.as_str(), walked.asked.len()), (conclusion, asked), "{:?}", walked.chosen());
        let again = |effect: &&Effect| matches!(effect, Effect::Say { text, .. } if text == "Once more.");
        assert_eq!(walked.effects.iter().filter(again).count(), 1, "{conclusion}: it tells that the check comes again");
    }
    let ruled_out = healthy.records.iter().find_map(|r| match r {
        Record::Concluded { rules_out, .. } => Some(rules_out.clone()),
        _ => None,
    });
    assert_eq!(ruled_out, Some(vec!["The fuse.".to_owned()]));
}

/// A check that stands beside the written tree tells as much as one in it, and comes as early; the written order never asks it.
#[test]
fn a_check_beside_the_written_tree_comes_in_best_order_only() {
    let world = looks("one-beside.yaml");
    let library = Library::load(&own("three.yaml")).expect("the library loads");
    let faults = library.for_bike(&world.bike).expect("it fits");
    let observer = CircuitObserver::new(&world.bike, &library, &faults);
    let order = Order::new(&world, &faults, &observer).expect("an order");
    let healthy = walk(&world, &order, &observer, &faults, &[]);
    assert_eq!(healthy.asked, ["begin", "lead-look", "cam-look", "fuse-look"], "{:?}", healthy.chosen());
    assert_eq!(healthy.conclusion, "nothing-found");
    let mut written = support::stage::Stage::new(world);
    for answer in ["ready", "whole", "turns"] {
        written.answer(answer);
    }
    assert_eq!(written.walker.place().0, "last");
}

/// Under every fault, or every so many: the cautions of every step, and a replay without a circuit.
fn every_fault_is_walked(bike: &str, every: usize) {
    let world = world("no-spark", bike);
    let library = Library::load(&procedures().join("faults/ignition.yaml")).expect("the library loads");
    let faults = library.for_bike(&world.bike).expect("the library fits the bike");
    let observer = CircuitObserver::new(&world.bike, &library, &faults);
    let order = Order::new(&world, &faults, &observer).expect("an order");
    let mut orders: BTreeMap<Vec<String>, usize> = BTreeMap::new();
    for fault in (0..faults.len()).step_by(every).map(Some).chain([None]) {
        let under: Vec<usize> = fault.into_iter().collect();
        let walked = walk(&world, &order, &observer, &faults, &under);
        let id = fault.map_or("no fault", |f| faults[f].id.as_str());
        assert!(!walked.conclusion.is_empty(), "{id}: no conclusion");
        // Somebody who looks at nothing but good parts is not told that one is bad.
        if fault.is_none() {
            assert_eq!(walked.conclusion, "spark-is-good", "{:?}", walked.chosen());
        }
        *orders.entry(walked.asked.clone()).or_default() += 1;
        if fault.is_none_or(|f| f % 7 == 0) {
            let now = Now { mono_ms: 0, wall: String::new() };
            let mut again = Walker::new(world.clone()).in_best_order();
            let effects: Vec<Effect> = walked.events.iter().flat_map(|e| again.handle(e.clone(), &now)).collect();
            assert!(effects == walked.effects, "{id}: a replay of its events is another walk");
        }
    }
    assert!(orders.len() > 15, "{} different walks", orders.len());
}

#[test]
fn every_walk_of_the_single_keeps_cautions_and_replays() {
    every_fault_is_walked("fennel-single", 1);
}

#[test]
fn every_walk_of_the_twin_keeps_cautions_and_replays() {
    every_fault_is_walked("borage-twin", 5);
}

/// Somebody who overlooks the spark once, at the second kick with the good plug on the right.
struct Overlooks<'a> {
    circuit: &'a CircuitObserver<'a>,
    kicks: AtomicUsize,
}

impl Observer for Overlooks<'_> {
    fn seen(&self, faults: &[usize], asked: &Asked) -> Result<Seen, ProveError> {
        let is_second = || self.kicks.fetch_add(1, Ordering::Relaxed) == 1;
        if asked.place() == "good-plug right" && is_second() {
            let none = asked.choices().iter().position(|choice| *choice.id == "none");
            return Ok(Seen::Choice(none.expect("no spark is an answer")));
        }
        self.circuit.seen(faults, asked)
    }

    fn expected(&self, faults: &[usize], asked: &Asked, samples: u64) -> Result<Expected, ProveError> {
        self.circuit.expected(faults, asked, samples)
    }

    fn not_told(&self) -> BTreeMap<String, String> {
        self.circuit.not_told()
    }
}

/// A wide gap was mended, every other part is sound, and the last kick before the end is misread: the spark is looked for again. This once fell
/// into the written order, which condemned the cap.
#[test]
fn one_kick_misread_at_the_end_condemns_nothing() {
    let world = world("no-spark", "borage-twin");
    let library = Library::load(&procedures().join("faults/ignition.yaml")).expect("the library loads");
    let faults = library.for_bike(&world.bike).expect("the library fits the bike");
    let circuit = CircuitObserver::new(&world.bike, &library, &faults);
    let order = Order::new(&world, &faults, &circuit).expect("an order");
    let wide = faults.iter().position(|fault| fault.id == "plug-gap-wide:plug-right@1.5").expect("a wide gap");
    let overlooks = Overlooks { circuit: &circuit, kicks: AtomicUsize::new(0) };
    let walked = walk(&world, &order, &overlooks, &faults, &[wide]);
    assert_eq!(overlooks.kicks.into_inner(), 3, "the misread kick is made again: {:?}", walked.asked);
    assert_eq!(walked.conclusion, "spark-is-good", "{:?}", walked.chosen());
}

fn proved(bike: &str, best: bool) -> Proof {
    let world = world("no-spark", bike);
    let library = Library::load(&procedures().join("faults/ignition.yaml")).expect("the library loads");
    let faults = library.for_bike(&world.bike).expect("the library fits the bike");
    let observer = CircuitObserver::new(&world.bike, &library, &faults);
    match prove(&world, &faults, &observer, Wanted { best, ..Wanted::default() }, &|_, _, _| ()) {
        Ok(proved) => proved.proof,
        Err(why) => panic!("{why}"),
    }
}

#[test]
fn the_best_order_takes_little_more_than_half_of_the_minutes_and_finds_as_much() {
    for (bike, in_all) in WRITTEN {
        let best = proved(bike, true);
        let b = &best.by_likelihood;
        let share = b.mean_minutes_with_set_up / in_all;
        println!(
            "{bike}: best {:.2} with set-up, {:.1} % of what was frozen",
            b.mean_minutes_with_set_up,
            100.0 * share
        );
        assert!(share <= AT_MOST, "{bike}: {}", b.mean_minutes_with_set_up);
        assert!(best.holds(), "{bike}: a sound part is condemned, or a healthy bike is not called so");
        assert!(b.right_cause_rate >= 0.97, "{bike}: {}", b.right_cause_rate);
        assert_eq!(best.judged(Judged::Missed).count(), 0, "{bike}");
    }
}

/// As the user types it: an order other than the written one, broken off and resumed.
#[test]
fn a_typed_walk_in_best_order_is_taken_up_again() {
    let folder = tempfile::tempdir().expect("a folder");
    let into = folder.path().join("session");
    let path = into.to_str().expect("a plain path");
    let (procedure, faults) = (own("three-looks.yaml"), own("three.yaml"));
    let (procedure, faults) = (procedure.to_str().expect("a path"), faults.to_str().expect("a path"));
    let begin = ["walk", procedure, "--bike", "fennel-single", "--faults", faults, "--order", "best", "--into", path];
    let (code, said, complaint) = typed(&begin, "ready\nfirm\n");
    assert_eq!(code, Some(1), "{said}{complaint}");
    assert!(said.contains("Does the cam turn") && said.contains("Are the leads firm or loose?"), "{said}");
    // The power fails after the answer, before the following choice.
    let journal = std::fs::read_to_string(into.join(JOURNAL_FILE)).expect("a journal");
    let chosen = journal.rfind("\"event\":\"chosen\"").expect("the choice is an event");
    let end = journal[..chosen].rfind('\n').expect("it is not the first line") + 1;
    std::fs::write(into.join(JOURNAL_FILE), &journal[..end]).expect("the journal is cut");
    let _ = std::fs::remove_file(into.join(probeside::session::DIGEST_FILE));
    let (code, said, complaint) = typed(&["walk", "--resume", path], "ready\nturns\nwhole\n");
    assert_eq!(code, Some(0), "{said}{complaint}");
    let at = |words: &str| said.find(words).unwrap_or_else(|| panic!("{words:?} is not in:\n{said}"));
    assert!(at("Does the cam turn") < at("Is the fuse whole or blown?"));
    let verify = Command::new(env!("CARGO_BIN_EXE_probeside")).args(["verify", path]).output().expect("it runs");
    assert_eq!(verify.status.code(), Some(0), "{}", String::from_utf8_lossy(&verify.stdout));
    let review =
        Command::new(env!("CARGO_BIN_EXE_probeside")).args(["review", path, "--json"]).output().expect("it runs");
    let json: serde_json::Value = serde_json::from_slice(&review.stdout).expect("JSON");
    let events = json["events"].as_array().expect("events");
    let told = events.iter().filter(|e| e["event"] == "chosen").filter_map(|e| e["what"].as_str());
    let told: Vec<&str> = told.collect();
    assert_eq!(told.len(), 4, "{told:?}");
    assert!(told[0].contains("the check that tells most: 0.79 bits in 1.0 minutes"), "{told:?}");
    assert!(told[3].contains("nothing is left that could be wrong"), "{told:?}");
}

#[test]
fn the_best_order_wants_checks_and_faults() {
    let run = |args: &[&str]| {
        let folder = tempfile::tempdir().expect("a folder");
        let into = folder.path().join("session");
        let (code, _, complaint) = typed(&[args, &["--into", into.to_str().expect("a path")]].concat(), "");
        (code, complaint)
    };
    let (code, complaint) = run(&["walk", "prove-lamp", "--bike", "fennel-single", "--order", "best"]);
    assert_eq!(code, Some(1), "{complaint}");
    assert!(complaint.contains("has no `checks`"), "{complaint}");
    let (code, complaint) =
        run(&["walk", "no-spark", "--bike", "fennel-single", "--faults", "none", "--order", "best"]);
    assert_eq!(code, Some(2), "{complaint}");
    assert!(complaint.contains("a fault library"), "{complaint}");
}

/// "Go back" withdraws the choice with the answer, a skipped check is not offered again, and a replay gives the same.
#[test]
fn going_back_and_leaving_out_go_with_the_checks() {
    let world = three_looks();
    let library = Library::load(&own("three.yaml")).expect("the library loads");
    let adviser = Adviser::start(&world, library).and_then(|adviser| adviser.in_best_order(&world));
    let mut stage = support::stage::Stage::in_best_order(world, adviser.expect("an adviser"));
    stage.answer("ready");
    assert_eq!(stage.walker.place().0, "lead-look");
    stage.answer("go back");
    assert_eq!(stage.walker.place().0, "begin");
    stage.answer("ready");
    assert_eq!(stage.walker.place().0, "lead-look");
    stage.answer("firm");
    assert_eq!(stage.walker.place().0, "cam-look");
    stage.answer("skip this");
    stage.answer("cannot reach it");
    stage.restart(1_000);
    assert_eq!(stage.walker.place().0, "fuse-look");
    stage.answer("whole");
    // The cam was left out and may be at fault: no check tells any more.
    let found = stage.records.iter().find_map(|record| match record {
        Record::Concluded { not_tested, conclusion, .. } => Some((not_tested.len(), conclusion.clone())),
        _ => None,
    });
    assert_eq!(found, Some((1, "cam-sheared".to_owned())));
}

/// Without `--order best` nothing is asked and nothing is chosen: the checks come in the written order.
#[test]
fn the_written_order_asks_for_nothing() {
    let world = three_looks();
    let mut stage = support::stage::Stage::new(world);
    for answer in ["ready", "whole", "turns", "firm"] {
        stage.answer(answer);
    }
    assert_eq!(stage.walker.place().0, "last");
    assert!(!stage.records.iter().any(|r| matches!(r, Record::Chosen { .. })));
    assert_eq!(stage.walker.bike_state(), &BikeState::default());
}

/// What comes and goes: at every check a coin shows the fault or a sound bike. A sample; `prove --intermittent` walks more.
#[test]
fn nothing_sound_is_condemned_for_what_comes_and_goes() {
    let world = world("no-spark", "fennel-single");
    let library = Library::load(&procedures().join("faults/ignition.yaml")).expect("the library loads");
    let faults = library.for_bike(&world.bike).expect("the library fits the bike");
    let told = intermittent(&world, &library, &faults, true, 12, &|_, _, _| ()).expect("it walks");
    let untold = told.untold.as_ref().expect("both are walked");
    assert_eq!((told.walks, told.false_removals, told.missed), (12, 0, 0), "{told:?}");
    assert!(told.found >= 10, "{told:?}");
    assert_eq!((untold.walks, untold.false_removals), (12, 0), "{untold:?}");
}
