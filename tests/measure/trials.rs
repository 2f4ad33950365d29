//! Trials: voices in scenes at the shipped steps, and what the recogniser understood.

use crate::noises::{self, Noise, Random, Scene, Sound, place, place_amid, set};
use crate::sayings::{Numbers, belongs, same};
use crate::shipped::{self, Listening};
use crate::spread::spread;
use crate::strangers;
use crate::voices::{self, Voice};
use crate::ways::Way;
use probeside::hear::{DecodingEvidence, Moonshine, SAMPLE_RATE};
use probeside::phrase::{Answer, Grammar, Hypotheses, Stakes, Verdict, decide};
use std::collections::HashMap;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};
use std::time::Instant;

/// A set of voices, noises and strangers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    Fitting,
    /// The development voices in noises that come in bursts.
    InBursts,
    Testing,
    /// The test voices from further away, over an engine, shouted.
    Harder,
    /// Real people saying numbers.
    People,
}

/// The content of a trial.
#[derive(Debug, Clone, PartialEq)]
pub enum Kind {
    /// An answer that the step allows.
    Said(Answer),
    /// A phrase of another step.
    Elsewhere,
    /// Talk that answers nothing.
    Talk,
    /// A sound that is no voice.
    NoVoice(Sound),
}

impl Kind {
    pub fn label(&self) -> &'static str {
        match self {
            Kind::Said(Answer::Reading(_)) => "number",
            Kind::Said(Answer::Command(_)) => "command",
            Kind::Said(Answer::Choice(_)) => "choice",
            Kind::Said(_) => "other phrase",
            Kind::Elsewhere => "other step's phrase",
            Kind::Talk => "talk",
            Kind::NoVoice(_) => "no voice",
        }
    }
    pub fn is_allowed(&self) -> bool {
        matches!(self, Kind::Said(_))
    }
}

struct Plan {
    listening: usize,
    kind: Kind,
    words: String,
    voice: Voice,
    scene: Scene,
    way: Way,
    seed: u64,
}

impl Plan {
    fn again(&self, more: usize) -> Again {
        let alone = if let Kind::NoVoice(sound) = self.kind { Some(sound) } else { None };
        let (words, voice, scene, way, seed) = (self.words.clone(), self.voice, self.scene, self.way, self.seed);
        Again::Made { words, voice, scene, way, seed, alone, more }
    }
}

/// One trial and its outcome.
pub struct Trial {
    pub place: String,
    pub kind: Kind,
    pub words: String,
    pub voice: String,
    pub noise: String,
    /// Signal-to-noise ratio relative to the active speech level, decibels. `None` if the only noise is the room's own.
    pub snr: Option<f32>,
    /// Active speech level, decibels of full scale, if it was set.
    pub level: Option<f32>,
    pub number_step: bool,
    pub heard: Hypotheses,
    pub evidence: DecodingEvidence,
    /// Stakes of the best answer at this step.
    pub stakes: Stakes,
    /// Computing time, and duration of the sound.
    pub milliseconds: f64,
    pub seconds: f64,
    /// The grammar, and the sound again, for the comparison with other methods.
    pub grammar: Arc<Grammar>,
    pub again: Again,
}

/// How to obtain the sound of a trial again.
pub enum Again {
    Made { words: String, voice: Voice, scene: Scene, way: Way, seed: u64, alone: Option<Sound>, more: usize },
    File(PathBuf),
}

impl Again {
    /// The same voice in the same place with hardly any noise, for a synthesised trial.
    pub fn without_noise(&self) -> Option<Self> {
        let Again::Made { words, voice, scene, way, seed, alone, more } = self else { return None };
        let (words, scene) = (words.clone(), Scene { snr: None, ..*scene });
        Some(Again::Made { words, voice: *voice, scene, way: *way, seed: *seed, alone: *alone, more: *more })
    }

