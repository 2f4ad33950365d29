//! `probeside check` from end to end: sound files pass, each broken file in `tests/broken` yields the findings of its snapshot, and
//! malicious files are answered with a sentence.

use probeside::bike::EnglishWords;
use probeside::check::Reserved;
use probeside::commands::check::{CheckArgs, Spoken, run};
use proptest::prelude::*;
use std::path::{Path, PathBuf};

fn tests() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests")
}

/// Runs the check. Returns the exit code and the output, with paths relative to `tests`.
fn check(paths: &[PathBuf], bikes: &[PathBuf], json: bool) -> (u8, String) {
    let args = CheckArgs { paths: paths.to_vec(), bike: bikes.to_vec(), json };
    let taken = [("go back", "the command `back`"), ("no", "no"), ("it flickers", "the escape `flickers`")];
    let reserved = taken.map(|(words, meaning)| Reserved {
        words: words.into(),
        meaning: meaning.into(),
        always: meaning != "no",
    });
    let reserved = reserved.to_vec();
    let spoken = Spoken { reserved, words: &EnglishWords, vocabulary: &|_, _| Vec::new() };
    let mut out = Vec::new();
    let code = run(&args, &spoken, &mut out).unwrap();
    let text = String::from_utf8(out).unwrap();
    (code, text.replace(&format!("{}/", tests().display()), "").replace('\\', "/"))
}

fn bikes() -> Vec<PathBuf> {
    ["twin.yaml", "single.yaml"].map(|name| tests().join("sound").join(name)).to_vec()
}

fn broken() -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> =
        std::fs::read_dir(tests().join("broken")).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.retain(|path| path.extension().is_some_and(|end| end == "yaml"));
    files.sort();
    files
}

#[test]
fn sound_files_pass() {
    let (code, text) = check(&[tests().join("sound")], &bikes(), false);
    assert_eq!((code, text.as_str()), (0, "3 files: sound\n"));
}

#[test]
fn without_a_bike_it_says_what_was_not_tried() {
    let (code, text) = check(&[tests().join("sound/small.yaml")], &[], false);
    assert_eq!(code, 0);
    assert!(text.contains("warning [not-tried]") && text.contains("no bike was given"), "{text}");
}

#[test]
fn every_broken_file_gets_its_findings() {
    let files = broken();
    assert!(files.len() >= 25, "{} broken files", files.len());
    for file in files {
        let (code, text) = check(std::slice::from_ref(&file), &bikes(), false);
        let name = file.file_stem().unwrap().to_string_lossy().into_owned();
        let (errors, warnings) = (text.contains(": error ["), text.contains(": warning ["));
        assert_eq!(code, u8::from(errors), "{name}");
        assert!(errors || warnings, "{name}: nothing was found");
        insta::with_settings!({prepend_module_to_snapshot => false, snapshot_path => "broken", omit_expression => true}, {
            insta::assert_snapshot!(name, text);
        });
    }
}

#[test]
fn a_healthy_answer_written_as_bad_is_told() {
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures");
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder.path().join("faults")).unwrap();
    std::fs::copy(shipped.join("faults/ignition.yaml"), folder.path().join("faults/ignition.yaml")).unwrap();
    let text = std::fs::read_to_string(shipped.join("prove-lamp.yaml")).unwrap();
    let wrong = text.replacen("means: good", "means: neither", 1).replacen("means: bad", "means: good", 1);
    let wrong = wrong.replacen("means: neither", "means: bad", 1);
    let file = folder.path().join("prove-lamp.yaml");
    for (text, sound) in [(&text, true), (&wrong, false)] {
        std::fs::write(&file, text).unwrap();
        let (_, told) = check(std::slice::from_ref(&file), &bikes(), false);
        assert_eq!(told.contains("[healthy-answer]"), !sound, "{told}");
        assert!(sound || told.contains("gives the answer `lit`"), "{told}");
    }
}

#[test]
fn json_keeps_its_schema() {
    let (code, text) = check(&[tests().join("broken/limits-hole.yaml")], &bikes(), true);
    assert_eq!(code, 1);
    let object: serde_json::Value = serde_json::from_str(&text).unwrap();
    assert_eq!((object["schema"].as_str(), object["version"].as_u64()), (Some("probeside.check"), Some(1)));
    assert_eq!(object["sound"], false);
    assert_eq!(object["files"][0]["kind"], "procedure");
    assert_eq!(object["files"][0]["errors"], 1);
    let finding = &object["findings"][0];
    assert_eq!((finding["check"].as_str(), finding["line"].as_u64()), (Some("limits"), Some(37)));
    assert_eq!(finding["severity"], "error");
}

/// Checks bytes written to a file. Returns the exit code and the text.
fn check_bytes(name: &str, bytes: &[u8]) -> (u8, String) {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join(name);
    std::fs::write(&file, bytes).unwrap();
    let (code, text) = check(std::slice::from_ref(&file), &bikes(), false);
    (code, text.replace(&file.display().to_string(), name))
}

