//! The real program on a machine with problems: output that cannot be written, readers that go away, few file handles, little memory,
//! damaged model files, and data that would control a screen. It always ends with a sentence and one of the four exit codes, never with a
//! panic or an abort.
#![cfg(unix)]

use std::fs::{self, File, OpenOptions};
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

mod support;

fn here() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn sound_bike() -> String {
    here().join("tests/sound/twin.yaml").display().to_string()
}

fn program(args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_probeside"));
    command.args(args).stdin(Stdio::null());
    command.env("PROBESIDE_PROCEDURES", here().join("procedures"));
    command
}

/// The program under a shell limit (`ulimit LIMIT`).
fn limited(limit: &str, args: &[&str]) -> Command {
    let mut command = Command::new("sh");
    let script = format!("ulimit {limit} && exec \"$0\" \"$@\"");
    command.args(["-c", &script, env!("CARGO_BIN_EXE_probeside")]).args(args).stdin(Stdio::null());
    command.env("PROBESIDE_PROCEDURES", here().join("procedures"));
    command
}

fn done(mut command: Command) -> (i32, String, String) {
    let Output { status, stdout, stderr } = command.output().expect("it starts");
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    let (out, err) = (text(&stdout), text(&stderr));
    let code = status.code().unwrap_or_else(|| panic!("{status}: {err}"));
    assert!((0..=3).contains(&code) && !err.contains("panicked"), "{code}: {err}");
    (code, out, err)
}

/// Commands with output: words, JSON lines, one JSON object, a drawing, a table, help.
fn that_print() -> Vec<Vec<String>> {
    let bike = sound_bike();
    let small = here().join("tests/sound/small.yaml").display().to_string();
    let all: Vec<Vec<&str>> = vec![
        vec!["reckon"],
        vec!["reckon", "--json"],
        vec!["reckon", "voltage-drop", "4", "0.05"],
        vec!["check", &bike],
        vec!["check", "--json", &bike],
        vec!["draw", &small, "--svg", "-"],
        vec!["--help"],
        vec!["--version"],
    ];
    all.iter().map(|args| args.iter().map(|arg| (*arg).to_owned()).collect()).collect()
}

fn strs(args: &[String]) -> Vec<&str> {
    args.iter().map(String::as_str).collect()
}

#[test]
fn output_that_cannot_be_written_is_a_sentence_and_a_failure() {
    for args in that_print() {
        let mut command = program(&strs(&args));
        command.stdout(OpenOptions::new().write(true).open("/dev/full").expect("/dev/full"));
        let (code, _, err) = done(command);
        assert_eq!(code, 1, "{args:?}: {err}");
        assert!(err.contains("The output is not whole") && err.contains("No space left"), "{args:?}: {err}");
    }
}

#[test]
fn a_reader_that_has_gone_away_is_no_fault() {
    for args in that_print() {
        let (reader, writer) = std::io::pipe().expect("a pipe");
        drop(reader);
        let mut command = program(&strs(&args));
        command.stdout(writer);
        assert_eq!(done(command), (0, String::new(), String::new()), "{args:?}");
    }
}

#[test]
fn hear_and_demo_end_quietly_when_nobody_reads() {
    if !has_model() {
        return;
    }
    let clip = here().join("models/known-clip.wav").display().to_string();
    let into = tempfile::tempdir().expect("a folder");
    let record = into.path().join("record").display().to_string();
    for args in [
        vec!["hear", "--expect", "it was the best of times", &clip, &clip],
        vec!["hear", "--json", "--expect", "it was the best of times", &clip],
        vec!["demo", "--into", &record],
    ] {
        let (reader, writer) = std::io::pipe().expect("a pipe");
        drop(reader);
        let mut command = program(&args);
        command.stdout(writer);
        let (code, _, err) = done(command);
        assert_eq!(code, 0, "{args:?}: {err}");
        assert!(!err.contains("roken pipe") && !err.contains("cannot be printed"), "{args:?}: {err}");
    }
}

#[test]
fn complaints_that_cannot_be_written_change_nothing() {
    let mut command = program(&["check", "/nowhere/x.yaml", "--json"]);
    command.stderr(OpenOptions::new().write(true).open("/dev/full").expect("/dev/full"));
    assert_eq!(done(command).0, 1);
    let (reader, writer) = std::io::pipe().expect("a pipe");
    drop(reader);
    let mut command = program(&["walk", "nothing", "--bike", "nothing", "--hear", "typed", "--say", "printed"]);
    command.stderr(writer);
    assert_eq!(done(command).0, 1);
    let mut command = program(&["no-such-command"]);
    command.stderr(OpenOptions::new().write(true).open("/dev/full").expect("/dev/full"));
    assert_eq!(done(command).0, 2);
}

/// ESC, the single character that starts a control sequence (U+009B), a bell, a carriage return, and marks that change the writing
/// direction.
const HOSTILE: &str = "\u{1b}[31m\u{9b}2J\u{7}\r\u{202e}\u{2066}\u{200f}";

fn is_harmless(text: &str) -> bool {
    !text.contains(|c: char| probeside::source::is_hidden(c) && c != '\n')
}

