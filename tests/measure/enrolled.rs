//! Measures enrolment of one person's voice, and fits its weight.
//!
//! `cargo run --release --example enrolled -- digits DIR` scores real digits as a choice of ten, files named DIGIT_SPEAKER_TAKE.wav. Each
//! speaker is enrolled with takes 0 to 2 and tested on the rest, next to the same files without enrolment. `... -- fit` prints the mean log
//! loss of the right phrase over a grid of the weight and the neutral distance, on synthetic development speakers whose pitch and speed
//! vary from take to take, clean and in noise. The digits are not used for fitting.

#[path = "bounds.rs"]
mod bounds;

use bounds::share;
use probeside::hear::takes::grammar_of;
use probeside::hear::{Moonshine, PersonalVoice, Recogniser, Take, read_wav, resample::resample};
use probeside::phrase::{Stakes, Verdict, decide};
use probeside::rehearse::{Cast, Noise, mixed};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

const DIGITS: [&str; 10] = ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"];
/// Takes for enrolment. The rest are the test.
const LEARNT: std::ops::RangeInclusive<u32> = 0..=2;
/// Development speakers.
const SPEAKERS: [(&str, &str); 6] = [
    ("espeak-ng", "en-us"),
    ("espeak-ng", "en-gb+f2"),
    ("espeak-ng", "en-gb-scotland+m3"),
    ("espeak-ng", "en-us+f4"),
    ("flite", "kal16"),
    ("flite", "slt"),
];
/// Their phrases besides digits.
const PHRASES: [&str; 14] = [
    "light on",
    "light off",
    "stays dark",
    "stays lit",
    "on and off",
    "weak spark",
    "no spark",
    "strong spark",
    "say again",
    "go back",
    "skip this",
    "hold on",
    "take a note",
    "correct that",
];
/// Speed and pitch of the enrolled takes, and of the tested takes.
const LEARNT_AS: [(f32, f64); 3] = [(0.9, 1.0), (1.0, 1.03), (1.1, 0.97)];
const TESTED_AS: [(f32, f64); 2] = [(0.95, 0.94), (1.16, 1.05)];

fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    match args.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["fit"] => fit(),
        ["digits", folder] => digits(Path::new(folder)),
        _ => eprintln!("one of: fit, digits DIR"),
    }
}

/// Words, score without enrolment, distance to the takes.
type Rival = (String, f32, Option<f32>);

fn spoken(cast: &Cast, pitch: f64, words: &str) -> Vec<f32> {
    let sound = cast.say(words).expect("the voice speaks");
    resample(&sound, (16_000.0 * pitch) as u32, 16_000)
}

fn fit() {
    let phrases: Vec<String> = DIGITS.iter().chain(&PHRASES).map(|w| (*w).to_owned()).collect();
    let grammar = grammar_of(&phrases);
    let mut engine = Moonshine::open().expect("the model");
    let mut trials: Vec<(String, bool, Vec<Rival>)> = Vec::new();
    for (who, (program, voice)) in SPEAKERS.into_iter().enumerate() {
        let cast = |speed| Cast { program, voice, speed };
        let mut person = PersonalVoice::new(voice, engine.model());
        for words in &phrases {
            for (n, (speed, pitch)) in LEARNT_AS.into_iter().enumerate() {
                let sound = spoken(&cast(speed), pitch, words);
                let sound = mixed(&sound, Noise::Pink, None, &mut fastrand::Rng::with_seed((who * 100 + n) as u64));
                person.add(Take { words: words.clone(), shape: engine.shape(&sound).expect("a shape") });
            }
        }
        engine.use_voice(person).expect("a voice");
        for (at, words) in phrases.iter().enumerate() {
            for (n, (speed, pitch)) in TESTED_AS.into_iter().enumerate() {
                let voice = spoken(&cast(speed), pitch, words);
                for (m, snr) in [Some(20.0), Some(10.0), Some(5.0)].into_iter().enumerate() {
                    let noise = [Noise::Pink, Noise::Engine, Noise::Compressor][(at + n + m) % 3];
                    let sound = mixed(
                        &voice,
                        noise,
                        snr,
                        &mut fastrand::Rng::with_seed((at * 7919 + who * 31 + n * 3 + m) as u64),
                    );
                    let rivals = engine.compare(&sound, &grammar).expect("it hears");
                    trials.push((words.clone(), m == 0, rivals));
                }
            }
        }
        eprintln!("{program} {voice}");
    }
    println!("{} trials of {} speakers", trials.len(), SPEAKERS.len());
    println!("neutral  weight  log loss  best guess");
    for neutral in [0.30, 0.36, 0.42, 0.48] {
        for weight in [0.0, 5.0, 10.0, 15.0, 20.0, 30.0, 45.0, 60.0] {
            let (mut loss, mut right) = (0.0, 0);
            for (words, _, rivals) in &trials {
                let score = |r: &Rival| f64::from(r.1 + weight * r.2.map_or(0.0, |d| neutral - d));
                let all: Vec<f64> = rivals.iter().map(score).collect();
                let top = all.iter().copied().fold(f64::NEG_INFINITY, f64::max);
                let sum: f64 = all.iter().map(|s| (s - top).exp()).sum();
                let own = rivals.iter().zip(&all).find(|(r, _)| r.0 == *words).map_or(f64::NEG_INFINITY, |(_, s)| *s);
                loss -= (own - top - sum.ln()).max(-20.0) / trials.len() as f64;
                right += usize::from(own == top);
            }
            println!("{neutral:7.2}  {weight:6.0}  {loss:8.4}  {}", share(right, trials.len()));
        }
    }
}

