//! "I have done that already", by hand. The expectations are the program's own contract: what is only told is evidence, changes nothing about
//! the bike, confirms nothing, and never stands for what has to be done now.

mod support;

use probeside::advice::Next;
use probeside::circuit::faults::Library;
use probeside::diagnose::{Adviser, Asked, CircuitObserver, Given, Order, Seen};
use probeside::session::Record;
use probeside::walk::{Event, PhaseKind, TimerKind, Walker, World};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use support::mechanic::Mechanic;
use support::stage::{Stage, procedures, world};
use support::typed::typed;

const ALREADY: &str = "I have done that already";
const NOT_NOW: &str = "That has to be done now.";

fn own(folder: &str, name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests").join(folder).join(name)
}

fn of(file: &Path, bike: &str) -> Arc<World> {
    let bike = procedures().join("bikes").join(format!("{bike}.yaml"));
    match probeside::run::load::world(file, &bike, &procedures().join("vocabulary/en.yaml")) {
        Ok(loaded) => Arc::new(loaded.world),
        Err(all) => panic!("{}", all.iter().map(|d| format!("{d}\n")).collect::<String>()),
    }
}

fn feed_round() -> Stage {
    Stage::new(of(&own("procedures", "feed-round.yaml"), "borage-twin"))
}

/// The story of two dead sides on the twin, up to where `there` holds.
fn story(mut there: impl FnMut(&Walker) -> bool) -> Stage {
    let mut stage = Stage::new(world("no-spark", "borage-twin"));
    let mechanic = Mechanic::of_story("two-dead-sides");
    for _ in 0..400 {
        if there(&stage.walker) {
            return stage;
        }
        let (step, round) = stage.walker.place();
        let grammar = &stage.listen.as_ref().expect("somebody listens").grammar;
        let words = mechanic.answer(step, round, stage.walker.is_asking(), grammar);
        stage.answer(&words.unwrap_or_else(|| panic!("no answer at {:?}", stage.walker.place())));
    }
    panic!("never there");
}

fn asks(step: &'static str) -> impl FnMut(&Walker) -> bool {
    move |walker| walker.place().0 == step && walker.is_asking()
}

/// The records of answers that are only told: their steps.
fn told(stage: &Stage) -> Vec<String> {
    let step = |record: &Record| match record {
        Record::Answered { step, told: true, .. } | Record::Read { step, told: true, .. } => Some(step.clone()),
        _ => None,
    };
    stage.records.iter().filter_map(step).collect()
}

fn acknowledged(stage: &Stage) -> Vec<String> {
    let caution = |record: &Record| match record {
        Record::Acknowledged { caution, .. } => Some(caution.clone()),
        _ => None,
    };
    stage.records.iter().filter_map(caution).collect()
}

fn says(stage: &Stage, words: &str) {
    let said = stage.said_since();
    assert!(said.contains(words), "{words:?} in:\n{said}");
}

#[test]
fn an_action_a_question_about_petrol_and_a_lamp_to_be_proved_have_to_be_done_now() {
    for step in ["complaint", "fuel-off", "vapour", "touch"] {
        let mut stage = story(asks(step));
        stage.answer(ALREADY);
        says(&stage, NOT_NOW);
        assert!(stage.walker.is_asking() && told(&stage).is_empty(), "{step}");
    }
    // The caution before an action stays, and only "ready" acknowledges it.
    let mut stage = story(|walker| walker.place().0 == "fuel-off" && walker.phase() == PhaseKind::Caution);
    stage.answer(ALREADY);
    says(&stage, NOT_NOW);
    assert_eq!((stage.walker.phase(), acknowledged(&stage)), (PhaseKind::Caution, vec![]));
    stage.answer("ready");
    assert_eq!(acknowledged(&stage), ["fuel"]);
}

