//! Advice over a tiny procedure and a tiny library, with every figure worked out by hand from Bayes' rule, and as the user types it.

mod support;

use probeside::advice::Weighed;
use probeside::circuit::faults::Library;
use probeside::diagnose::{Adviser, MISHEARD, OUTSIDE, SLIP};
use probeside::expression::render_names;
use probeside::phrase::{Answer, Command as Control, Phrase, Vocabulary, sound};
use probeside::session::JOURNAL_FILE;
use std::process::Command;
use std::sync::Arc;
use support::mechanic::Mechanic;
use support::stage::{Stage, procedures};
use support::typed::typed;

const LIBRARY: &str = r#"
faults: tiny
source: "for tests only"
outside: ["all else"]
looks:
  fuse: {words: "the fuse", healthy: whole}
kinds:
  key-open:
    words: "the key switch does not connect"
    parts: [key]
    cure: "mend or replace the key switch"
    likelihood: 3
    alter: [{open: key}]
  battery-open:
    words: "the battery is open inside"
    parts: [battery]
    cure: "replace the battery"
    likelihood: 1
    alter: [{open: battery}]
"#;

const PROCEDURE: &str = r#"
procedure: two-looks
title: "Two looks."
version: 1
language: en
tools: ["a test lamp"]
opening: ["For tests."]
start: touch
steps:
  touch:
    say: "Lamp across the battery: lit or dark?"
    more: "It needs no key."
    state: {switches: {key: "off"}, instrument: {lamp: [battery.ground, battery.live]}}
    ask:
      choice:
        lit: {phrases: ["lit"], echo: "the battery lights it", means: good, go: after-key}
        dark: {phrases: ["dark"], echo: "the battery does not light it", means: bad, go: after-key}
    time: 60
    minutes: 1
    untested: after-key
  after-key:
    say: "Lamp behind the key switch: lit or dark?"
    more: "The key is on."
    state: {switches: {key: "on"}, instrument: {lamp: [battery.ground, key.load]}}
    ask:
      choice:
        lit: {phrases: ["lit"], echo: "the key switch lets it through", means: good, go: last}
        dark: {phrases: ["dark"], echo: "dark behind the key switch", means: bad, go: last}
    time: 60
    minutes: 1
    untested: last
  last:
    say: "Key off."
    more: "That is all."
    ask: {done: {conclude: over}}
    time: 60
    minutes: 1
    untested: {conclude: over}
conclusions:
  over: {cause: "The key switch is open.", remedy: "Renew it.", condemns: [key], rules-out: ["the lamp"], not-tested: ["all else"], recheck: ["the lamp"]}
"#;

/// Probability that an accepted, unconfirmed answer is a slip, and that a slip gives a particular one of two answers.
const ERR: f64 = SLIP + MISHEARD;
const HALF: f64 = 0.5;

/// More answers than this mean that the walk goes in a circle.
const MOST_ANSWERS: usize = 400;

fn stage() -> Stage {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("two-looks.yaml");
    std::fs::write(&file, PROCEDURE).expect("the procedure is written");
    let (bike, words) = (procedures().join("bikes/borage-twin.yaml"), procedures().join("vocabulary/en.yaml"));
    let loaded = probeside::run::load::world(&file, &bike, &words).unwrap_or_else(|all| panic!("{all:?}"));
    let world = Arc::new(loaded.world);
    let library = Library::parse(LIBRARY, "tiny.yaml").unwrap_or_else(|all| panic!("{all:?}"));
    let adviser = Adviser::start(&world, library).expect("an adviser");
    Stage::advised_by(world, adviser)
}

fn weight(of: &Weighed, fault: &str) -> f64 {
    of.suspects.iter().find(|s| s.fault == fault).map_or(0.0, |s| s.weight)
}

fn close(a: f64, b: f64) {
    assert!((a - b).abs() < 1e-4, "{a} and not {b}");
}