    pub fn sound(&self) -> Vec<f32> {
        match self {
            Again::File(path) => probeside::hear::read_wav(path).unwrap_or_default(),
            Again::Made { words, voice, scene, way, seed, alone, more } => {
                let mut random = Random::new(*seed);
                match alone {
                    Some(sound) => set(&sound.make(&mut random), *scene, *more, &mut random),
                    None => place_amid(&way.of(voice.say(words), &mut random), *scene, *more, &mut random),
                }
            }
        }
    }
}

impl Trial {
    /// Whether the best hypothesis is what was said.
    pub fn is_right(&self) -> bool {
        match (&self.kind, self.heard.best.first()) {
            (Kind::Said(said), Some(best)) => same(said, &best.answer),
            _ => false,
        }
    }
    pub fn best_is_reading(&self) -> bool {
        matches!(self.heard.best.first().map(|h| &h.answer), Some(Answer::Reading(_)))
    }
    pub fn in_scene(self, voice: String, noise: String, snr: Option<f32>, level: Option<f32>) -> Self {
        Trial { voice, noise, snr, level, ..self }
    }
    pub fn verdict(&self) -> Verdict {
        decide(&self.heard, self.stakes)
    }
    pub fn is_accepted(&self) -> bool {
        matches!(self.verdict(), Verdict::Accept { .. })
    }
}

const LEVELS: [f32; 3] = [-18.0, -26.0, -40.0];
/// Signal-to-noise ratios relative to the active speech level. `None` means only the room's own noise.
pub const RATIOS: [Option<f32>; 4] = [None, Some(20.0), Some(10.0), Some(5.0)];
/// Per voice and ratio, at share 1.
const PHRASES: f64 = 40.0;
const NUMBERS: f64 = 16.0;
/// Per real voice, which says only numbers.
const NUMBERS_OF_PEOPLE: f64 = 100.0;
/// Most tries to find something that a voice can say.
const MOST_PICKS: usize = 500;
const ELSEWHERE: f64 = 14.0;
const TALK: f64 = 8.0;
const NO_VOICE: f64 = 6.0;

/// Picks a phrase. A step's own answers are more frequent than the commands that every step has.
pub fn own_phrase(listening: &Listening, random: &mut Random) -> Option<(String, Answer)> {
    let shared = |a: &Answer| matches!(a, Answer::Command(_) | Answer::Escape(_) | Answer::Sum(_));
    let own = random.below(10) < 6;
    let some: Vec<_> = listening.grammar.phrases.iter().filter(|p| shared(&p.answer) != own).collect();
    let phrase = some.get(random.below(some.len().max(1)))?;
    Some((phrase.words.clone(), phrase.answer.clone()))
}

/// One case, and how much every voice says in it.
#[derive(Clone, Copy)]
struct Case {
    way: Way,
    snr: Option<f32>,
    noises: &'static [Noise],
}

/// The test voices in harder conditions, each with a matching noise.
const HARDER: [Case; 5] = [
    Case { way: Way::TwoMetres, snr: Some(15.0), noises: &[Noise::Pink, Noise::Workshop] },
    Case { way: Way::Reverberant, snr: Some(20.0), noises: &[Noise::Pink, Noise::Workshop] },
    Case { way: Way::AtTheMicrophone, snr: Some(0.0), noises: &[Noise::Engine] },
    Case { way: Way::Shouted, snr: Some(10.0), noises: &[Noise::Engine, Noise::Workshop] },
    Case { way: Way::Breathless, snr: Some(20.0), noises: &[Noise::Pink, Noise::Workshop] },
];