struct Tally {
    right: usize,
    taken: usize,
    wrong: usize,
    all: usize,
}

fn digits(folder: &Path) {
    let phrases: Vec<String> = DIGITS.iter().map(|w| (*w).to_owned()).collect();
    let grammar = grammar_of(&phrases);
    let mut by: BTreeMap<String, Vec<(usize, u32, PathBuf)>> = BTreeMap::new();
    for entry in std::fs::read_dir(folder).expect("the folder can be read") {
        let path = entry.expect("an entry").path();
        let stem = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let parts: Vec<&str> = stem.split('_').collect();
        if let [digit, speaker, take] = parts[..]
            && let (Ok(digit), Ok(take)) = (digit.parse::<usize>(), take.parse::<u32>())
            && digit < 10
        {
            by.entry(speaker.to_owned()).or_default().push((digit, take, path));
        }
    }
    let mut everyone: Vec<(bool, Tally)> = Vec::new();
    for (speaker, mut files) in by {
        files.sort();
        for enrolled in [false, true] {
            let mut engine = Moonshine::open().expect("the model");
            if enrolled {
                let mut person = PersonalVoice::new(&speaker, engine.model());
                for (digit, _, path) in files.iter().filter(|f| LEARNT.contains(&f.1)) {
                    let sound = read_wav(path).expect("a recording");
                    person.add(Take { words: DIGITS[*digit].into(), shape: engine.shape(&sound).expect("a shape") });
                }
                engine.use_voice(person).expect("a voice");
            }
            let mut tally = Tally { right: 0, taken: 0, wrong: 0, all: 0 };
            for (digit, take, path) in files.iter().filter(|f| !LEARNT.contains(&f.1)) {
                let heard = engine.hear(&read_wav(path).expect("a recording"), &grammar).expect("it hears");
                let right = heard.best.first().is_some_and(|h| h.words == DIGITS[*digit]);
                tally.all += 1;
                tally.right += usize::from(right);
                if let Verdict::Accept { heard } = decide(&heard, Stakes::Low) {
                    let fits = heard.words == DIGITS[*digit];
                    tally.taken += usize::from(fits);
                    tally.wrong += usize::from(!fits);
                }
                if !right {
                    let best = heard.best.first().map_or("nothing", |h| h.words.as_str());
                    println!("  {speaker} {} take {take}, enrolled {enrolled}: {best}", DIGITS[*digit]);
                }
            }
            print(&format!("{speaker}, {}", if enrolled { "enrolled" } else { "not enrolled" }), &tally);
            everyone.push((enrolled, tally));
        }
    }
    for enrolled in [false, true] {
        let mine = || everyone.iter().filter(|e| e.0 == enrolled).map(|e| &e.1);
        let sum = |f: &dyn Fn(&Tally) -> usize| mine().map(f).sum::<usize>();
        let tally = Tally {
            right: sum(&|t| t.right),
            taken: sum(&|t| t.taken),
            wrong: sum(&|t| t.wrong),
            all: sum(&|t| t.all),
        };
        print(if enrolled { "everyone, enrolled" } else { "everyone, not enrolled" }, &tally);
    }
}

fn print(who: &str, t: &Tally) {
    println!(
        "{who}: best guess {}, taken and right {}, taken and wrong {}",
        share(t.right, t.all),
        share(t.taken, t.all),
        share(t.wrong, t.all)
    );
}
