//! A radio and a shop around a waiting step: strangers' sentences one after the other, noise below them, and now and then a true
//! answer. The sound goes through the same segmenter and the same rule of when an utterance is over as in a walk.
#![allow(dead_code)]

use crate::bounds::share;
use crate::noises::{Noise, Random};
use crate::p56;
use crate::sayings::belongs;
use crate::shipped::Listening;
use crate::strangers;
use crate::voices::Voice;
use probeside::hear::{Activity, ActivitySettings, Recogniser, SAMPLE_RATE, Voiced};
use probeside::phrase::{Answer, Verdict, verdict};

/// A true answer comes so often.
const ANSWER_EVERY_S: usize = 120;
/// Active speech levels: a person at the microphone, and a radio at the back of the shop; noise below the person.
const PERSON: f32 = -24.0;
const RADIO: f32 = -34.0;
const NOISE_BELOW: f32 = 20.0;
/// What a small loudspeaker passes, hertz.
const RADIO_LOW: f32 = 300.0;
const RADIO_HIGH: f32 = 3_400.0;

/// What came of it.
#[derive(Debug, Default, Clone, PartialEq, Eq)]
pub struct Outcome {
    /// True answers spoken, taken at once, asked back, and taken for another.
    pub answers: usize,
    pub taken: usize,
    pub asked: usize,
    pub mistaken: usize,
    /// Strangers' utterances cut out of the sound.
    pub strangers: usize,
    /// Taken for an answer that leads somewhere: these are wrong branches.
    pub branches: Vec<String>,
    /// Taken for a spoken control ("say again"), which leads nowhere.
    pub controls: Vec<String>,
}

/// First-order high pass and low pass, twice each.
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

/// `minutes` of it at one listen after the other, a new one after each true answer.
pub fn run(
    engine: &mut dyn Recogniser,
    listens: &[Listening],
    voices: &[Voice],
    minutes: f64,
    random: &mut Random,
) -> Outcome {
    let mut out = Outcome::default();
    let end = (minutes * 60.0 * SAMPLE_RATE as f64) as usize;
    let mut at = 0;
    while at < end {
        let listening = &listens[random.below(listens.len())];
        let until = (at + ANSWER_EVERY_S * SAMPLE_RATE).min(end);
        at += round(engine, listening, voices, until - at, random, &mut out);
    }
    out
}

/// One waiting step: chatter for so many samples, then an answer. Gives its length.
fn round(
    engine: &mut dyn Recogniser,
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

    let mut activity = Activity::new(ActivitySettings::default());
    let mut found = Vec::new();
    activity.push(&sound, &mut found);
    activity.finish(&mut found);
    for voiced in found {
        let Voiced::Utterance(utterance) = voiced else { continue };
        let heard = engine.hear(&utterance.sound, &listening.grammar).expect("it hears");
        let verdict = verdict(&heard, &listening.grammar, &listening.high);
        let sure = matches!(verdict, Verdict::Accept { .. });
        let free = heard.free.clone().unwrap_or_default();
        if !utterance.last && (!sure || heard.may_go_on) {
            continue;
        }
        let answering = said.as_ref().filter(|_| utterance.end as usize > from + SAMPLE_RATE / 10);
        out.strangers += usize::from(answering.is_none());
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
                let control = matches!(heard.answer, Answer::Command(_));
                if control {
                    out.controls.push(what)
                } else {
                    out.branches.push(what)
                }
                if answering.is_some() {
                    break;
                }
            }
            (Verdict::Confirm { .. }, Some(_)) => {
                out.asked += 1;
                break;
            }
            _ => {}
        }
    }
    sound.len()
}

/// Prints what came of it.
pub fn print(outcome: &Outcome, minutes: f64) {
    let Outcome { answers, taken, asked, mistaken, strangers, branches, controls } = outcome;
    println!("{minutes} minutes of chatter: {strangers} strangers' utterances");
    println!("    wrong branches {}: {branches:?}", share(branches.len(), strangers + answers));
    println!("    controls taken {}: {controls:?}", share(controls.len(), strangers + answers));
    println!("    true answers taken at once {}", share(*taken, *answers));
    println!("    true answers asked back {}, mistaken {mistaken}", share(*asked, *answers));
}