fn plans(side: Side, listens: &[Listening], amount: f64) -> Vec<Plan> {
    let (all, sounds, talk) = match side {
        Side::Fitting | Side::InBursts => (voices::FOR_FITTING, noises::SOUNDS_FOR_FITTING, strangers::FOR_FITTING),
        Side::People => (voices::PEOPLE, noises::SOUNDS_FOR_TESTING, strangers::FOR_TESTING),
        _ => (voices::FOR_TESTING, noises::SOUNDS_FOR_TESTING, strangers::FOR_TESTING),
    };
    let usual = |noises| RATIOS.map(|snr| Case { way: Way::AtTheMicrophone, snr, noises }).to_vec();
    let cases = match side {
        Side::Fitting => usual(noises::FOR_FITTING),
        Side::InBursts => usual(noises::IN_BURSTS),
        Side::Testing | Side::People => usual(noises::FOR_TESTING),
        Side::Harder => HARDER.to_vec(),
    };
    let how_many = if side == Side::People { NUMBERS_OF_PEOPLE } else { NUMBERS };
    let mut random = Random::new(if matches!(side, Side::Fitting | Side::InBursts) { 11 } else { 23 });
    let closed: Vec<usize> = (0..listens.len()).filter(|&i| !listens[i].grammar.note).collect();
    let asked: Vec<usize> = closed.iter().copied().filter(|&i| listens[i].is_number()).collect();
    let mut numbers: HashMap<String, Numbers> = HashMap::new();
    let mut out = Vec::new();
    let (here, away): (Vec<&Voice>, Vec<&Voice>) = all.iter().partition(|v| v.is_there());
    away.iter().for_each(|v| eprintln!("without {}: it is not on this machine", v.label()));
    for voice in here {
        for Case { way, snr, noises } in cases.iter().copied() {
            let mut add = |listening: usize, kind: Kind, words: String, random: &mut Random| {
                if !voice.can_say(&words) {
                    return;
                }
                let (noise, level) = (noises[random.below(noises.len())], LEVELS[random.below(LEVELS.len())]);
                let scene = Scene { noise, snr, level };
                out.push(Plan { listening, kind, words, voice: *voice, scene, way, seed: random.next() });
            };
            let times = |each: f64| (each * amount).ceil() as usize;
            for _ in 0..times(PHRASES) {
                let at = closed[random.below(closed.len())];
                if let Some((words, answer)) = own_phrase(&listens[at], &mut random) {
                    add(at, Kind::Said(answer), words, &mut random);
                }
            }
            for _ in 0..times(how_many) {
                let at = asked[random.below(asked.len())];
                let Some(slot) = &listens[at].grammar.number else { continue };
                let said = numbers.entry(format!("{slot:?}")).or_insert_with(|| Numbers::of(slot));
                let mut some = (0..MOST_PICKS).map(|_| said.pick(slot, &mut random));
                let Some((words, reading)) = some.find(|(words, _)| voice.can_say(words)) else { continue };
                add(at, Kind::Said(Answer::Reading(reading)), words, &mut random);
            }
            for _ in 0..times(ELSEWHERE) {
                let at = closed[random.below(closed.len())];
                let other = closed[random.below(closed.len())];
                let Some((words, _)) = own_phrase(&listens[other], &mut random) else { continue };
                if !belongs(&words, &listens[at].grammar) {
                    add(at, Kind::Elsewhere, words, &mut random);
                }
            }
            for _ in 0..times(TALK) {
                let at = closed[random.below(closed.len())];
                let words = talk[random.below(talk.len())];
                if !belongs(words, &listens[at].grammar) {
                    add(at, Kind::Talk, words.to_owned(), &mut random);
                }
            }
            for _ in 0..times(NO_VOICE) {
                let sound = sounds[random.below(sounds.len())];
                add(closed[random.below(closed.len())], Kind::NoVoice(sound), String::new(), &mut random);
            }
        }
    }
    out
}

/// Everything one side says in its scenes: the kind, the noise, and how to obtain the sound with this many more samples around it.
pub fn sounds(side: Side, amount: f64, more: usize) -> Vec<(Kind, Scene, Again)> {
    let of = |plan: Plan| (plan.kind.clone(), plan.scene, plan.again(more));
    plans(side, &shipped::listens(), amount).into_iter().map(of).collect()
}