/// Priors 0.675 (key), 0.225 (battery), 0.1 (outside). Dark across the battery fits only the open battery: probability 0.98 + 0.01 = 0.99
/// there, 0.01 with the open key, and outside, which shows something strange at a tenth of the checks, 0.98 * 0.1 * 0.5 + 0.01 = 0.059.
/// Weights 0.22275 : 0.00675 : 0.0059, sum 0.2354. Dark behind the key then fits both faults and is strange outside: times 0.99, 0.99,
/// 0.059.
#[test]
fn suspects_are_those_of_bayes_rule_by_hand() {
    let mut stage = stage();
    stage.answer("dark");
    let after = stage.walker.suspects().expect("it was weighed").clone();
    let (fits, not) = ((1.0 - ERR) + ERR * HALF, ERR * HALF);
    let strange = (1.0 - ERR) * 0.1 * HALF + ERR * HALF;
    close(fits, 0.99);
    close(strange, 0.059);
    close(weight(&after, "battery-open"), 0.22275 / 0.2354);
    close(weight(&after, "key-open"), 0.00675 / 0.2354);
    close(after.outside, 0.0059 / 0.2354);
    // Weight of evidence for the battery: log10 of 0.99 over the others' (0.675 * 0.01 + 0.1 * 0.059) / 0.775.
    let because = &after.suspects[0].because[0];
    assert_eq!(because.answer, "the battery does not light it");
    close(because.evidence, (0.99f64 / ((0.675 * 0.01 + 0.1 * 0.059) / 0.775)).log10());
    stage.answer("dark");
    let after = stage.walker.suspects().expect("it was weighed").clone();
    let all = 0.225 * fits * fits + 0.675 * not * fits + OUTSIDE * strange * strange;
    // The weight of faults outside the library never falls below a hundredth.
    let outside = OUTSIDE * strange * strange / all;
    assert!(outside < 0.01);
    close(weight(&after, "battery-open"), 0.225 * fits * fits / all * 0.99 / (1.0 - outside));
    close(after.outside, 0.01);
    assert_eq!(after.doubtful, None, "the open battery explains both");
    // "Go back" withdraws the answer.
    stage.answer("go back");
    close(weight(stage.walker.suspects().expect("the first answer"), "battery-open"), 0.22275 / 0.2354);
    stage.answer("what is left");
    let said = stage.said_since();
    for words in [
        "Most likely: the battery is open inside, ninety five per cent",
        "Then: the key switch does not connect, three",
    ] {
        assert!(said.contains(words), "{said}");
    }
    assert!(said.contains("For the first speaks: the battery does not light it."), "{said}");
}

/// Dark across the battery and lit behind it: neither fault explains both. Lit is a slip with the open battery (0.225 * 0.99 * 0.01) and
/// the open key (0.675 * 0.01 * 0.01), and hardly a slip outside (0.1 * 0.059 * 0.941).
#[test]
fn what_does_not_fit_is_said_once_and_repeated_when_wanted() {
    let mut stage = stage();
    stage.answer("dark");
    stage.answer("lit");
    let said = stage.said_since();
    assert!(said.contains("That does not fit") && said.contains("You said: the key switch lets it through."), "{said}");
    let doubtful = stage.walker.suspects().and_then(|w| w.doubtful.clone()).expect("it is doubtful");
    let (battery, key, outside) = (0.225 * 0.99 * 0.01, 0.675 * 0.01 * 0.01, 0.1 * 0.059 * 0.941);
    close(doubtful.weight, (battery + key + outside * 0.01 / 0.941) / (battery + key + outside));
    assert_eq!(doubtful.number, 1);
    stage.restart(1_000);
    assert!(stage.said.last().is_some_and(|(_, text)| text.starts_with("That does not fit")), "it is offered again");
    stage.answer("yes");
    assert_eq!(stage.walker.place().0, "after-key");
    stage.answer("ready");
    stage.answer("lit");
    let said = stage.said_since();
    assert!(said.contains("The same as before"), "{said}");
    // Seen twice, it is a tenth as likely to be a slip. Something outside now explains both (0.1 * 0.059 * 0.95 against 0.225 * 0.99 *
    // 0.001). "Dark" is a slip there with only 0.01 / 0.059 = 0.17, and nothing is doubted any more.
    assert_eq!(stage.walker.place().0, "last");
    stage.answer("ready");
    let (_, lines) = stage.said.iter().partition::<Vec<_>, _>(|(_, text)| !text.starts_with("Not ruled out"));
    assert!(lines.iter().any(|(_, text)| text.contains("The battery is open inside")), "{:?}", stage.said);
    assert_eq!(stage.conclusion().map(|c| c.0).as_deref(), Some("over"));
    stage.restart(1_000);
}