#[test]
fn what_the_prompt_asked_for_is_taken_back_first_and_until_then_the_coils_count_as_hot() {
    let mut stage = story(asks("drop-feed"));
    assert!(stage.walker.is_power_on() && stage.timers.contains_key(&TimerKind::CoilHeat));
    stage.answer(ALREADY);
    says(&stage, "Leave it as it was: Key off. Unplug the left points connector. Lay the instrument down.");
    assert_eq!(stage.walker.phase(), PhaseKind::Undoing);
    assert!(stage.walker.is_power_on() && stage.timers.contains_key(&TimerKind::CoilHeat), "nobody has confirmed it");
    // The guard speaks meanwhile, and the walk waits: the question is open again afterwards.
    let mut hot = Stage::before_events(stage.world.clone(), &stage.events);
    hot.timers.clone_from(&stage.timers);
    hot.silence(70_000);
    assert!(hot.said_since().contains("Say power is off"), "{}", hot.said_since());
    stage.answer("ready");
    says(&stage, "What did it show?");
    assert!(!stage.walker.is_power_on() && !stage.timers.contains_key(&TimerKind::CoilHeat));
    let state = stage.walker.bike_state().clone();
    assert_eq!(state.switches["key"], "off");
    assert!(state.unplugged.contains("left-points") && state.instrument.is_none(), "{state:?}");
    stage.answer("point two");
    says(&stage, "As told.");
    says(&stage, "point two");
    assert_eq!(told(&stage), ["drop-feed"]);
    // The next check names all that it needs itself.
    says(&stage, "Plug the left points connector back in.");
    says(&stage, "Key on.");
    let place = (stage.walker.place().0.to_owned(), stage.walker.bike_state().clone());
    let mut now = story(asks("drop-feed"));
    now.answer("point two");
    assert_eq!(place, (now.walker.place().0.to_owned(), now.walker.bike_state().clone()), "as if it were made now");
}

#[test]
fn a_change_that_was_cut_off_is_not_confirmed_by_what_is_told() {
    // The prompt of this step turns the key off after a spark test; its words are cut.
    let mut stage = story(asks("good-plug"));
    assert!(stage.walker.is_power_on());
    stage.answer("nothing");
    while stage.walker.place().0 == "good-plug" {
        stage.answer("ready");
    }
    assert!(stage.walker.is_power_on(), "asked for, not confirmed: {:?}", stage.walker.bike_state());
    assert_eq!(stage.walker.bike_state().switches["key"], "off");
    stage.answer(ALREADY);
    says(&stage, NOT_NOW);
    assert!(stage.walker.is_power_on() && stage.timers.contains_key(&TimerKind::CoilHeat));
}

#[test]
fn a_caution_is_not_acknowledged_by_what_is_told_and_comes_before_the_next_step_that_relies_on_it() {
    let mut stage = feed_round();
    stage.answer("only the key switch");
    assert_eq!(stage.walker.phase(), PhaseKind::Caution);
    stage.answer(ALREADY);
    says(&stage, "What did it show? Across the key switch, volts?");
    assert_eq!((stage.walker.phase(), acknowledged(&stage)), (PhaseKind::Telling, vec![]));
    stage.answer("point seven volts");
    assert_eq!((told(&stage), acknowledged(&stage)), (vec!["drop-part".to_owned()], vec![]));
    assert!(stage.walker.bike_state().switches.get("key").is_none_or(|at| at != "on"), "nothing was changed");
    // The next step stands in the state of the one before it, so its caution comes first.
    assert_eq!((stage.walker.place().0, stage.walker.phase()), ("further", PhaseKind::Caution));
    says(&stage, "Danger. A probe that bridges a live wire");
    stage.answer("ready");
    assert_eq!(acknowledged(&stage), ["short-circuit"]);
    says(&stage, "Key on.");
    assert_eq!(stage.walker.bike_state().switches["key"], "on");
    stage.restart(5_000);
}

