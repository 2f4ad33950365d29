//! Trials: voices in scenes against steps, what was understood, and the tables.

use crate::bounds::share;
use crate::noises::{self, Noise, Random, Scene, place};
use crate::steps;
use crate::voices::{self, Voice};
use probeside::hear::{FEATURE_NAMES, FEATURES, Moonshine, Recogniser};
use probeside::phrase::{Answer, Grammar, Hypotheses, Stakes, Verdict, decide};
use std::collections::{BTreeMap, HashMap};
use std::io::Write;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant;

/// Which set of voices, noises and strangers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    Fitting,
    Testing,
}

/// What a trial says.
#[derive(Debug, Clone, PartialEq)]
pub enum Kind {
    Phrase(Answer),
    Number(f64),
    Talk,
    NoiseOnly,
}

struct Plan {
    grammar: usize,
    kind: Kind,
    words: String,
    voice: Voice,
    scene: Scene,
    seed: u64,
}

/// One trial and its outcome.
pub struct Trial {
    pub kind: Kind,
    pub words: String,
    pub voice: Voice,
    pub scene: Scene,
    pub number_step: bool,
    pub features: Option<[f32; FEATURES]>,
    pub heard: Hypotheses,
    pub milliseconds: f64,
}

const LEVELS: [f32; 3] = [-18.0, -26.0, -40.0];
const RATIOS: [Option<f32>; 4] = [None, Some(20.0), Some(10.0), Some(5.0)];
/// Utterances for each voice and ratio, of each kind, at share 1.
const EACH: usize = 30;
const THREADS: usize = 2;

impl Trial {
    pub fn allowed(&self) -> bool {
        matches!(self.kind, Kind::Phrase(_) | Kind::Number(_))
    }

    /// Is this the meaning that was said?
    pub fn fits(&self, answer: &Answer) -> bool {
        match (&self.kind, answer) {
            (Kind::Phrase(said), heard) => said == heard,
            (Kind::Number(said), Answer::Reading(r)) => (r.value - said).abs() < 1e-6,
            _ => false,
        }
    }

    pub fn right(&self) -> bool {
        self.heard.best.first().is_some_and(|h| self.fits(&h.answer))
    }
}

fn plans(side: Side, grammars: &[Grammar], amount: f64) -> Vec<Plan> {
    let (all_voices, noises, talk) = match side {
        Side::Fitting => (voices::FOR_FITTING, noises::FOR_FITTING, steps::STRANGERS_FOR_FITTING),
        Side::Testing => (voices::FOR_TESTING, noises::FOR_TESTING, steps::STRANGERS_FOR_TESTING),
    };
    let mut random = Random::new(if side == Side::Fitting { 11 } else { 23 });
    let mut out = Vec::new();
    let number_step = grammars.len() - 1;
    for voice in all_voices.iter().filter(|v| voices::have(v.program)) {
        for snr in RATIOS {
            for i in 0..((EACH as f64 * amount) as usize).max(1) {
                let scene = |random: &mut Random| Scene {
                    noise: noises[random.below(noises.len())],
                    snr,
                    level: LEVELS[random.below(LEVELS.len())],
                };
                let mut add = |grammar: usize, kind: Kind, words: &str, random: &mut Random| {
                    let (scene, seed) = (scene(random), random.next());
                    out.push(Plan { grammar, kind, words: words.to_owned(), voice: *voice, scene, seed });
                };
                let grammar = random.below(number_step);
                let phrases = &grammars[grammar].phrases;
                let phrase = &phrases[random.below(phrases.len())];
                add(grammar, Kind::Phrase(phrase.answer.clone()), &phrase.words, &mut random);
                if i % 2 == 0 {
                    let (words, value) = steps::VOLTS[random.below(steps::VOLTS.len())];
                    add(number_step, Kind::Number(value), words, &mut random);
                }
                let grammar = random.below(grammars.len());
                add(grammar, Kind::Talk, talk[random.below(talk.len())], &mut random);
                if i % 3 == 0 {
                    // A phrase of another step, and no voice at all.
                    let other = random.below(number_step);
                    let phrases = &grammars[other].phrases;
                    let phrase = &phrases[random.below(phrases.len())];
                    let grammar = random.below(grammars.len());
                    if !grammars[grammar].phrases.iter().any(|p| p.words == phrase.words) {
                        add(grammar, Kind::Talk, &phrase.words.clone(), &mut random);
                    }
                    add(random.below(grammars.len()), Kind::NoiseOnly, "", &mut random);
                }
            }
        }
    }
    out
}

