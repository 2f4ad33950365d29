//! Enrolment of one person's voice on the shipped steps. Every test voice is enrolled from three takes of every phrase, then says phrases
//! of the steps at other speeds and pitches and in noise. The same sounds are also recognised without enrolment.

use crate::noises::{Noise, Random, Scene, place};
use crate::report;
use crate::sayings::belongs;
use crate::shipped::{self, Listening};
use crate::strangers;
use crate::trials::{Again, Kind, Trial, heard_as, own_phrase};
use crate::voices::{self, Program, Voice, resample};
use crate::ways::Way;
use probeside::hear::{Moonshine, PersonalVoice, Recogniser, SAMPLE_RATE, Take};
use std::sync::Mutex;

/// Speed and pitch of the enrolled takes, and of the tested ones.
const LEARNT_AS: [(f32, f32); 3] = [(0.9, 1.0), (1.0, 1.03), (1.1, 0.97)];
const TESTED_AS: [(f32, f32); 2] = [(0.95, 0.94), (1.16, 1.05)];
/// Per voice, at share 1: phrases, phrases of other steps, and talk.
const PHRASES: f64 = 100.0;
const ELSEWHERE: f64 = 30.0;
const TALK: f64 = 20.0;
const SNR: f32 = 10.0;
/// Steps at which phrases are said. All of their phrases are enrolled.
const LISTENS: usize = 30;

/// The neural voice says one phrase at a time for all threads, which is too slow for hundreds of takes.
fn is_quick(voice: &&Voice) -> bool {
    voice.program != Program::Neural && voice.is_there()
}

fn said(voice: &Voice, words: &str, (speed, pitch): (f32, f32)) -> Vec<f32> {
    let voice = Voice { speed: (voice.speed as f32 * speed) as u32, ..*voice };
    resample(&voice.say(words), (SAMPLE_RATE as f32 * pitch) as usize, SAMPLE_RATE)
}

fn learn(engine: &mut Moonshine, voice: &Voice, phrases: &[String]) {
    let mut person = PersonalVoice::new("somebody", engine.model());
    for words in phrases {
        for way in LEARNT_AS {
            let shape = engine.shape(&said(voice, words, way)).expect("a shape");
            person.add(Take { words: words.clone(), shape });
        }
    }
    engine.use_voice(person).expect("a voice");
}

/// What one voice says: the step, the kind, and the words.
fn lines(listens: &[Listening], amount: f64, random: &mut Random) -> Vec<(usize, Kind, String)> {
    let mut out = Vec::new();
    let times = |each: f64| (each * amount).ceil() as usize;
    while out.len() < times(PHRASES) {
        let at = random.below(listens.len());
        if let Some((words, answer)) = own_phrase(&listens[at], random) {
            out.push((at, Kind::Said(answer), words));
        }
    }
    let strangers = times(PHRASES) + times(ELSEWHERE);
    while out.len() < strangers {
        let (at, other) = (random.below(listens.len()), random.below(listens.len()));
        if let Some((words, _)) = own_phrase(&listens[other], random).filter(|(w, _)| !belongs(w, &listens[at].grammar))
        {
            out.push((at, Kind::Elsewhere, words));
        }
    }
    while out.len() < strangers + times(TALK) {
        let at = random.below(listens.len());
        let words = strangers::FOR_TESTING[random.below(strangers::FOR_TESTING.len())];
        if !belongs(words, &listens[at].grammar) {
            out.push((at, Kind::Talk, words.to_owned()));
        }
    }
    out
}

/// Prints the tables without and with enrolment.
pub fn run(amount: f64) {
    let mut random = Random::new(300);
    let all: Vec<_> = shipped::listens().into_iter().filter(|l| !l.grammar.note).collect();
    let listens: Vec<Listening> = (0..LISTENS).map(|_| all[random.below(all.len())].clone()).collect();
    let elsewhere = shipped::elsewhere();
    // The commands are in every grammar.
    let mut phrases: Vec<String> =
        listens.iter().flat_map(|l| l.grammar.phrases.iter().map(|p| p.words.clone())).collect();
    phrases.sort_unstable();
    phrases.dedup();
    let (without, with): (Mutex<Vec<Trial>>, Mutex<Vec<Trial>>) = Default::default();
    std::thread::scope(|scope| {
        for (who, voice) in voices::FOR_TESTING.iter().filter(is_quick).enumerate() {
            let (listens, phrases, elsewhere, without, with) = (&listens, &phrases, &elsewhere, &without, &with);
            scope.spawn(move || {
                let mut engines = [(); 2].map(|()| shipped::engine(None, elsewhere));
                learn(&mut engines[1], voice, phrases);
                let mut random = Random::new(301 + who as u64);
                for (n, (at, kind, words)) in lines(listens, amount, &mut random).into_iter().enumerate() {
                    let noise = [Noise::Pink, Noise::Workshop][random.below(2)];
                    let scene = Scene { noise, snr: Some(SNR), level: -26.0 };
                    let seed = random.next();
                    let sound = place(&said(voice, &words, TESTED_AS[n % 2]), scene, &mut Random::new(seed));
                    for (engine, all) in engines.iter_mut().zip([without, with]) {
                        // The sound is used as it is; `again` would synthesise it at the voice's usual speed.
                        let (words, voice) = (words.clone(), *voice);
                        let again = Again::Made {
                            words: words.clone(),
                            voice,
                            scene,
                            way: Way::AtTheMicrophone,
                            seed,
                            alone: None,
                            more: 0,
                        };
                        let trial = heard_as(engine, &listens[at], kind.clone(), words, (&sound, again));
                        let trial = trial.in_scene(voice.label(), format!("{noise:?}"), Some(SNR), Some(scene.level));
                        all.lock().expect("no thread fails").push(trial);
                    }
                }
                eprintln!("{}", voice.label());
            });
        }
    });
    for (what, trials) in [("without the voice", without), ("with it, learnt from three takes", with)] {
        println!("==== {what}; {} phrases learnt", phrases.len());
        report::print(&trials.into_inner().expect("no thread failed"));
    }
}