#[test]
fn a_restated_step_may_be_told_of_too() {
    let mut stage = feed_round();
    for words in ["measure the battery", "ready", "hold on", "carry on"] {
        stage.answer(words);
    }
    while stage.walker.phase() != PhaseKind::Restate && !stage.walker.is_asking() {
        stage.answer("ready");
    }
    stage.answer(ALREADY);
    says(&stage, "Leave it as it was: Lay the instrument down.");
    stage.answer("ready");
    stage.answer("twelve point six");
    assert_eq!(told(&stage), ["battery-rest"]);
    stage.answer("last reading");
    says(&stage, "was twelve point six volts, as told.");
}

#[test]
fn a_told_reading_is_corrected_and_gone_back_over_like_another() {
    let mut stage = feed_round();
    for words in ["measure the battery", ALREADY, "twelve point six"] {
        stage.answer(words);
    }
    says(&stage, "As told.");
    says(&stage, "Twelve point six volts: one two point six.");
    while !stage.walker.is_asking() {
        stage.answer("ready");
    }
    assert_eq!(stage.walker.place().0, "battery-more");
    stage.answer("correct that");
    stage.answer("twelve point five");
    says(&stage, "As told.");
    let values: Vec<(f64, bool)> = stage
        .records
        .iter()
        .filter_map(|record| match record {
            Record::Read { reading, told, .. } => Some((reading.value, *told)),
            _ => None,
        })
        .collect();
    assert_eq!(values, [(12.6, true), (12.5, true)]);
    // Gone back over, it may be told again, or made: then it is no longer told.
    stage.answer("go back");
    assert_eq!(stage.walker.place().0, "battery-rest");
    while !stage.walker.is_asking() {
        stage.answer("ready");
    }
    stage.answer("twelve point four");
    assert_eq!(told(&stage).len(), 2);
    stage.answer("finish here");
    let not_tested = stage.records.iter().find_map(|record| match record {
        Record::Concluded { not_tested, .. } => Some(not_tested.clone()),
        _ => None,
    });
    assert!(!not_tested.expect("a conclusion").iter().any(|one| one.contains("as told")), "it was made after all");
}

#[test]
fn what_it_showed_is_asked_back_like_another_answer_and_stays_told() {
    let mut stage = feed_round();
    for words in ["measure the battery", ALREADY, "ninety"] {
        stage.answer(words);
    }
    says(&stage, "hard to believe");
    stage.answer("no");
    says(&stage, "What did it show?");
    assert_eq!(stage.walker.phase(), PhaseKind::Telling);
    for words in ["sixteen point five", "yes"] {
        stage.answer(words);
    }
    assert_eq!(told(&stage), ["battery-rest"]);
    // "Go back" at the question returns to the step's own.
    let mut stage = feed_round();
    for words in ["measure the battery", ALREADY, "go back"] {
        stage.answer(words);
    }
    while !stage.walker.is_asking() {
        stage.answer("ready");
    }
    stage.answer("twelve point six");
    assert!(told(&stage).is_empty());
}

#[test]
fn an_answer_that_is_only_told_ends_no_walk() {
    let mut stage = Stage::new(of(&own("order", "three-looks.yaml"), "fennel-single"));
    for words in ["ready", ALREADY, "blown"] {
        stage.answer(words);
    }
    says(&stage, "What was only told cannot decide this. Make that check now.");
    says(&stage, "Is the fuse whole or blown?");
    assert!(stage.conclusion().is_none() && stage.walker.is_asking());
    // Not told once more.
    stage.answer(ALREADY);
    says(&stage, NOT_NOW);
    let mut lied = Stage::before_events(stage.world.clone(), &stage.events);
    stage.answer("blown");
    assert_eq!(stage.conclusion().expect("a conclusion").0, "fuse-blown");
    assert!(!stage.said_since().contains("as told"), "{}", stage.said_since());
    // The one who told it wrongly goes on by what it shows now; what is only told is named in the end as not tested.
    lied.answer("whole");
    for words in [ALREADY, "turns", "firm", "ready"] {
        lied.answer(words);
    }
    assert_eq!(lied.conclusion().expect("a conclusion").0, "nothing-found");
    says(&lied, "Cam look: as told, the cam turns.");
}

