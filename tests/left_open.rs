//! A walk resumes what an interruption left open: a conclusion that the disk did not accept, or an answer that is on disk but has led
//! nowhere yet. The expectations are the program's own contract: no answered question is asked again, and the walk reaches the end it would
//! have reached.

mod support;

use probeside::phrase::{Answer, Command};
use probeside::session::Record;
use probeside::walk::Event;
use support::machine::{STORIES, Story};
use support::stage::{DiskSays, Stage};

/// Stories whose conclusion comes after a loop, not at one of its steps.
const GOOD: [&str; 3] = ["points-good", "ground-path-good", "battery-feed-good"];

fn stop() -> Event {
    Event::Stop { why: "the interrupt key was pressed".into() }
}

/// Answers until `until` or the end. `None` if the story has no answer.
fn answer_on(stage: &mut Stage, story: &Story, until: impl Fn(&Stage) -> bool) -> Option<()> {
    for _ in 0..2_000 {
        if stage.finished.is_some() || until(stage) {
            return Some(());
        }
        let grammar =
            &stage.listen.as_ref().unwrap_or_else(|| panic!("nobody listens at {:?}", stage.walker.place())).grammar;
        let said = |wanted: Answer| grammar.phrases.iter().find(|p| p.answer == wanted).map(|p| p.words.clone());
        let (step, round) = stage.walker.place();
        let words = said(Answer::PowerOff).or_else(|| said(Answer::Command(Command::Resume)));
        let words = words.or_else(|| story.mechanic.answer(step, round, stage.walker.is_asking(), grammar));
        stage.answer(&words?);
    }
    panic!("no end");
}

/// The end of a story.
#[derive(Debug, PartialEq)]
struct End {
    finished: Option<(u8, String)>,
    conclusion: Option<(String, Option<String>)>,
    answers: usize,
}

fn end(stage: &Stage) -> End {
    let answers = stage.records.iter().filter(|r| matches!(r, Record::Answered { .. } | Record::Read { .. }));
    End { finished: stage.finished.clone(), conclusion: stage.conclusion(), answers: answers.count() }
}

fn is_last(record: &Record) -> bool {
    matches!(record, Record::Concluded { last: true, .. })
}

/// Walks every story up to its conclusion, which the disk does not accept, then runs `between`, and finishes with a disk that accepts
/// everything.
fn interrupted_at_the_conclusion(disk: fn(&Record) -> DiskSays, between: impl Fn(&mut Stage)) {
    let mut came_to_an_end = 0;
    for name in STORIES.into_iter().chain(GOOD) {
        let story = Story::of(name);
        let mut whole = Stage::new(story.world.clone());
        // Some stories contain more than answers.
        if answer_on(&mut whole, &story, |_| false).is_none() {
            continue;
        }
        came_to_an_end += 1;
        let mut stage = Stage::new(story.world.clone());
        stage.disk = disk;
        answer_on(&mut stage, &story, |stage| stage.records.iter().any(is_last)).expect("as before");
        assert!(stage.finished.is_none(), "{name}");
        stage.disk = |_| DiskSays::Takes;
        between(&mut stage);
        answer_on(&mut stage, &story, |_| false).unwrap_or_else(|| panic!("{name}: {:?}", stage.walker.place()));
        assert_eq!(end(&stage), end(&whole), "{name}");
    }
    assert!(came_to_an_end > 5, "{came_to_an_end} stories came to an end");
}

fn refused(record: &Record) -> DiskSays {
    if is_last(record) { DiskSays::Refuses } else { DiskSays::Takes }
}

#[test]
fn a_conclusion_that_was_refused_is_written_again() {
    interrupted_at_the_conclusion(refused, |_| {});
}

#[test]
fn nobody_loses_it_by_thinking_twice_about_the_end() {
    interrupted_at_the_conclusion(refused, |stage| {
        stage.answer("stop now");
        stage.answer("no");
    });
    interrupted_at_the_conclusion(refused, |stage| {
        stage.answer("stop now");
        stage.give(Event::ClockSetBack { by_ms: 3_600_000 });
    });
}

#[test]
fn a_walk_that_was_stopped_there_is_resumed_there() {
    interrupted_at_the_conclusion(refused, |stage| {
        stage.answer("stop now");
        stage.answer("yes");
        resume(stage);
    });
    interrupted_at_the_conclusion(refused, |stage| {
        stage.give(stop());
        resume(stage);
    });
    interrupted_at_the_conclusion(refused, |stage| {
        stage.give(stop());
        stage.give(stop());
        resume(stage);
    });
}

#[test]
fn a_stop_while_it_is_being_written_waits_for_the_disk() {
    let silent = |record: &Record| if is_last(record) { DiskSays::SaysNothing } else { DiskSays::Takes };
    interrupted_at_the_conclusion(silent, |stage| {
        stage.give(stop());
        let id = stage.held.pop().expect("it is being written");
        stage.give(Event::Recorded { id });
        resume(stage);
    });
    interrupted_at_the_conclusion(silent, |stage| {
        stage.give(stop());
        let id = stage.held.pop().expect("it is being written");
        stage.give(Event::RecordFailed { id, why: "The disk is full".into(), never: false });
        resume(stage);
    });
}

/// The stopped walk ends and is resumed.
fn resume(stage: &mut Stage) {
    if stage.finished.is_none() {
        stage.answer("power is off");
    }
    assert_eq!(stage.finished.take().map(|(code, _)| code), Some(1));
    stage.restart(60_000);
}

/// A signal during a write, and a kill before the write was answered: whoever starts the program again wants to go on.
#[test]
fn a_stop_that_was_overtaken_by_a_kill_stops_nothing_later() {
    let silent = |record: &Record| if is_last(record) { DiskSays::SaysNothing } else { DiskSays::Takes };
    interrupted_at_the_conclusion(silent, |stage| {
        stage.give(stop());
        stage.restart(60_000);
        let id = stage.held.pop().expect("it is being written");
        stage.give(Event::Recorded { id });
        assert_ne!(stage.finished.as_ref().map(|(code, _)| *code), Some(1), "it goes on");
    });
    // The same where the record is known to be on disk before the walk is told that it was started again.
    interrupted_at_the_conclusion(silent, |stage| {
        stage.give(stop());
        let id = stage.held.pop().expect("it is being written");
        stage.disk = |_| DiskSays::SaysNothing;
        stage.give(Event::Recorded { id });
        stage.disk = |_| DiskSays::Takes;
        stage.restart(60_000);
    });
}