/// The spelling networks. For testing: the shipped one, or the file named by `PROBESIDE_SPELLS`. For fitting: for each group of voices a
/// network trained without that group, so that the fit uses voices unknown to the network. `PROBESIDE_LETTERS` names their folder.
fn networks(side: Side) -> Vec<Option<PathBuf>> {
    match side {
        Side::Testing | Side::Harder | Side::People => vec![std::env::var_os("PROBESIDE_SPELLS").map(PathBuf::from)],
        Side::Fitting | Side::InBursts => {
            let folder = std::env::var_os("PROBESIDE_LETTERS").map(PathBuf::from);
            let folder =
                folder.expect("PROBESIDE_LETTERS names the folder of first.onnx and second.onnx; see DEVELOPERS.md");
            // The first group's voices are recognised with the network trained on the second's.
            ["second.onnx", "first.onnx"].map(|name| Some(folder.join(name))).into()
        }
    }
}

/// Runs all trials of one side, on as many threads as there are cores, each with its own recogniser.
///
/// Starts no more after `minutes`. The steps come in random order, so the completed trials are a fair sample.
pub fn run(side: Side, amount: f64, minutes: f64) -> Vec<Trial> {
    run_treated(side, amount, minutes, Treatment { more: 0, treat: |sound| sound })
}

/// A treatment of every sound before recognition.
#[derive(Clone, Copy)]
pub struct Treatment {
    /// Extra samples of the scene that it needs around the voice.
    pub more: usize,
    pub treat: fn(Vec<f32>) -> Vec<f32>,
}

/// As [`run`], with every sound treated before recognition.
pub fn run_treated(side: Side, amount: f64, minutes: f64, treatment: Treatment) -> Vec<Trial> {
    let listens = shipped::listens();
    let mut plans = plans(side, &listens, amount);
    eprintln!("{} listens of the shipped procedures; {} trials", listens.len(), plans.len());
    // A recogniser keeps its most recent grammars.
    let order: Vec<u64> = (0..listens.len() as u64).map(|i| Random::new(i + 77).next()).collect();
    plans.sort_by_key(|p| order[p.listening]);
    let until = Instant::now() + std::time::Duration::from_secs_f64(minutes * 60.0);
    let elsewhere = shipped::elsewhere();
    let open = |letters: &Option<PathBuf>| shipped::engine(letters.as_deref(), &elsewhere);
    let begin = || networks(side).iter().map(open).collect::<Vec<_>>();
    let done: Mutex<Vec<(usize, Trial)>> = Mutex::default();
    spread(plans.len(), begin, |engines, at| {
        let plan = &plans[at];
        let engine = plan.voice.group() % engines.len();
        let trial = one(plan, &listens[plan.listening], &mut engines[engine], treatment);
        done.lock().expect("no thread fails").push((at, trial));
        if at.is_multiple_of(200) {
            eprintln!("{at} of {}", plans.len());
        }
        Instant::now() < until
    });
    let mut done = done.into_inner().expect("no thread failed");
    done.sort_by_key(|(at, _)| *at);
    let trials: Vec<Trial> = done.into_iter().map(|(_, t)| t).collect();
    save(&trials, side);
    trials
}

fn one(plan: &Plan, listening: &Listening, engine: &mut Moonshine, treatment: Treatment) -> Trial {
    let (scene, way) = (plan.scene, plan.way);
    let again = plan.again(treatment.more);
    let sound = (treatment.treat)(again.sound());
    let (kind, words) = (plan.kind.clone(), plan.words.clone());
    heard_as(engine, listening, kind, words, (&sound, again)).in_scene(
        plan.voice.label(),
        match (way, scene.snr) {
            (Way::AtTheMicrophone, None) => "clean".into(),
            (Way::AtTheMicrophone, Some(_)) => format!("{:?}", scene.noise),
            (way, _) => way.label().into(),
        },
        scene.snr,
        Some(scene.level),
    )
}

/// Recognises one sound at one listen.
pub fn hear(engine: &mut Moonshine, listening: &Listening, kind: Kind, words: String, again: Again) -> Trial {
    let sound = again.sound();
    heard_as(engine, listening, kind, words, (&sound, again))
}