#[test]
fn a_cut_off_request_to_leave_it_is_not_a_confirmation() {
    let mut stage = story(asks("drop-feed"));
    stage.answer(ALREADY);
    let (events, world) = (stage.events.clone(), stage.world.clone());
    // The same, but the words "leave it as it was" were cut.
    let mut walker = Walker::new(world);
    let last = events.iter().rposition(|(event, _)| matches!(event, Event::Heard { .. })).expect("it was heard");
    let mut listen = 0;
    for (number, (event, now)) in events.iter().enumerate() {
        let event = match event {
            Event::PromptEnded { id, .. } if number > last => Event::PromptEnded { id: *id, whole: false },
            event => event.clone(),
        };
        for effect in walker.handle(event, now) {
            if let probeside::walk::Effect::Listen { id, .. } = effect {
                listen = id;
            }
        }
    }
    assert_eq!(walker.phase(), PhaseKind::Undoing);
    let heard = probeside::phrase::Hypothesis {
        answer: probeside::phrase::Answer::Done,
        words: "ready".into(),
        probability: 1.0,
    };
    let verdict = probeside::phrase::Verdict::Accept { heard };
    let now = events.last().expect("events").1.clone();
    walker.handle(Event::Heard { listen, verdict, begin: 0, end: 1, clip: None }, &now);
    assert!(walker.is_power_on(), "asked for, and not heard");
}

#[test]
fn one_told_answer_carries_no_conclusion_and_its_check_can_still_be_made() {
    let world = of(&own("order", "three-looks.yaml"), "fennel-single");
    let library = Library::load(&own("order", "three.yaml")).expect("the library loads");
    let faults = library.for_bike(&world.bike).expect("it fits");
    let observer = CircuitObserver::new(&world.bike, &library, &faults);
    let order = Order::new(&world, &faults, &observer).expect("an order");
    let mut stage = Stage::new(world.clone());
    stage.answer("ready");
    let asked = |stage: &Stage| Arc::new(Asked::by(&stage.walker, &world).expect("a question").expect("it is open"));
    let fuse = asked(&stage);
    stage.answer("whole");
    let cam = asked(&stage);
    stage.answer("turns");
    let lead = asked(&stage);
    let crossing = probeside::walk::Crossing {
        seen: Default::default(),
        skipped: Vec::new(),
        readied: Default::default(),
        lacking: Default::default(),
    };
    let given = |asked: &Arc<Asked>, choice, told| Given { told, ..Given::new(asked.clone(), Seen::Choice(choice)) };
    let next = |all: &[Given]| match order.choose(&crossing, all).expect("a choice").next {
        Next::Check(spot) => spot.step,
        Next::Found(found) => format!("found {}", found.conclusion),
        other => format!("{other:?}"),
    };
    let others = || vec![given(&fuse, 0, false), given(&lead, 0, false)];
    // Made once, the look that shows the cam comes once more, and then it is found.
    let with = |more: Vec<Given>| others().into_iter().chain(more).collect::<Vec<_>>();
    assert_eq!(next(&with(vec![given(&cam, 1, false)])), "cam-look");
    assert_eq!(next(&with(vec![given(&cam, 1, false), given(&cam, 1, false)])), "found cam-sheared");
    // Told and then made, it was made once. Told twice, never.
    for told in [vec![given(&cam, 1, true)], vec![given(&cam, 1, true), given(&cam, 1, false)]] {
        assert_eq!(next(&with(told)), "cam-look");
    }
    assert_eq!(next(&with(vec![given(&cam, 1, true), given(&cam, 1, true)])), "cam-look");
    // What is made replaces what was told.
    assert_eq!(
        next(&with(vec![given(&cam, 1, true), given(&cam, 0, false)])),
        next(&with(vec![given(&cam, 0, false)]))
    );
    // A needed check is not made by telling of it.
    let told_all = [given(&fuse, 0, true), given(&cam, 0, true), given(&lead, 0, true)];
    assert!(!next(&told_all).contains("Sound"), "{}", next(&told_all));
}

