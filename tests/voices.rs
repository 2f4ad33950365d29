//! Voices through the command line: a rehearsal, one person's voice, the sound check on a machine without sound, and strangers in the walk.
//! A test that needs the speech model or espeak-ng says that it is skipped if that is missing, unless PROBESIDE_MUST is set.

mod support;

use probeside::hear::write_wav;
use probeside::phrase::Verdict;
use probeside::session::Record;
use probeside::speak::{Espeak, Voice};
use probeside::walk::Event;
use serde_json::Value;
use std::path::Path;
use std::process::{Command, Output};
use support::stage::{Stage, world};

fn probeside(voices: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_probeside"))
        .args(arguments)
        .env("PROBESIDE_PROCEDURES", support::stage::procedures())
        .env("PROBESIDE_VOICES", voices)
        .output()
        .expect("the program runs")
}

fn told(out: &Output) -> String {
    format!("{}\n{}", String::from_utf8_lossy(&out.stdout), String::from_utf8_lossy(&out.stderr))
}

/// Whether the model and the voice are available. Says what is missing.
fn ready() -> bool {
    let model = probeside::hear::models::find().map(drop).map_err(|e| e.to_string());
    let voice = Espeak::new("en").synthesise("ready", 1.0).map(drop).map_err(|e| e.to_string());
    match model.and(voice) {
        Ok(()) => true,
        Err(why) => {
            assert!(std::env::var_os("PROBESIDE_MUST").is_none(), "{why}");
            eprintln!("left out: {why}");
            false
        }
    }
}

fn stranger(stage: &mut Stage) {
    let listen = stage.listen.as_ref().expect("it listens").id;
    stage.mark = stage.said.len();
    let verdict = Verdict::Reject { free: Some("and now the weather".into()), stranger: true };
    stage.give(Event::Heard { listen, verdict, begin: 16_000, end: 40_000, clip: None });
}

fn waits_for_strangers(stage: &Stage) -> bool {
    stage.records.iter().any(|r| matches!(r, Record::Interrupted { what, .. } if what == "strangers"))
}

#[test]
fn after_two_strangers_the_walk_says_once_that_it_waits_and_then_is_silent() {
    let mut stage = Stage::new(world("no-spark", "borage-twin"));
    for answer in ["it stopped on the road", "ready", "ready"] {
        stage.answer(answer);
    }
    let two = |stage: &mut Stage| {
        let first = stage.now_ms;
        stranger(stage);
        stage.now_ms = first + 19_000;
        stranger(stage);
    };
    two(&mut stage);
    assert!(waits_for_strangers(&stage));
    let said = stage.said_since();
    assert!(said.contains("somebody else") && said.contains("air is clear"), "{said}");
    stranger(&mut stage);
    assert_eq!(stage.said_since(), "", "nobody is answered while it waits");
    // An answer of the step is asked back, and ends the pause.
    stage.answer("air is clear");
    assert!(stage.said_since().contains("Did you say no petrol in the air?"), "{}", stage.said_since());
    stage.answer("no");
    two(&mut stage);
    assert_eq!(stage.said_since(), "", "it is said once");
    stage.answer("smells of petrol");
    stage.answer("yes");
    assert_eq!(stage.walker.place().0, "air-out");
    stage.restart(1_000);
    let mut stage = Stage::new(world("no-spark", "borage-twin"));
    let first = stage.now_ms;
    stranger(&mut stage);
    stage.now_ms = first + 19_000;
    stranger(&mut stage);
    stage.answer("carry on");
    assert!(stage.said_since().contains("oing on"), "{}", stage.said_since());
}

#[test]
fn strangers_far_apart_and_typing_do_not_stop_the_walk() {
    let mut stage = Stage::new(world("no-spark", "borage-twin"));
    let first = stage.now_ms;
    stranger(&mut stage);
    stage.now_ms = first + 21_000;
    stranger(&mut stage);
    stage.answer("gibberish of nobody");
    stage.answer("gibberish of nobody");
    assert!(!waits_for_strangers(&stage));
}

