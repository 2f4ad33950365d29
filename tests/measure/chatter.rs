//! A radio and a workshop around a waiting step: strangers' sentences one after another, noise below them, and now and then a true answer.
//! The sound passes through the same segmenter and the same end-of-utterance rule as in a walk.
#![allow(dead_code)]

use crate::bounds::share;
use crate::noises::{Noise, Random};
use crate::p56;
use crate::sayings::belongs;
use crate::shipped::{self, Listening};
use crate::spread::spread;
use crate::strangers;
use crate::voices::{self, Voice};
use probeside::hear::{Activity, Nearness, Recogniser, SAMPLE_RATE, Voiced};
use probeside::phrase::{Answer, Verdict, verdict, verdict_far};
use std::sync::Mutex;

/// Interval between true answers.
const ANSWER_EVERY_S: usize = 120;
/// Active speech levels of a person at the microphone and of a radio at the back of the shop, and the noise relative to the person.
const PERSON: f32 = -24.0;
const RADIO: f32 = -34.0;
const NOISE_BELOW: f32 = 20.0;
/// Frequency band of a small loudspeaker, hertz.
const RADIO_LOW: f32 = 300.0;
const RADIO_HIGH: f32 = 3_400.0;

/// The outcome.
#[derive(Debug, Default, Clone, PartialEq, Eq)]
pub struct Outcome {
    /// True answers: spoken, accepted at once, confirmed, and mistaken for another.
    pub answers: usize,
    pub taken: usize,
    pub asked: usize,
    pub mistaken: usize,
    /// Strangers' utterances found in the sound.
    pub strangers: usize,
    /// Strangers' utterances accepted as an answer that leads somewhere: wrong branches.
    pub branches: Vec<String>,
    /// Strangers' utterances accepted as a command ("say again"), which leads nowhere.
    pub controls: Vec<String>,
    /// Strangers' utterances accepted as "no" to a confirmation, which repeats the question.
    pub denials: Vec<String>,
    /// Strangers' utterances that caused a question.
    pub bothered: usize,
}

/// A first-order high pass and low pass, each applied twice.
fn through_a_radio(sound: &[f32]) -> Vec<f32> {
    let share = |hertz: f32| 1.0 - (-std::f32::consts::TAU * hertz / SAMPLE_RATE as f32).exp();
    let mut out = sound.to_vec();
    for (hertz, high) in [(RADIO_LOW, true), (RADIO_LOW, true), (RADIO_HIGH, false), (RADIO_HIGH, false)] {
        let (mut state, part) = (0.0, share(hertz));
        for x in &mut out {
            state += part * (*x - state);
            *x = if high { *x - state } else { state };
        }
    }
    out
}

fn at_level(sound: Vec<f32>, decibels: f32) -> Vec<f32> {
    let gain = 10f32.powf(decibels / 20.0) / (p56::measure(&sound, SAMPLE_RATE as f64).active as f32).max(1e-9);
    sound.iter().map(|x| x * gain).collect()
}

/// Minutes that one thread processes at a time.
const SHARE_MINUTES: f64 = 20.0;

/// Runs `minutes` of chatter on all cores, with the shipped model, all shipped listens and all test voices.
pub fn run_shared(minutes: f64, seed: u64) -> Outcome {
    let voices: Vec<_> = voices::FOR_TESTING.iter().filter(|v| v.is_there()).copied().collect();
    let listens: Vec<_> = shipped::listens().into_iter().filter(|l| !l.grammar.note).collect();
    let elsewhere = shipped::elsewhere();
    let begin = || shipped::engine(None, &elsewhere);
    let all = Mutex::new(Outcome::default());
    spread((minutes / SHARE_MINUTES).ceil() as usize, begin, |engine, at| {
        let length = (minutes - at as f64 * SHARE_MINUTES).min(SHARE_MINUTES);
        let mut random = Random::new(seed + at as u64);
        let outcome = run(engine, &listens, &voices, length, &mut random);
        eprintln!("share {at}: {outcome:?}");
        all.lock().expect("no thread fails").add(outcome);
        true
    });
    all.into_inner().expect("no thread failed")
}

impl Outcome {
    fn add(&mut self, other: Self) {
        self.answers += other.answers;
        self.taken += other.taken;
        self.asked += other.asked;
        self.mistaken += other.mistaken;
        self.strangers += other.strangers;
        self.branches.extend(other.branches);
        self.controls.extend(other.controls);
        self.denials.extend(other.denials);
        self.bothered += other.bothered;
    }
}

/// Runs `minutes` of chatter at one listen after another. Each true answer starts a new one.
pub fn run(
    engine: &mut dyn Recogniser,
    listens: &[Listening],
    voices: &[Voice],
    minutes: f64,
    random: &mut Random,
) -> Outcome {
    let mut out = Outcome::default();
    let mut nearness = Nearness::default();
    let end = (minutes * 60.0 * SAMPLE_RATE as f64) as usize;
    let mut at = 0;
    while at < end {
        let listening = &listens[random.below(listens.len())];
        let until = (at + ANSWER_EVERY_S * SAMPLE_RATE).min(end);
        at += round((engine, &mut nearness), listening, voices, until - at, random, &mut out);
    }
    out
}