#[test]
fn in_best_order_a_check_that_is_told_is_made_before_it_decides() {
    let world = of(&own("order", "three-looks.yaml"), "fennel-single");
    let library = Library::load(&own("order", "three.yaml")).expect("the library loads");
    let adviser = Adviser::start(&world, library).and_then(|adviser| adviser.in_best_order(&world));
    let mut stage = Stage::in_best_order(world, adviser.expect("an adviser"));
    stage.answer("ready");
    stage.answer(ALREADY);
    let first = stage.walker.place().0.to_owned();
    assert_eq!(first, "lead-look");
    stage.answer("loose");
    says(&stage, "As told.\nA lead is loose.");
    // One told answer does not carry it: the same check comes now, in full and not as one that comes once more.
    says(&stage, "Are the leads firm or loose?");
    assert!(!stage.said_since().contains("Once more"), "{}", stage.said_since());
    for _ in 0..10 {
        if stage.finished.is_some() {
            break;
        }
        let words = match stage.walker.place().0 {
            "lead-look" => "loose",
            "cam-look" => "turns",
            _ => "whole",
        };
        stage.answer(words);
    }
    assert_eq!(stage.conclusion().expect("a conclusion").0, "lead-loose");
    let made = |r: &&Record| matches!(r, Record::Answered { step, told: false, .. } if step == "lead-look");
    assert!(stage.records.iter().filter(made).count() >= 1, "it was made, too");
}

/// The real program writes such a session, and every form of its review says beside the answer that it is only told.
#[test]
fn every_form_of_the_review_says_as_told() {
    let folder = tempfile::tempdir().expect("a folder");
    let into = folder.path().join("session");
    let path = into.to_str().expect("a plain path");
    let procedure = own("procedures", "feed-round.yaml");
    let answers =
        format!("only the key switch\n{ALREADY}\npoint seven volts\nready\nsmell the air\nready\nready\nready\n");
    let walk = ["walk", procedure.to_str().expect("a plain path"), "--bike", "borage-twin", "--into", path];
    let (_, said, complaint) = typed(&walk, &answers);
    assert!(said.contains("As told."), "{said}{complaint}");
    let (code, said, complaint) =
        typed(&["walk", "--resume", path], &format!("{}air is clear\n{ALREADY}\ngap is right\n", "ready\n".repeat(4)));
    assert!(said.contains("We go on where we were"), "{code:?} {said} {complaint}");
    let review = |form: &[&str]| {
        let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_probeside"));
        let out = command.arg("review").arg(&into).args(form).output().expect("review runs");
        String::from_utf8_lossy(&out.stdout).into_owned()
    };
    let text = review(&[]);
    assert!(text.contains("part_drop at drop-part (key): 0.7 V [bad") && text.contains("as told]"), "{text}");
    let json: serde_json::Value = serde_json::from_str(&review(&["--json"])).expect("JSON");
    assert_eq!(json["readings"][0]["told"], true);
    assert_eq!(json["readings"][0]["instrument"], serde_json::Value::Null, "nobody has said what it was measured with");
    let file = |name: &str, form: &str| {
        let file = folder.path().join(name);
        review(&[form, file.to_str().expect("a plain path")]);
        std::fs::read_to_string(file).expect("it was written")
    };
    let csv = file("readings.csv", "--csv");
    let mut rows = csv.lines().map(|line| line.rsplit(',').next().expect("a column"));
    assert_eq!((rows.next(), rows.next()), (Some("told"), Some("true")), "{csv}");
    assert!(file("said.vtt", "--vtt").contains("<v Probeside>As told.</v>"));
    let page = file("page.html", "--html");
    assert!(page.contains("0.7 V, as told"), "the page");
    let sheet = file("customer.html", "--customer");
    assert!(sheet.contains("0.7 V, as told"), "the customer's sheet");
}