/// All trials of one side, on two threads with a recogniser each.
pub fn run(side: Side, amount: f64) -> Vec<Trial> {
    let mut grammars = steps::choice_steps();
    grammars.push(steps::confirm_step());
    grammars.push(steps::volts_step());
    let plans = plans(side, &grammars, amount);
    eprintln!("{} trials", plans.len());
    let next = AtomicUsize::new(0);
    let spoken: Mutex<HashMap<(Voice, String), Vec<f32>>> = Mutex::default();
    let done: Mutex<Vec<(usize, Trial)>> = Mutex::default();
    std::thread::scope(|scope| {
        for _ in 0..THREADS {
            scope.spawn(|| {
                let mut engine = Moonshine::open().expect("the model");
                loop {
                    let at = next.fetch_add(1, Ordering::Relaxed);
                    let Some(plan) = plans.get(at) else { break };
                    let key = (plan.voice, plan.words.clone());
                    let known = spoken.lock().expect("no thread fails").get(&key).cloned();
                    let voice = known.unwrap_or_else(|| {
                        let sound = if plan.words.is_empty() { Vec::new() } else { plan.voice.say(&plan.words) };
                        spoken.lock().expect("no thread fails").insert(key, sound.clone());
                        sound
                    });
                    let mut random = Random::new(plan.seed);
                    let sound = match plan.kind {
                        Kind::NoiseOnly => noise_only(plan.scene, &mut random),
                        _ => place(&voice, plan.scene, &mut random),
                    };
                    let grammar = &grammars[plan.grammar];
                    let begun = Instant::now();
                    let (heard, features) = engine.measure(&sound, grammar).expect("it hears");
                    let milliseconds = begun.elapsed().as_secs_f64() * 1e3;
                    let trial = Trial {
                        kind: plan.kind.clone(),
                        words: plan.words.clone(),
                        voice: plan.voice,
                        scene: plan.scene,
                        number_step: grammar.number.is_some(),
                        features,
                        heard,
                        milliseconds,
                    };
                    done.lock().expect("no thread fails").push((at, trial));
                    if at.is_multiple_of(200) {
                        eprintln!("{at} of {}", plans.len());
                    }
                }
            });
        }
    });
    let mut done = done.into_inner().expect("no thread failed");
    done.sort_by_key(|(at, _)| *at);
    let trials: Vec<Trial> = done.into_iter().map(|(_, t)| t).collect();
    save(&trials, side);
    trials
}

/// One second of noise with a knock in it, as loud as speech would be: what an energy gate lets through.
fn noise_only(scene: Scene, random: &mut Random) -> Vec<f32> {
    let count = 9_600 + random.below(12_800);
    let level = 10f32.powf(scene.level / 20.0);
    let mut out = scene.noise.make(count, random);
    let knock = random.below(count);
    for (i, x) in out.iter_mut().enumerate() {
        *x *= level;
        if i >= knock {
            *x += level * 4.0 * random.white() * (-((i - knock) as f32) / 400.0).exp();
        }
        *x = x.clamp(-1.0, 1.0);
    }
    out
}

fn save(trials: &[Trial], side: Side) {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/measure/out");
    std::fs::create_dir_all(&folder).expect("the folder can be made");
    let mut file =
        std::fs::File::create(folder.join(format!("{side:?}.csv").to_lowercase())).expect("the file can be made");
    writeln!(
        file,
        "kind,words,voice,noise,snr,level,number,right,heard,probability,second,stranger,free,ms,{}",
        FEATURE_NAMES.join(",")
    )
    .expect("written");
    for t in trials {
        let kind = match t.kind {
            Kind::Phrase(_) => "phrase",
            Kind::Number(_) => "number",
            Kind::Talk => "talk",
            Kind::NoiseOnly => "noise",
        };
        let best = t.heard.best.first();
        let features =
            t.features.map(|f| f.iter().map(|x| format!("{x:.4}")).collect::<Vec<_>>().join(",")).unwrap_or_default();
        writeln!(
            file,
            "{kind},{},{},{:?},{},{},{},{},{},{:.4},{:.4},{:.4},{},{:.1},{features}",
            t.words,
            t.voice.name,
            t.scene.noise,
            t.scene.snr.map_or("clean".to_owned(), |s| s.to_string()),
            t.scene.level,
            t.number_step,
            t.right(),
            best.map_or("", |h| &h.words),
            best.map_or(0.0, |h| h.probability),
            t.heard.best.get(1).map_or(0.0, |h| h.probability),
            t.heard.stranger,
            t.heard.free.as_deref().unwrap_or("").replace(',', ";"),
            t.milliseconds,
        )
        .expect("written");
    }
}

