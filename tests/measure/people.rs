//! Real people (`recorded.rs`): the numbers they say, as trials like those of other voices, and all else that real speakers say as strangers to a
//! waiting step.

use crate::bounds::share;
use crate::found;
use crate::noises::{self, Random, Scene, extent, place_amid};
use crate::recorded::{SPEAKER, folder};
use crate::report;
use crate::shipped;
use crate::spread::spread;
use crate::trials::{self, RATIOS, Side};
use probeside::hear::{Moonshine, Recogniser, SAMPLE_RATE, read_wav};
use probeside::phrase::{Answer, Stakes, Verdict, Vocabulary, decide};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

/// Files that hold no voice, or words that a step may allow, by how their path goes: English numbers, "no", tones and noises.
const LEFT_OUT: [&str; 6] = ["silence/", "beep", "tone.", "-tone", "monkeys.", "vm-no."];
/// Active speech level of a stranger as near as the person who walks, decibels of full scale.
const NEAR: f32 = -26.0;

/// A recording of a stranger, with the name of its speaker.
struct Stranger {
    speaker: String,
    file: PathBuf,
}

fn files_below(folder: &Path, out: &mut Vec<PathBuf>) {
    for path in std::fs::read_dir(folder).into_iter().flatten().flatten().map(|e| e.path()) {
        match path.is_dir() {
            true => files_below(&path, out),
            false => out.push(path),
        }
    }
}

fn all_strangers(folder: &Path) -> Vec<Stranger> {
    let mut files = Vec::new();
    files_below(folder, &mut files);
    files.sort();
    let of = |file: PathBuf| {
        let below = file.strip_prefix(folder).ok()?;
        let speaker = below.components().next()?.as_os_str().to_string_lossy().into_owned();
        let name = below.to_string_lossy().into_owned();
        let number = speaker == SPEAKER && name.contains("/digits/");
        (name.ends_with(".wav") && !number && !LEFT_OUT.iter().any(|part| name.contains(part)))
            .then_some(Stranger { speaker, file })
    };
    files.into_iter().filter_map(of).collect()
}

/// What became of a speaker's utterances.
#[derive(Default)]
struct Tally {
    utterances: usize,
    branches: usize,
    controls: usize,
    asked: usize,
}

/// Plays what real speakers say to waiting steps, each recording at one of them, in the noises of the test, and prints what was made of it.
fn strangers(folder: &Path, amount: f64) {
    let listens: Vec<_> = shipped::listens().into_iter().filter(|l| !l.grammar.note).collect();
    let elsewhere = shipped::elsewhere();
    let all = all_strangers(folder);
    let count = (all.len() as f64 * amount).ceil() as usize;
    let begin = || {
        let mut engine = Moonshine::open().expect("the model");
        engine.use_words(Vocabulary::english(), &elsewhere);
        engine
    };
    let tallies: Mutex<BTreeMap<String, Tally>> = Mutex::default();
    spread(count, begin, |engine, at| {
        let stranger = &all[(at as f64 / amount) as usize % all.len()];
        let mut random = Random::new(at as u64 + 301);
        let noise = noises::FOR_TESTING[random.below(noises::FOR_TESTING.len())];
        let scene = Scene { noise, snr: RATIOS[random.below(RATIOS.len())], level: NEAR };
        let Some(sound) = read_wav(&stranger.file).ok().filter(|s| extent(s).is_some()) else { return true };
        let sound = place_amid(&sound, scene, SAMPLE_RATE, &mut random);
        for utterance in found::whole(&sound) {
            let listening = &listens[random.below(listens.len())];
            let heard = engine.hear(&utterance.sound, &listening.grammar).expect("it hears");
            let stakes = heard.best.first().map_or(Stakes::Low, |h| listening.stakes(&h.answer));
            let verdict = decide(&heard, stakes);
            let mut tallies = tallies.lock().expect("no thread fails");
            for name in [stranger.speaker.as_str(), "all"] {
                let tally = tallies.entry(name.to_owned()).or_default();
                tally.utterances += 1;
                match &verdict {
                    Verdict::Accept { heard } if matches!(heard.answer, Answer::Command(_)) => tally.controls += 1,
                    Verdict::Accept { .. } => tally.branches += 1,
                    Verdict::Confirm { .. } => tally.asked += 1,
                    Verdict::Reject { .. } => {}
                }
            }
            if let Verdict::Accept { heard: taken } = &verdict {
                let free = heard.free.as_deref().unwrap_or("");
                println!(
                    "taken: {} for {:?} {:.4}, {scene:?}, free {free:?}",
                    stranger.file.display(),
                    taken.words,
                    taken.probability
                );
            }
        }
        true
    });
    println!("-- real strangers, {count} recordings");
    for (name, t) in tallies.into_inner().expect("no thread failed") {
        println!("{name}: {} utterances", t.utterances);
        println!("    taken for an answer  {}", share(t.branches, t.utterances));
        println!("    taken for a control  {}", share(t.controls, t.utterances));
        println!("    asked about          {}", share(t.asked, t.utterances));
    }
}

/// Both tables.
pub fn run(amount: f64, minutes: f64) {
    report::print(&trials::run_treated(Side::People, amount, minutes, found::FOUND));
    match folder() {
        Some(folder) => strangers(&folder, amount),
        None => {
            println!("no recordings here: tests/measure/people.sh DIR fetches them, PROBESIDE_PEOPLE=DIR names them")
        }
    }
}