/// The same for a given sound. `again` is how to obtain it, or a similar one, again.
pub fn heard_as(
    engine: &mut Moonshine,
    listening: &Listening,
    kind: Kind,
    words: String,
    (sound, again): (&[f32], Again),
) -> Trial {
    let begun = Instant::now();
    let (heard, evidence) = engine.measure(sound, &listening.grammar).expect("it hears");
    let milliseconds = begun.elapsed().as_secs_f64() * 1e3;
    let stakes = heard.best.first().map_or(Stakes::Low, |h| listening.stakes(&h.answer));
    Trial {
        place: listening.place.clone(),
        kind,
        words,
        voice: String::new(),
        noise: String::new(),
        snr: None,
        level: None,
        number_step: listening.is_number(),
        heard,
        evidence,
        stakes,
        milliseconds,
        seconds: sound.len() as f64 / SAMPLE_RATE as f64,
        grammar: listening.grammar.clone(),
        again,
    }
}

const OUT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/measure/out");

/// The file with the trials of one side.
pub fn saved(side: Side) -> PathBuf {
    Path::new(OUT).join(format!("{side:?}.jsonl").to_lowercase())
}

/// Writes every trial as a line of JSON, for inspection.
fn save(trials: &[Trial], side: Side) {
    std::fs::create_dir_all(OUT).expect("the folder can be made");
    let mut file = std::io::BufWriter::new(std::fs::File::create(saved(side)).expect("the file can be made"));
    for t in trials {
        let ended: Vec<_> = t
            .evidence
            .candidates
            .iter()
            .map(|e| (e.owner, &e.text, e.plain, e.search, e.tokens, e.letters, e.is_reinstated))
            .collect();
        let line = serde_json::json!({
            "place": t.place, "kind": t.kind.label(), "words": t.words, "voice": t.voice,
            "noise": t.noise, "snr": t.snr, "level": t.level, "number_step": t.number_step,
            "right": t.is_right(), "verdict": format!("{:?}", t.verdict()).split(' ').next(), "high": t.stakes == Stakes::High,
            "best": t.heard.best.iter().map(|h| (&h.words, h.probability)).collect::<Vec<_>>(),
            "stranger": t.heard.stranger, "free": t.heard.free, "free_plain": t.evidence.free_plain,
            "features": t.evidence.features.map(|f| f.to_vec()), "best_is_reading": t.best_is_reading(),
            "allowed": t.kind.is_allowed(), "ms": t.milliseconds, "ended": ended,
            "said": match &t.kind { Kind::Said(Answer::Reading(r)) => Some(r.value), _ => None },
        });
        writeln!(file, "{line}").expect("written");
    }
}

/// Says words with every development voice, clean and in noise, at the first listen that allows them, and prints the results.
pub fn show(words: &str) {
    let begun = Instant::now();
    let mut engine = shipped::engine(None, &shipped::elsewhere());
    println!("loaded in {:.0} ms", begun.elapsed().as_secs_f64() * 1e3);
    let listens = shipped::listens();
    let at = listens.iter().find(|l| !l.grammar.note && belongs(words, &l.grammar)).unwrap_or(&listens[1]);
    println!("at {}", at.place);
    for voice in voices::FOR_FITTING.iter().filter(|v| v.is_there()) {
        for snr in [None, Some(10.0)] {
            let scene = Scene { noise: Noise::Rumble, snr, level: -26.0 };
            let sound = place(&voice.say(words), scene, &mut Random::new(5));
            let begun = Instant::now();
            let (heard, evidence) = engine.measure(&sound, &at.grammar).expect("it hears");
            let ms = begun.elapsed().as_secs_f64() * 1e3;
            let again = Instant::now();
            let _ = engine.measure(&sound, &at.grammar);
            let ms2 = again.elapsed().as_secs_f64() * 1e3;
            let best: Vec<String> = heard.best.iter().map(|h| format!("{} {:.3}", h.words, h.probability)).collect();
            let texts: Vec<&str> = evidence.candidates.iter().take(4).map(|e| e.text.as_str()).collect();
            println!(
                "{} {snr:?} {ms:.0}/{ms2:.0} ms stranger {:.2} free {:?} | {} | {texts:?}",
                voice.label(),
                heard.stranger,
                heard.free.unwrap_or_default(),
                best.join(", ")
            );
        }
    }
}