#[derive(Default)]
struct Tally {
    allowed: usize,
    best: usize,
    once: usize,
    asked: usize,
    wrong: usize,
    strangers: usize,
    taken: usize,
    bothered: usize,
}

/// Prints the tables.
pub fn report(trials: &[Trial]) {
    type Key = fn(&Trial) -> String;
    let groups: [(&str, Key); 6] = [
        ("all", |_| "all".into()),
        ("kind", |t| match t.kind {
            Kind::Phrase(_) => "phrase".into(),
            Kind::Number(_) => "number".into(),
            Kind::Talk if t.number_step => "talk, number step".into(),
            Kind::Talk => "talk, choice step".into(),
            Kind::NoiseOnly => "noise only".into(),
        }),
        ("voice", |t| t.voice.name.into()),
        ("noise", |t| match t.scene.snr {
            None => "clean".into(),
            Some(_) => format!("{:?}", t.scene.noise),
        }),
        ("signal to noise", |t| t.scene.snr.map_or("clean".into(), |s| format!("{s} dB"))),
        ("level (speech-active RMS)", |t| format!("{} dBFS", t.scene.level)),
    ];
    for stakes in [Stakes::Low, Stakes::High] {
        println!("== stakes {stakes:?}; k of n with exact 95 % bounds");
        for (title, key) in groups {
            let mut tallies: BTreeMap<String, Tally> = BTreeMap::new();
            for t in trials {
                let tally = tallies.entry(key(t)).or_default();
                let verdict = decide(&t.heard, stakes);
                if t.allowed() {
                    tally.allowed += 1;
                    tally.best += usize::from(t.right());
                    match verdict {
                        Verdict::Accept { heard } if t.fits(&heard.answer) => tally.once += 1,
                        Verdict::Accept { .. } => tally.wrong += 1,
                        Verdict::Confirm { .. } => tally.asked += 1,
                        Verdict::Reject { .. } => {}
                    }
                } else {
                    tally.strangers += 1;
                    tally.taken += usize::from(matches!(verdict, Verdict::Accept { .. }));
                    tally.bothered += usize::from(matches!(verdict, Verdict::Confirm { .. }));
                }
            }
            println!("-- by {title}");
            for (name, t) in tallies {
                println!("{name}");
                if t.allowed > 0 {
                    println!("    best guess right   {}", share(t.best, t.allowed));
                    println!("    right at once      {}", share(t.once, t.allowed));
                    println!("    asked              {}", share(t.asked, t.allowed));
                    println!("    wrong accepted     {}", share(t.wrong, t.allowed));
                }
                if t.strangers > 0 {
                    println!("    strangers accepted {}", share(t.taken, t.strangers));
                    println!("    strangers asked    {}", share(t.bothered, t.strangers));
                }
            }
        }
    }
    let mut times: Vec<f64> = trials.iter().map(|t| t.milliseconds).collect();
    times.sort_by(f64::total_cmp);
    let at = |share: f64| times.get(((times.len().max(1) - 1) as f64 * share) as usize).copied().unwrap_or(0.0);
    println!("computing of one utterance: median {:.0} ms, 95th percentile {:.0} ms", at(0.5), at(0.95));
}

/// Says words with every voice, clean and in noise, and shows what is made of them.
pub fn show(words: &str) {
    let begun = Instant::now();
    let mut engine = Moonshine::open().expect("the model");
    println!("loaded in {:.0} ms", begun.elapsed().as_secs_f64() * 1e3);
    let numeric = words.chars().any(|c| c.is_ascii_digit()) || words.contains("point") || words.contains("volt");
    let grammar = if numeric { steps::volts_step() } else { steps::choice_steps().remove(0) };
    for voice in voices::FOR_FITTING {
        for snr in [None, Some(10.0)] {
            let scene = Scene { noise: Noise::Pink, snr, level: -26.0 };
            let sound = place(&voice.say(words), scene, &mut Random::new(5));
            let begun = Instant::now();
            let heard = engine.hear(&sound, &grammar).expect("it hears");
            let ms = begun.elapsed().as_secs_f64() * 1e3;
            let again = Instant::now();
            let _ = engine.hear(&sound, &grammar);
            let ms2 = again.elapsed().as_secs_f64() * 1e3;
            let best: Vec<String> = heard.best.iter().map(|h| format!("{} {:.3}", h.words, h.probability)).collect();
            println!(
                "{} {snr:?} {ms:.0}/{ms2:.0} ms stranger {:.2} free {:?} | {}",
                voice.name,
                heard.stranger,
                heard.free.unwrap_or_default(),
                best.join(", ")
            );
        }
    }
}
