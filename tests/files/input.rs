//! Input files: a command names whatever is in the place of a file, and never waits for it.

use super::{Bench, hears, walk};
use std::fs;
use std::os::unix::fs::symlink;
use std::os::unix::net::UnixListener;
use std::path::Path;

/// Puts everything that is no plain file in its place, one after another.
fn each_kind(bench: &Bench, place: &Path, mut tried: impl FnMut(&str)) {
    let clear = || {
        let _ = fs::remove_file(place);
        let _ = fs::remove_dir_all(place);
    };
    clear();
    bench.pipe("a pipe");
    fs::rename(bench.path("a pipe"), place).unwrap();
    tried("a pipe");
    clear();
    // The name of a socket must be short.
    let listener = UnixListener::bind(bench.path("a")).unwrap();
    fs::rename(bench.path("a"), place).unwrap();
    tried("a socket");
    drop(listener);
    clear();
    fs::create_dir(place).unwrap();
    tried("a folder");
    clear();
    bench.pipe("far pipe");
    symlink(bench.path("far pipe"), place).unwrap();
    tried("a link to a pipe");
    clear();
    symlink("/dev/zero", place).unwrap();
    tried("a link to a device");
    clear();
}

/// What a sentence about such a thing has: inside a session a link is a link, elsewhere what it leads to.
fn named(kind: &str, inside: bool) -> String {
    let kind = match kind {
        "a link to a pipe" if !inside => "a pipe",
        "a link to a device" if !inside => "a device",
        kind if kind.starts_with("a link") => "a link",
        kind => kind,
    };
    format!("{kind}, not a")
}

#[test]
fn a_session_with_something_else_in_the_place_of_its_journal() {
    let bench = Bench::new();
    let journal = bench.session("s").join("journal.jsonl");
    let whole = fs::read(&journal).unwrap();
    each_kind(&bench, &journal, |kind| {
        for arguments in [
            &["review", "s"][..],
            &["verify", "s"],
            &["amend", "s", "--by", "Ida", "a remark"],
            &["walk", "--resume", "s", "--hear", "typed", "--say", "printed"],
        ] {
            let did = bench.run(arguments);
            assert_eq!(did.code, Some(1), "{kind} {arguments:?} {}", did.said);
            let wanted = ["journal.jsonl", &named(kind, true)];
            assert!(wanted.iter().all(|words| did.said.contains(words)), "{kind} {arguments:?} {}", did.said);
        }
    });
    fs::write(&journal, whole).unwrap();
    assert_eq!(bench.run(&["verify", "s"]).code, Some(0));
}

#[test]
fn a_session_with_something_else_in_the_place_of_its_lock() {
    let bench = Bench::new();
    let lock = bench.session("s").join("lock");
    fs::create_dir(bench.path("new")).unwrap();
    let begins = walk(&["--into", "new"]);
    for place in [lock, bench.path("new/lock")] {
        each_kind(&bench, &place, |kind| {
            let all: Vec<Vec<&str>> = match place.starts_with(bench.path("new")) {
                true => vec![begins.clone()],
                false => vec![
                    vec!["amend", "s", "--by", "Ida", "a remark"],
                    vec!["walk", "--resume", "s", "--hear", "typed", "--say", "printed"],
                ],
            };
            for arguments in all {
                let did = bench.run(&arguments);
                assert_eq!(did.code, Some(1), "{kind} {arguments:?} {}", did.said);
                let wanted = ["\"lock\"", &named(kind, true)];
                assert!(wanted.iter().all(|words| did.said.contains(words)), "{kind} {arguments:?} {}", did.said);
            }
        });
    }
    assert!(!bench.path("new/journal.jsonl").exists());
}

#[test]
fn a_file_of_yaml_that_is_none() {
    let bench = Bench::new();
    let place = bench.path("x.yaml");
    each_kind(&bench, &place, |kind| {
        for arguments in [
            &["check", "x.yaml"][..],
            &["draw", "x.yaml", "--svg", "-"],
            &["draw", "prove-lamp", "--svg", "-", "--bike", "x.yaml"],
            &["walk", "x.yaml", "--bike", "borage-twin", "--hear", "typed", "--say", "printed"],
            &["walk", "prove-lamp", "--bike", "x.yaml", "--hear", "typed", "--say", "printed"],
            &[
                "walk",
                "prove-lamp",
                "--bike",
                "borage-twin",
                "--words",
                "x.yaml",
                "--hear",
                "typed",
                "--say",
                "printed",
            ],
            &[
                "walk",
                "prove-lamp",
                "--bike",
                "borage-twin",
                "--faults",
                "x.yaml",
                "--hear",
                "typed",
                "--say",
                "printed",
            ],
            &["prove", "prove-lamp", "--bike", "x.yaml"],
            &["prove", "prove-lamp", "--bike", "borage-twin", "--faults", "x.yaml"],
            &["rehearse", "x.yaml", "--bike", "borage-twin"],
            &["demo", "--story", "x.yaml"],
            &["enrol", "Ada", "--words", "x.yaml"],
        ] {
            let did = bench.run(arguments);
            if kind == "a folder" && arguments[0] == "check" {
                continue;
            }
            assert_eq!(did.code, Some(1), "{kind} {arguments:?} {}", did.said);
            let told = did.out + &did.said;
            assert!(told.contains("x.yaml") && told.contains(&named(kind, false)), "{kind} {arguments:?} {told}");
        }
    });
    assert!(!bench.path("sessions").exists(), "nothing was begun");
}

#[test]
fn a_recording_that_is_none() {
    if !hears() {
        return;
    }
    let bench = Bench::new();
    let place = bench.path("x.wav");
    each_kind(&bench, &place, |kind| {
        for arguments in [
            &["hear", "x.wav", "--expect", "light on"][..],
            &["walk", "prove-lamp", "--bike", "borage-twin", "--hear", "x.wav", "--say", "printed", "--into", "s"],
        ] {
            let did = bench.run(arguments);
            assert_eq!(did.code, Some(1), "{kind} {arguments:?} {}", did.said);
            assert!(did.said.contains("x.wav") && did.said.contains(&named(kind, false)), "{kind} {}", did.said);
            let _ = fs::remove_dir_all(bench.path("s"));
        }
    });
}

/// What the program keeps for itself: a voice is asked for and so is named; the noise preference is only a help.
#[test]
fn a_voice_and_a_cache_that_are_none() {
    if !hears() {
        return;
    }
    let bench = Bench::new();
    probeside::hear::write_wav(&bench.path("tone.wav"), &[0.1; 16_000], 16_000).unwrap();
    let hear = ["hear", "tone.wav", "--expect", "light on"];
    fs::create_dir_all(bench.path("voices")).unwrap();
    let voice = bench.path("voices/ada.voice");
    each_kind(&bench, &voice, |kind| {
        let did = bench.run(&[&hear[..], &["--voice-of", "Ada"]].concat());
        assert!(did.code == Some(1) && did.said.contains(&named(kind, false)), "{kind} {:?} {}", did.code, did.said);
    });
    fs::create_dir_all(bench.path("cache/probeside")).unwrap();
    let kept = bench.path("cache/probeside/noise-preference");
    each_kind(&bench, &kept, |kind| {
        let did = bench.run(&hear);
        assert_eq!(did.code, Some(0), "{kind} {}", did.said);
    });
}