/// One waiting step: this many samples of chatter, then an answer. Returns its length.
fn round(
    (engine, nearness): (&mut dyn Recogniser, &mut Nearness),
    listening: &Listening,
    voices: &[Voice],
    length: usize,
    random: &mut Random,
    out: &mut Outcome,
) -> usize {
    let mut sound: Vec<f32> = Vec::with_capacity(length);
    let pause = |random: &mut Random| SAMPLE_RATE + random.below(2 * SAMPLE_RATE);
    sound.resize(pause(random), 0.0);
    while sound.len() < length {
        let words = strangers::FOR_TESTING[random.below(strangers::FOR_TESTING.len())];
        if !belongs(words, &listening.grammar) {
            let said = voices[random.below(voices.len())].say(words);
            sound.extend(at_level(through_a_radio(&said), RADIO));
            sound.resize(sound.len() + pause(random), 0.0);
        }
    }
    let person = voices[random.below(voices.len())];
    let own = |a: &Answer| matches!(a, Answer::Choice(_) | Answer::Done | Answer::Yes | Answer::No);
    let phrases: Vec<_> = listening.grammar.phrases.iter().filter(|p| own(&p.answer)).collect();
    let said = phrases.get(random.below(phrases.len().max(1))).map(|p| (p.words.clone(), p.answer.clone()));
    let from = sound.len();
    if let Some((words, _)) = &said {
        out.answers += 1;
        sound.extend(at_level(person.say(words), PERSON));
        sound.resize(sound.len() + 2 * SAMPLE_RATE, 0.0);
    }
    let level = 10f32.powf((PERSON - NOISE_BELOW) / 20.0);
    let noise = Noise::Workshop.make(sound.len(), random);
    sound.iter_mut().zip(noise).for_each(|(x, n)| *x = (*x + n * level).clamp(-1.0, 1.0));

    let mut activity = Activity::usual().expect("the voice detector");
    let mut found = Vec::new();
    activity.push(&sound, &mut found);
    activity.finish(&mut found);
    let mut settled = None;
    for voiced in found {
        let Voiced::Utterance(utterance) = voiced else { continue };
        if settled == Some(utterance.begin) {
            continue;
        }
        let heard = engine.hear(&utterance.sound, &listening.grammar).expect("it hears");
        let is_far = nearness.is_far(&utterance.sound);
        let verdict = match is_far {
            true => verdict_far(&heard, &listening.grammar),
            false => verdict(&heard, &listening.grammar, &listening.high),
        };
        let sure = matches!(verdict, Verdict::Accept { .. });
        if sure {
            nearness.answered(&utterance.sound);
        }
        let free = heard.free.clone().unwrap_or_default();
        if !utterance.last && (!sure || heard.may_go_on) {
            continue;
        }
        settled = Some(utterance.begin);
        let answering = said.as_ref().filter(|_| utterance.end as usize > from + SAMPLE_RATE / 10);
        out.strangers += usize::from(answering.is_none());
        if let Some((words, _)) = answering
            && std::env::var_os("PROBESIDE_TELL").is_some()
        {
            let at = |sample: u64| sample as f64 / SAMPLE_RATE as f64 - from as f64 / SAMPLE_RATE as f64;
            println!(
                "\"{words}\" by {} in {:.1} to {:.1} s, free {free:?}: {verdict:?}",
                person.label(),
                at(utterance.begin),
                at(utterance.end)
            );
        }
        match (verdict, answering) {
            (Verdict::Accept { heard }, Some((_, answer))) if heard.answer == *answer => {
                out.taken += 1;
                break;
            }
            (Verdict::Accept { heard }, answering) => {
                out.mistaken += usize::from(answering.is_some());
                let seconds = utterance.sound.len() as f64 / SAMPLE_RATE as f64;
                let sure = heard.probability;
                let what =
                    format!("{}: \"{}\" ({sure:.3}, {seconds:.1} s, free {free:?})", listening.place, heard.words);
                match heard.answer {
                    Answer::Command(_) => out.controls.push(what),
                    Answer::No => out.denials.push(what),
                    _ => out.branches.push(what),
                }
                if answering.is_some() {
                    break;
                }
            }
            (Verdict::Confirm { .. }, Some(_)) => {
                out.asked += 1;
                break;
            }
            (Verdict::Confirm { .. }, None) => out.bothered += 1,
            _ => {}
        }
    }
    sound.len()
}

/// Prints the outcome.
pub fn print(outcome: &Outcome, minutes: f64) {
    let Outcome { answers, taken, asked, mistaken, strangers, branches, controls, denials, bothered } = outcome;
    let all = strangers + answers;
    println!("{minutes} minutes of chatter: {strangers} strangers' utterances");
    println!("    wrong branches {}: {branches:?}", share(branches.len(), all));
    println!("    controls taken {}: {controls:?}", share(controls.len(), all));
    println!("    \"no\" taken {}: {denials:?}", share(denials.len(), all));
    println!("    asked about {}", share(*bothered, all));
    println!("    true answers taken at once {}", share(*taken, *answers));
    println!("    true answers asked back {}, mistaken {mistaken}", share(*asked, *answers));
}