/// The record contains the suspects. A walk that breaks off while waiting for advice can be resumed.
#[test]
fn suspects_are_recorded_and_a_walk_cut_before_its_advice_goes_on() {
    let folder = tempfile::tempdir().expect("a folder");
    let into = folder.path().join("session");
    let path = into.to_str().expect("a plain path");
    let begin = "it stopped on the road\nready\nready\nair is clear\nwhat is left\n";
    let (code, said, complaint) = typed(&["walk", "no-spark", "--bike", "fennel-single", "--into", path], begin);
    assert_eq!(code, Some(1), "{complaint}");
    assert!(said.contains("Most likely: ") && said.contains("Something I do not know"), "{said}");
    let review =
        Command::new(env!("CARGO_BIN_EXE_probeside")).args(["review", path, "--json"]).output().expect("it runs");
    let json: serde_json::Value = serde_json::from_slice(&review.stdout).expect("JSON");
    assert_eq!(json["suspects"][0]["step"], "vapour", "{}", json["suspects"]);
    assert!(json["suspects"][0]["left"].as_u64().is_some_and(|left| left > 5));
    let journal = std::fs::read_to_string(into.join(JOURNAL_FILE)).expect("a journal");
    let weighed = journal.find("\"event\":\"weighed\"").expect("the advice is an event");
    let end = journal[..weighed].rfind('\n').expect("it is not the first line") + 1;
    std::fs::write(into.join(JOURNAL_FILE), &journal[..end]).expect("the journal is cut");
    let _ = std::fs::remove_file(into.join(probeside::session::DIGEST_FILE));
    let (code, said, complaint) = typed(&["walk", "--resume", path], "ready\nwhat is left\n");
    assert_eq!(code, Some(1), "{said}{complaint}");
    assert!(said.contains("We go on where we were.") && said.contains("Most likely: "), "{said}{complaint}");
    let verify = Command::new(env!("CARGO_BIN_EXE_probeside")).args(["verify", path]).output().expect("it runs");
    assert_eq!(verify.status.code(), Some(0), "{}", String::from_utf8_lossy(&verify.stdout));
}

/// The events of a shipped story are possible on its bike: every answer fits, and the cause is the first suspect.
#[test]
fn the_stories_answers_fit_together() {
    let library = Library::load(&procedures().join("faults/ignition.yaml")).expect("the library loads");
    for story in ["two-dead-sides", "dead-left-side"] {
        let world = support::stage::world("no-spark", "borage-twin");
        let adviser = Adviser::start(&world, library.clone()).expect("an adviser");
        let mut stage = Stage::advised_by(world, adviser);
        let mechanic = Mechanic::of_story(story);
        for _ in 0..MOST_ANSWERS {
            let Some(listen) = stage.listen.as_ref().filter(|_| stage.finished.is_none()) else { break };
            let (step, round) = stage.walker.place();
            let words = mechanic.answer(step, round, stage.walker.is_asking(), &listen.grammar);
            let words = words.unwrap_or_else(|| panic!("{story}: no answer at {step}"));
            stage.answer(&words);
            let last = stage.said.last().map(|(_, said)| said.clone()).unwrap_or_default();
            assert!(!last.starts_with("That does not fit"), "{story}, after {words:?}: {last}");
        }
        assert!(stage.finished.is_some(), "{story} goes in a circle");
        let (conclusion, round) = stage.conclusion().expect("a conclusion");
        let weighed = stage.walker.suspects().cloned().expect("suspects");
        let first = &weighed.suspects[0];
        println!("{story}: {conclusion} {round:?}, {} {}", first.fault, first.weight);
        assert!(first.weight > 0.5, "{story}: {weighed:?}");
        let walker = &stage.walker;
        let concluded = walker.world().procedures[walker.procedure_id()].conclusion(&conclusion).expect("it is there");
        let condemned = render_names(&concluded.condemns, &walker.scope()).expect("names");
        assert!(first.parts.iter().any(|part| condemned.contains(part)), "{story}: {condemned:?} and {first:?}");
    }
}

#[test]
fn without_a_fault_library_it_says_so() {
    let folder = tempfile::tempdir().expect("a folder");
    let into = folder.path().join("session");
    let path = into.to_str().expect("a plain path");
    let args = ["walk", "no-spark", "--bike", "fennel-single", "--faults", "none", "--into", path];
    let (_, said, _) = typed(&args, "what is left\n");
    assert!(said.contains("I have no wiring and no faults to reckon with here"), "{said}");
}

/// The phrases that ask for the suspects must sound unlike every other command, escape and answer of the shipped procedures.
#[test]
fn the_control_sounds_like_nothing_else() {
    let words = Vocabulary::english();
    let suspects = Answer::Command(Control::Suspects);
    let (own, others): (Vec<Phrase>, Vec<Phrase>) =
        words.command_phrases().into_iter().partition(|p| p.answer == suspects);
    let mut others: Vec<String> = others.into_iter().chain(words.escape_phrases()).map(|p| p.words).collect();
    others.extend(words.sum_phrases().into_iter().map(|p| p.words));
    for name in ["no-spark", "weak-spark", "no-power", "closing-checks"] {
        others.extend(support::stage::world(name, "borage-twin").phrases());
    }
    assert!(own.len() == 2 && others.len() > 200);
    let close = |own: &Phrase| {
        let near = others.iter().map(|other| (sound::apart(&own.words, other, "en"), other));
        near.min_by(|a, b| a.0.total_cmp(&b.0)).expect("there are others")
    };
    for own in &own {
        let (apart, other) = close(own);
        println!("{:?} is nearest to {other:?}: {apart:.2}", own.words);
        assert!(sound::too_close(&own.words, other, "en").is_none(), "{:?} sounds like {other:?}", own.words);
        assert!(others.iter().all(|other| sound::too_close(&own.words, other, "en").is_none()));
    }
}
