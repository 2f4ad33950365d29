//! Real people (`recorded.rs`): their numbers, as trials like those of other voices, and everything else they say, as strangers to a
//! waiting step.

use crate::bounds::share;
use crate::found;
use crate::noises::{self, Random, Scene, extent, place_amid};
use crate::recorded::{SPEAKER, folder};
use crate::report;
use crate::shipped;
use crate::spread::spread;
use crate::trials::{self, Again, Kind, RATIOS, Side, Trial, heard_as};
use probeside::hear::{SAMPLE_RATE, read_wav};
use probeside::phrase::{Answer, Verdict};
use std::path::{Path, PathBuf};
use std::sync::Mutex;

/// Files without a voice, or with words that a step may allow, by path: English numbers, "no", tones and noises.
const LEFT_OUT: [&str; 6] = ["silence/", "beep", "tone.", "-tone", "monkeys.", "vm-no."];
/// Active speech level of a stranger as close as the user, decibels of full scale.
const NEAR: f32 = -26.0;

/// A stranger's recording, with the speaker's name.
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

/// What real speakers say to waiting steps. The voice activity detection finds each recording in one of the test's noises, and every
/// utterance is recognised at one step.
fn strangers(folder: &Path, amount: f64) -> Vec<Trial> {
    let listens: Vec<_> = shipped::listens().into_iter().filter(|l| !l.grammar.note).collect();
    let elsewhere = shipped::elsewhere();
    let all = all_strangers(folder);
    let trials: Mutex<Vec<Trial>> = Mutex::default();
    let begin = || shipped::engine(None, &elsewhere);
    spread((all.len() as f64 * amount).ceil() as usize, begin, |engine, at| {
        let Stranger { speaker, file } = &all[(at as f64 / amount) as usize % all.len()];
        let mut random = Random::new(at as u64 + 301);
        let noise = noises::FOR_TESTING[random.below(noises::FOR_TESTING.len())];
        let scene = Scene { noise, snr: RATIOS[random.below(RATIOS.len())], level: NEAR };
        let Some(sound) = read_wav(file).ok().filter(|s| extent(s).is_some()) else { return true };
        let sound = place_amid(&sound, scene, SAMPLE_RATE, &mut random);
        for utterance in found::whole(&sound) {
            let listening = &listens[random.below(listens.len())];
            let again = Again::File(file.clone());
            let trial = heard_as(engine, listening, Kind::Talk, file.display().to_string(), (&utterance.sound, again))
                .in_scene(speaker.clone(), format!("{noise:?}"), scene.snr, Some(scene.level));
            trials.lock().expect("no thread fails").push(trial);
        }
        true
    });
    trials.into_inner().expect("no thread failed")
}

/// Prints both tables.
pub fn run(amount: f64, minutes: f64) {
    report::print(&trials::run_treated(Side::People, amount, minutes, found::FOUND));
    match folder() {
        Some(folder) => {
            println!("== strangers");
            let trials = strangers(&folder, amount);
            report::print(&trials);
            let is_control = |t: &&Trial| matches!(t.verdict(), Verdict::Accept { heard } if matches!(heard.answer, Answer::Command(_)));
            let controls = trials.iter().filter(is_control).count();
            println!("of those accepted, controls: {}", share(controls, trials.len()));
        }
        None => {
            println!("no recordings here: tests/measure/people.sh DIR fetches them, PROBESIDE_PEOPLE=DIR names them")
        }
    }
}
