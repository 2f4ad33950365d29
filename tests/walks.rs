//! The command line as the user types it: piped answers, the resulting record, wrong usage and missing files.

mod support;

use std::process::Command;
use support::typed::{typed, typed_in};

#[test]
fn piped_answers_that_end_leave_a_sound_record_and_exit_1() {
    let folder = tempfile::tempdir().expect("a folder");
    let into = folder.path().join("session");
    let path = into.to_str().expect("a plain path");
    let answers = "it stopped on the road\nready\n";
    let (code, _, complaint) = typed(&["walk", "no-spark", "--bike", "borage-twin", "--into", path], answers);
    assert_eq!(code, Some(1), "{complaint}");
    let verify = Command::new(env!("CARGO_BIN_EXE_probeside")).arg("verify").arg(&into).output().expect("verify runs");
    assert_eq!(verify.status.code(), Some(0), "{}", String::from_utf8_lossy(&verify.stdout));
    let review = Command::new(env!("CARGO_BIN_EXE_probeside"))
        .arg("review")
        .arg(&into)
        .arg("--json")
        .output()
        .expect("review runs");
    let json: serde_json::Value = serde_json::from_slice(&review.stdout).expect("review gives JSON");
    assert!(json.get("events").is_some_and(|e| e.as_array().is_some_and(|e| !e.is_empty())), "{json}");
}

#[test]
fn a_missing_bike_is_wrong_usage_and_a_missing_file_is_a_sentence() {
    let run = |args: &[&str]| {
        let out = Command::new(env!("CARGO_BIN_EXE_probeside")).args(args).output().expect("it runs");
        (out.status.code(), String::from_utf8_lossy(&out.stderr).into_owned())
    };
    let (code, said) = run(&["walk", "no-spark", "--hear", "typed", "--say", "printed"]);
    assert_eq!(code, Some(2), "{said}");
    assert!(said.contains("--bike"), "{said}");
    let (code, said) = run(&["walk", "nowhere.yaml", "--bike", "borage-twin", "--hear", "typed", "--say", "printed"]);
    assert_eq!(code, Some(1), "{said}");
    assert!(said.contains("nowhere.yaml"), "{said}");
}

#[test]
fn a_walk_that_was_stopped_is_taken_up_again_and_a_called_procedure_ends_on_its_own() {
    let folder = tempfile::tempdir().expect("a folder");
    let into = folder.path().join("session");
    let path = into.to_str().expect("a plain path");
    let (code, _, complaint) = typed(&["walk", "prove-lamp", "--bike", "borage-twin", "--into", path], "ready\n");
    assert_eq!(code, Some(1), "{complaint}");
    assert!(complaint.contains(&format!("probeside walk --resume {path}")), "{complaint}");
    let (code, said, complaint) = typed(&["walk", "--resume", path], "ready\nready\nlit\n");
    assert_eq!(code, Some(0), "{said}{complaint}");
    assert!(said.contains("The lamp is proved.") && said.contains("Its check number is"), "{said}");
    let (code, _, complaint) = typed(&["walk", "--resume", path], "");
    assert_eq!(code, Some(1), "{complaint}");
    assert!(complaint.contains("this walk is over"), "{complaint}");
    let verify = Command::new(env!("CARGO_BIN_EXE_probeside")).arg("verify").arg(&into).output().expect("verify runs");
    assert_eq!(verify.status.code(), Some(0), "{}", String::from_utf8_lossy(&verify.stdout));
}

#[test]
fn what_was_denied_is_not_asked_again_at_once_and_a_missed_reply_is_asked_for_again() {
    let asked = |answers: &str| {
        let folder = tempfile::tempdir().expect("a folder");
        let into = folder.path().join("session");
        let path = into.to_str().expect("a plain path");
        let walk = ["walk", "prove-lamp", "--bike", "borage-twin", "--into", path];
        let (code, said, _) = typed(&walk, &format!("ready\n{answers}"));
        (code, said.matches("Did you say").count())
    };
    // A single typing slip is confirmed. After "no" the same slip is not an answer, and the time after that it is confirmed again.
    assert_eq!(asked("light onn\nno\nlight onn\nlit\n"), (Some(0), 1));
    assert_eq!(asked("light onn\nno\nlight onn\nlight onn\nyes\n"), (Some(0), 2));
    // A reply that is not an answer repeats the confirmation once, and "yes" still works.
    assert_eq!(asked("light onn\nwhat a day\nyes\n"), (Some(0), 2));
    // The same answer in other words counts as "yes". The same words do not.
    assert_eq!(asked("light onn\nit lightss\n"), (Some(0), 1));
    assert_eq!(asked("light onn\nlight onn\nlit\n"), (Some(0), 2));
}

#[test]
fn open_jobs_are_listed_and_found_by_their_words() {
    let folder = tempfile::tempdir().expect("a folder");
    let run = |args: &[&str], answers: &str| {
        let (code, said, complaint) = typed_in(folder.path(), args, answers);
        (code, said + &complaint)
    };
    let (code, said) = run(&["walk", "--resume"], "");
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("no open job"), "{said}");
    let begin = |job: &str, bike: &str, answers: &str| {
        let (code, said) = run(&["walk", "prove-lamp", "--bike", bike, "--job", job], answers);
        assert_eq!(code, Some(1), "{said}");
    };
    begin("R 4711", "borage-twin", "ready\nwaiting for parts\nyes\n");
    begin("R 4712", "fennel-single", "ready\n");
    let (code, said) = run(&["walk", "--resume"], "");
    assert_eq!(code, Some(0), "{said}");
    for words in [
        "R 4711, Borage Twin, since",
        "waiting for parts; asked last: ",
        "R 4712, Fennel Single",
        "walk --resume sessions/",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
    let (code, said) = run(&["walk", "--resume", "r 47"], "");
    assert_eq!(code, Some(2), "{said}");
    assert!(said.contains("2 open jobs have the words"), "{said}");
    let (code, said) = run(&["walk", "--resume", "4711"], "ready\nready\nlit\n");
    assert_eq!(code, Some(0), "{said}");
    let (_, said) = run(&["walk", "--resume"], "");
    assert!(!said.contains("4711") && said.contains("4712"), "{said}");
}