#[test]
fn files_made_to_do_harm_get_a_sentence() {
    let mut bomb = "procedure: bomb\na0: &a0 [x, x, x, x, x, x, x, x, x, x]\n".to_owned();
    for level in 1..12 {
        let before = format!("*a{}", level - 1);
        bomb += &format!("a{level}: &a{level} [{}]\n", vec![before; 10].join(", "));
    }
    let deep = format!("procedure: {}", "[".repeat(10_000));
    let nested: String = (0..10_000).map(|level| format!("{}a:\n", " ".repeat(level))).take(1_900).collect();
    let long_expression = std::fs::read_to_string(tests().join("sound/small.yaml"))
        .unwrap()
        .replace("\"size(bike.points) >= 1\"", &format!("\"1.0{} > 0.0\"", " + 1.0".repeat(400)));
    let utf16: Vec<u8> = "procedure: x\n".encode_utf16().flat_map(u16::to_le_bytes).collect();
    let all: [(&str, &[u8], &str); 9] = [
        ("bomb.yaml", bomb.as_bytes(), "over a limit"),
        ("deep.yaml", deep.as_bytes(), "[syntax]"),
        ("nested.yaml", nested.as_bytes(), "[syntax]"),
        ("small.yaml", long_expression.as_bytes(), "is an expression longer than"),
        ("utf16.yaml", &utf16, "UTF-16"),
        ("latin1.yaml", b"procedure: caf\xE9\n", "is not UTF-8"),
        ("nul.yaml", b"procedure: a\0b\n", "control byte 0x00"),
        ("binary.yaml", b"\x7FELF\x02\x01\x01\x00\x00", "not a text file"),
        ("empty.yaml", b"", "the file is empty"),
    ];
    for (name, bytes, sentence) in all {
        let (code, text) = check_bytes(name, bytes);
        assert_eq!(code, 1, "{name}: {text}");
        assert!(text.starts_with(name) && text.contains(sentence), "{name}: {text}");
    }
}

#[test]
fn a_file_of_100_mb_is_not_read() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("large.yaml");
    std::fs::File::create(&file).unwrap().set_len(100_000_000).unwrap();
    let before = most_memory();
    let (code, text) = check(&[file], &[], false);
    assert_eq!(code, 1);
    assert!(text.contains("larger than 2 MB"), "{text}");
    if let (Some(before), Some(after)) = (before, most_memory()) {
        assert!(after - before < 50_000, "{} kB more", after - before);
    }
}

/// The peak memory of this process, kB, if the system reports it (proc(5), VmHWM).
fn most_memory() -> Option<u64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    status.lines().find_map(|line| line.strip_prefix("VmHWM:"))?.trim().split(' ').next()?.parse().ok()
}

#[test]
fn folders_and_missing_files_get_a_sentence() {
    let folder = tempfile::tempdir().unwrap();
    let (code, text) = check(&[folder.path().to_owned(), folder.path().join("none.yaml")], &[], false);
    assert_eq!(code, 1);
    assert!(text.contains("this is a folder") && text.contains("there is no such file"), "{text}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    #[test]
    fn any_bytes_get_a_sentence(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        let (code, text) = check_bytes("any.yaml", &bytes);
        prop_assert_eq!(code, 1);
        prop_assert!(text.starts_with("any.yaml"), "{}", text);
    }

    #[test]
    fn a_spoilt_line_never_panics(line in 0usize..120, with in "[-a-z:\\[\\]{}&*!|>'\"#,0-9?%@`<~. ]{0,30}", depth in 0usize..8) {
        let text = std::fs::read_to_string(tests().join("sound/small.yaml")).unwrap();
        let spoilt: Vec<String> = text.lines().enumerate().map(|(at, old)| match at == line {
            true => format!("{}{with}", " ".repeat(depth)),
            false => old.to_owned(),
        }).collect();
        let (code, text) = check_bytes("small.yaml", spoilt.join("\n").as_bytes());
        prop_assert!(code == 0 || text.contains("error ["), "{}", text);
    }

    /// A kind of part or a bike with a spoilt line, or cut short, is loaded or told about; what loads can be laid out as a circuit.
    #[test]
    fn a_spoilt_part_or_bike_never_panics(
        file in 0usize..1000, line in 0usize..60, keep in 0usize..60,
        with in "[-a-z_:\\[\\]{}&*!|>'\"#,0-9?%@`<~. ]{0,40}",
    ) {
        let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures");
        let in_folder = |name: &str| std::fs::read_dir(shipped.join(name)).unwrap().map(|entry| entry.unwrap().path());
        let mut files: Vec<PathBuf> = in_folder("parts").chain(in_folder("bikes")).collect();
        files.sort();
        let file = &files[file % files.len()];
        let text = std::fs::read_to_string(file).unwrap();
        let line = line % text.lines().count();
        let spoilt: Vec<String> = text.lines().enumerate().map(|(at, old)| match at == line {
            true => format!("{}{with}", old.chars().take(keep).collect::<String>()),
            false => old.to_owned(),
        }).collect();
        let (spoilt, name) = (spoilt.join("\n"), file.file_name().unwrap().to_string_lossy());
        if file.parent().unwrap().ends_with("parts") {
            let mut catalogue = probeside::parts::Catalogue::default();
            prop_assert!(catalogue.add(&spoilt, &name).is_ok() || catalogue.names().is_empty());
        } else if let Ok(bike) = probeside::bike::parse(&spoilt, &name) {
            probeside::check::bike(&bike);
            probeside::bike::as_value(&bike, &EnglishWords);
            let state = probeside::bike::BikeState::default();
            prop_assert!(probeside::circuit::Model::new(&bike).wiring(&state, &Default::default()).is_ok());
        }
    }
}