#[test]
fn what_a_screen_would_obey_is_shown_instead() {
    let folder = tempfile::tempdir().expect("a folder");
    // In YAML's double quotes any character can be written without being in the file itself.
    let yaml: String = HOSTILE.chars().map(|c| format!("\\U{:08x}", u32::from(c))).collect();
    let text = fs::read_to_string(sound_bike()).expect("a bike");
    let name = text.lines().find(|line| line.starts_with("bike:")).expect("a name");
    let hostile = text.replace(name, &format!("bike: \"Nettle{yaml}\"")).replace("volt: ", "volts: ");
    let file = folder.path().join(format!("a{HOSTILE}\nb.yaml"));
    fs::write(&file, hostile).expect("written");
    let path = file.display().to_string();
    for args in [
        vec!["check", &path],
        vec!["check", "--json", &path],
        vec!["walk", &path, "--bike", &path, "--hear", "typed", "--say", "printed"],
        vec!["prove", &path, "--bike", &path],
        vec!["draw", &path, "--svg", "-"],
        vec!["verify", &path],
        vec!["review", &path],
        vec!["reckon", HOSTILE],
        vec![HOSTILE],
        vec!["hear", "--expect", HOSTILE, &path],
    ] {
        let (code, out, err) = done(program(&args));
        assert_ne!(code, 0, "{args:?}");
        assert!(is_harmless(&out) && is_harmless(&err), "{args:?}:\n{out:?}\n{err:?}");
    }
    let (_, out, _) = done(program(&["check", "--json", &path]));
    let told: serde_json::Value = serde_json::from_str(&out).expect("JSON");
    assert_eq!(told["files"][0]["file"], path.as_str());
    assert!(out.contains("\\u202e") && out.contains("\\u001b"), "{out}");
    // The output is one line, whatever the file's name.
    let (_, out, _) = done(program(&["check", &path]));
    assert!(out.lines().next().is_some_and(|line| line.contains("\\u{1b}[31m") && line.contains("b.yaml:")), "{out}");
}

/// A walk of a procedure with hostile words prints them harmlessly, and its record shows them harmlessly.
#[test]
fn a_walks_prompts_and_its_review_are_harmless() {
    let folder = tempfile::tempdir().expect("a folder");
    let yaml: String = HOSTILE.chars().map(|c| format!("\\U{:08x}", u32::from(c))).collect();
    let text = fs::read_to_string(here().join("tests/sound/small.yaml")).expect("a procedure");
    let title = text.lines().find(|line| line.starts_with("title:")).expect("a title");
    let file = folder.path().join("small.yaml");
    fs::write(&file, text.replace(title, &format!("title: \"Nettle{yaml}\""))).expect("written");
    let record = folder.path().join("record").display().to_string();
    let path = file.display().to_string();
    let args = ["walk", &path, "--bike", &sound_bike(), "--into", &record, "--faults", "none"];
    let person = format!("A{HOSTILE}B");
    let (code, out, err) = support::typed::typed(&[&args[..], &["--person", &person]].concat(), "done\n");
    assert!(Path::new(&record).is_dir(), "{code:?}: {err}");
    assert!(is_harmless(&out) && is_harmless(&err), "{out:?}\n{err:?}");
    for args in [vec!["review", &record], vec!["review", "--json", &record], vec!["verify", &record]] {
        let (_, out, err) = done(program(&args));
        assert!(is_harmless(&out) && is_harmless(&err), "{args:?}: {out:?}\n{err:?}");
    }
}

#[test]
fn words_are_wrapped_where_a_terminal_reads_them() {
    let Ok(script) = Command::new("script").arg("--version").output() else {
        return eprintln!("skipped: script (util-linux) is not on this machine");
    };
    assert!(script.status.success());
    let line = format!("stty cols 40 rows 24 && '{}' reckon voltage-drop", env!("CARGO_BIN_EXE_probeside"));
    let seen =
        Command::new("script").args(["-qec", &line, "/dev/null"]).stdin(Stdio::null()).output().expect("it runs");
    let seen = String::from_utf8_lossy(&seen.stdout).replace("\r\n", "\n");
    let (code, piped, _) = done(program(&["reckon", "voltage-drop"]));
    assert_eq!(code, 0);
    assert!(piped.lines().any(|line| line.chars().count() > 60), "{piped}");
    let wide = seen.lines().filter(|line| line.contains(' ') && line.chars().count() > 40 && !line.contains("://"));
    assert_eq!(wide.count(), 0, "{seen}");
    let words = |text: &str| text.split_whitespace().map(str::to_owned).collect::<Vec<_>>();
    assert_eq!(words(&seen), words(&piped));
}