#[test]
fn a_voice_is_learnt_used_and_forgotten() {
    if !ready() {
        return;
    }
    let folder = tempfile::tempdir().expect("a folder");
    let (takes, voices) = (folder.path().join("takes"), folder.path().join("voices"));
    std::fs::create_dir(&takes).expect("a folder");
    let say = |words: &str, speed: f32, file: &Path| {
        let pcm = Espeak::new("en-us").synthesise(words, speed).expect("it speaks");
        let mut sound = vec![0.0; pcm.rate as usize / 4];
        sound.extend_from_slice(&pcm.samples);
        sound.extend(vec![0.0; pcm.rate as usize / 4]);
        write_wav(file, &sound, pcm.rate).expect("it is written");
    };
    for (n, speed) in [0.9, 1.0, 1.1].into_iter().enumerate() {
        say("light on", speed, &takes.join(format!("light-on_{n}.wav")));
        say("stays dark", speed, &takes.join(format!("stays-dark_{n}.wav")));
    }
    say("stays dark", 1.0, &takes.join("light-on_9.wav"));
    write_wav(&takes.join("stays-dark_8.wav"), &[0.0; 16_000], 16_000).expect("it is written");
    std::fs::write(takes.join("stays-dark_7.wav"), "no sound").expect("it is written");
    std::fs::write(takes.join("notes.wav"), "no sound").expect("it is written");

    let from = takes.display().to_string();
    let out = probeside(&voices, &["enrol", "Ada", "--from", &from]);
    assert_eq!(out.status.code(), Some(1), "four files are of no use: {}", told(&out));
    let said = told(&out);
    assert!(said.contains("6 takes of 2 phrases"), "{said}");
    for wanted in ["light-on_9.wav", "nobody speaks", "not a WAV file", "notes.wav: name it"] {
        assert!(said.contains(wanted), "{wanted}: {said}");
    }

    let test = folder.path().join("test.wav");
    say("stays dark", 0.95, &test);
    let test = test.display().to_string();
    let expect = "light on|light off|stays dark";
    let out = probeside(&voices, &["hear", &test, "--expect", expect, "--voice-of", "ada", "--json"]);
    assert_eq!(out.status.code(), Some(0), "{}", told(&out));
    let heard: Value = serde_json::from_slice(&out.stdout).expect("JSON");
    assert_eq!((&heard["answer"], &heard["verdict"]), (&"stays dark".into(), &"accept".into()), "{heard}");

    let out = probeside(&voices, &["enrol", "ada", "--forget"]);
    assert_eq!(out.status.code(), Some(0), "{}", told(&out));
    let out = probeside(&voices, &["hear", &test, "--expect", expect, "--voice-of", "ada"]);
    assert_eq!(out.status.code(), Some(1), "{}", told(&out));
    assert!(told(&out).contains("probeside enrol"), "{}", told(&out));
    assert_eq!(std::fs::read_dir(&voices).expect("the folder").count(), 0);
}

#[test]
fn names_that_lead_out_of_the_folder_are_wrong_usage() {
    let folder = tempfile::tempdir().expect("a folder");
    for name in ["../ada", "..", "a/b", ""] {
        let out = probeside(folder.path(), &["enrol", name, "--forget"]);
        assert_eq!(out.status.code(), Some(2), "{name}: {}", told(&out));
    }
    let out = probeside(folder.path(), &["enrol", "nobody", "--forget"]);
    assert_eq!(out.status.code(), Some(1), "{}", told(&out));
}

/// Two answers that sound identical to everybody must be found.
#[test]
fn a_rehearsal_finds_answers_that_sound_the_same() {
    if !ready() {
        return;
    }
    let folder = tempfile::tempdir().expect("a folder");
    let text = std::fs::read_to_string("tests/rehearsal/same-sound.yaml").expect("the procedure");
    let procedure = folder.path().join("same-sound.yaml");
    std::fs::write(&procedure, text).expect("it is written");
    let procedure = procedure.display().to_string();
    let run = |step: &str| {
        let arguments =
            ["rehearse", &procedure, "--bike", "borage-twin", "--step", step, "--quick", "--snr", "clean", "--json"];
        let out = probeside(folder.path(), &arguments);
        let report: Value = serde_json::from_slice(&out.stdout).unwrap_or_else(|e| panic!("{e}: {}", told(&out)));
        (out.status.code(), report)
    };
    let (code, report) = run("same");
    assert_eq!((code, &report["sound"]), (Some(1), &false.into()), "{report:#}");
    let pair = &report["pairs"][0];
    let words = [&pair["said"], &pair["heard"]].map(|w| w.as_str().unwrap_or_default().to_owned());
    assert!(words.contains(&"the right one".to_owned()) && words.contains(&"the write one".to_owned()), "{pair:#}");
    assert!(pair["why"].as_str().is_some_and(|w| w.contains("same sounds")), "{pair:#}");
    let (code, report) = run("apart");
    assert_eq!((code, &report["sound"]), (Some(0), &true.into()), "{:#}", report["pairs"]);
    let out = probeside(folder.path(), &["rehearse", &procedure, "--bike", "borage-twin", "--step", "nowhere"]);
    assert_eq!(out.status.code(), Some(1));
    assert!(told(&out).contains("`nowhere`"), "{}", told(&out));
}

#[test]
fn a_sound_check_without_sound_says_what_is_missing() {
    let nowhere = tempfile::tempdir().expect("a folder");
    let out = Command::new(env!("CARGO_BIN_EXE_probeside"))
        .args(["soundcheck", "--json", "--no-voice", "--no-tone"])
        .env("PULSE_SERVER", format!("unix:{}", nowhere.path().join("none").display()))
        .env("ALSA_CONFIG_PATH", nowhere.path().join("none.conf"))
        .env("PROBESIDE_MODELS", nowhere.path())
        .output()
        .expect("the program runs");
    assert_eq!(out.status.code(), Some(3), "{}", told(&out));
    let sheet: Value = serde_json::from_slice(&out.stdout).expect("JSON");
    assert_eq!((&sheet["schema"], &sheet["ready"]), (&"probeside.soundcheck".into(), &false.into()));
    let said = String::from_utf8_lossy(&out.stderr);
    assert!(said.contains("models/setup"), "{said}");
    assert!(said.contains("microphone"), "{said}");
}