#[test]
fn few_file_handles_are_a_sentence_that_says_what_to_do() {
    let bike = sound_bike();
    let folder = tempfile::tempdir().expect("a folder");
    for handles in [8, 10, 12, 16, 20, 24, 32, 40, 47] {
        let record = folder.path().join(format!("record-{handles}")).display().to_string();
        for args in [
            vec!["check", &bike],
            vec!["walk", "no-spark", "--bike", "borage-twin", "--hear", "typed", "--say", "printed", "--into", &record],
        ] {
            let (code, _, err) = done(limited(&format!("-n {handles}"), &args));
            if code == 3 {
                assert!(err.contains("ulimit -n"), "{handles}: {err}");
            } else {
                assert!(handles > 40, "{handles}: {args:?} began");
            }
        }
    }
    assert_eq!(done(limited("-n 64", &["check", &bike])).0, 0);
}

#[test]
fn little_memory_is_a_sentence_that_says_what_to_do() {
    let bike = sound_bike();
    let clip = here().join("models/known-clip.wav").display().to_string();
    let folder = tempfile::tempdir().expect("a folder");
    let record = folder.path().join("record").display().to_string();
    for kilobytes in [60_000, 150_000, 600_000, 1_200_000, 1_900_000] {
        for args in [
            vec!["check", &bike],
            vec!["prove", "points", "--bike", "dill-single"],
            vec!["hear", "--expect", "it was the best of times", &clip],
            vec!["demo", "--into", &record],
        ] {
            let mut command = limited(&format!("-v {kilobytes}"), &args);
            let output = command.output().expect("it starts");
            let err = String::from_utf8_lossy(&output.stderr).into_owned();
            let code = output.status.code();
            assert!(code.is_some_and(|code| code <= 3), "{kilobytes}: {args:?}: {:?}: {err}", output.status);
            assert!(!err.contains("panicked"), "{kilobytes}: {args:?}: {err}");
            if code == Some(3) {
                assert!(err.contains("memory") || err.contains("models/setup"), "{kilobytes}: {args:?}: {err}");
            }
        }
    }
}

fn models() -> PathBuf {
    here().join("models/cache")
}

fn has_model() -> bool {
    let there = models().join("moonshine-tiny-en/tokenizer.bin").is_file();
    if !there {
        eprintln!("skipped: the speech model is not on this machine; run models/setup");
    }
    there
}

/// A copy of the model's files, as links, with `spoil` applied to one of them.
fn spoilt(name: &str, spoil: impl Fn(&mut Vec<u8>)) -> tempfile::TempDir {
    let copy = tempfile::tempdir().expect("a folder");
    for set in ["moonshine-tiny-en", "onnxruntime", "silero-vad"] {
        fs::create_dir(copy.path().join(set)).expect("made");
        for entry in fs::read_dir(models().join(set)).expect("a set") {
            let from = entry.expect("a file").path();
            let to = copy.path().join(set).join(from.file_name().expect("a name"));
            if from.ends_with(name) {
                let mut bytes = fs::read(&from).expect("read");
                spoil(&mut bytes);
                fs::write(&to, bytes).expect("written");
            } else {
                std::os::unix::fs::symlink(&from, &to).expect("linked");
            }
        }
    }
    copy
}

#[test]
fn damaged_model_files_are_refused_with_the_command_that_mends_them() {
    if !has_model() {
        return;
    }
    let clip = here().join("models/known-clip.wav").display().to_string();
    let halved = |bytes: &mut Vec<u8>| bytes.truncate(bytes.len() / 2);
    let not_numbers = |bytes: &mut Vec<u8>| {
        let middle = bytes.len() / 2;
        bytes[middle..middle + 40_000].as_chunks_mut::<4>().0.fill(f32::NAN.to_le_bytes());
    };
    let one_bit = |bytes: &mut Vec<u8>| {
        let middle = bytes.len() / 2;
        bytes[middle] ^= 1;
    };
    let cache = tempfile::tempdir().expect("a folder");
    let hear = |models: &Path| {
        let mut command = program(&["hear", "--expect", "it was the best of times", &clip]);
        command.env("PROBESIDE_MODELS", models).env("XDG_CACHE_HOME", cache.path());
        done(command)
    };
    for name in ["libonnxruntime.so.1.24.4", "encoder_model.ort", "decoder_model_merged.ort", "tokenizer.bin"] {
        for (how, spoil) in
            [("halved", &halved as &dyn Fn(&mut Vec<u8>)), ("not numbers", &not_numbers), ("one bit", &one_bit)]
        {
            if name == "tokenizer.bin" && how == "not numbers" {
                continue;
            }
            let (code, _, err) = hear(spoilt(name, spoil).path());
            assert_eq!(code, 3, "{name}, {how}: {err}");
            assert!(err.contains(name) && err.contains("./models/setup --verify"), "{name}, {how}: {err}");
        }
    }
    let network = "silero_vad_16k_sequence.onnx";
    let (code, _, err) = hear(spoilt(network, halved).path());
    assert!(code == 3 && err.contains(network), "{err}");
    let (code, out, err) = hear(&models());
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    assert!(out.contains("accept: it was the best of times"), "{out}");
}

#[test]
fn a_log_that_cannot_be_written_is_no_fault() {
    let mut command = program(&["check", &sound_bike()]);
    command.env("PROBESIDE_LOG", "trace").stderr(File::create("/dev/full").expect("/dev/full"));
    assert_eq!(done(command).0, 0);
}
