//! The default recogniser on sound: real recordings, synthetic voices, noise, and talk that no step allows.
//!
//! A test that needs the model or espeak-ng says so and passes if it is not available.

#[path = "measure/bounds.rs"]
mod bounds;
#[path = "measure/chatter.rs"]
mod chatter;
#[path = "measure/neural.rs"]
mod neural;
#[path = "measure/noises.rs"]
mod noises;
#[path = "measure/p56.rs"]
mod p56;
#[path = "measure/recorded.rs"]
mod recorded;
#[path = "measure/sayings.rs"]
mod sayings;
#[path = "measure/shipped.rs"]
mod shipped;
#[path = "measure/spread.rs"]
mod spread;
#[path = "support/stage.rs"]
#[allow(dead_code)]
mod stage;
#[path = "measure/steps.rs"]
mod steps;
#[path = "measure/strangers.rs"]
mod strangers;
#[path = "measure/voices.rs"]
mod voices;

use noises::{Noise, Random, Scene, place};
use probeside::hear::{HearError, Moonshine, Recogniser, models, open};
use probeside::phrase::{Answer, Grammar, NumberSlot, Phrase, Stakes, Verdict, Vocabulary, decide};
use std::time::Instant;
use voices::{Program, Voice, read_wav};

const VOICE: Voice = Voice { program: Program::Espeak, name: "en-gb-x-rp", speed: 155, pitch: 1.0 };

/// The recogniser. If this machine lacks its files, prints a sentence.
fn engine() -> Option<Moonshine> {
    match Moonshine::open() {
        Ok(engine) => Some(engine),
        Err(error @ HearError::ModelMissing { .. }) => {
            eprintln!("skipped: {error}");
            None
        }
        Err(error) => panic!("{error}"),
    }
}

fn voice() -> Option<Voice> {
    if !VOICE.is_there() {
        eprintln!("skipped: espeak-ng is not on this machine; apt-get install espeak-ng");
        return None;
    }
    Some(VOICE)
}

fn scene(snr: Option<f32>) -> Scene {
    Scene { noise: Noise::Pink, snr, level: -26.0 }
}

/// Substitutions, insertions and deletions per word of the reference.
fn word_errors(reference: &str, heard: &str) -> f64 {
    let words = |text: &str| -> Vec<String> {
        text.split_whitespace()
            .map(|w| w.to_lowercase().replace(|c: char| !c.is_alphanumeric(), ""))
            .filter(|w| !w.is_empty())
            .collect()
    };
    let (reference, heard) = (words(reference), words(heard));
    let mut row: Vec<usize> = (0..=heard.len()).collect();
    for (i, r) in reference.iter().enumerate() {
        let mut corner = row[0];
        row[0] = i + 1;
        for (j, h) in heard.iter().enumerate() {
            let same = corner + usize::from(r != h);
            corner = row[j + 1];
            row[j + 1] = same.min(corner + 1).min(row[j] + 1);
        }
    }
    row[heard.len()] as f64 / reference.len() as f64
}

/// Charles Dickens, A Tale of Two Cities, book 1, chapter 1, the first paragraph (1859, public domain).
const TWO_CITIES: &str = "It was the best of times, it was the worst of times, it was the age of wisdom, it was the age of \
    foolishness, it was the epoch of belief, it was the epoch of incredulity, it was the season of Light, it was the season of \
    Darkness, it was the spring of hope, it was the winter of despair, we had everything before us, we had nothing before us, \
    we were all going direct to Heaven, we were all going direct the other way, in short, the period was so far like the \
    present period, that some of its noisiest authorities insisted on its being received, for good or for evil, in the \
    superlative degree of comparison only.";
/// Largest accepted word error rate of free transcription of that reading.
const TWO_CITIES_ERRORS: f64 = 0.05;

#[test]
fn a_real_reading_is_transcribed() {
    let Some(mut engine) = engine() else { return };
    let folder = models::find().expect("it was opened").folder;
    let Ok(bytes) = std::fs::read(folder.join("two_cities.wav")) else {
        eprintln!("skipped: two_cities.wav is not beside the model");
        return;
    };
    let text = engine.transcribe(&read_wav(&bytes)).expect("it transcribes");
    let errors = word_errors(TWO_CITIES, &text);
    println!("two_cities.wav: word error rate {:.1} %\n{text}", errors * 100.0);
    assert!(errors <= TWO_CITIES_ERRORS, "{errors:.3}: {text}");
}

#[test]
fn a_synthetic_mechanic_is_understood_and_quickly() {
    let (Some(mut engine), Some(voice)) = (engine(), voice()) else { return };
    let grammar = steps::choice_steps().remove(0);
    engine.prepare(&grammar).expect("it prepares");
    let mut random = Random::new(3);
    let (mut right, mut wrong, mut all, mut slowest) = (0, 0, 0, 0.0f64);
    for phrase in &grammar.phrases {
        let spoken = voice.say(&phrase.words);
        for snr in [None, Some(15.0)] {
            let sound = place(&spoken, scene(snr), &mut random);
            let begun = Instant::now();
            let heard = engine.hear(&sound, &grammar).expect("it hears");
            slowest = slowest.max(begun.elapsed().as_secs_f64());
            all += 1;
            match decide(&heard, Stakes::High) {
                Verdict::Accept { heard } if heard.answer == phrase.answer => right += 1,
                Verdict::Accept { heard } => {
                    println!("wrong: {} for {}", heard.words, phrase.words);
                    wrong += 1;
                }
                verdict => println!("{} ({snr:?}): {verdict:?}", phrase.words),
            }
        }
    }
    println!("{right} of {all} taken at once, {wrong} wrong; slowest of them {:.0} ms of computing", slowest * 1e3);
    assert_eq!(wrong, 0);
    assert!(right * 100 >= all * 85, "{right} of {all}");
}

#[test]
fn numbers_are_understood_as_mechanics_say_them() {
    let (Some(mut engine), Some(voice)) = (engine(), voice()) else { return };
    let grammar = steps::volts_step();
    let mut right = 0;
    for (words, value) in steps::VOLTS {
        let sound = place(&voice.say(words), scene(Some(25.0)), &mut Random::new(9));
        let heard = engine.hear(&sound, &grammar).expect("it hears");
        match heard.best.first().map(|h| &h.answer) {
            Some(Answer::Reading(r)) if (r.value - value).abs() < 1e-6 => right += 1,
            _ => println!("{words}: {:?}, free {:?}", heard.best.first(), heard.free),
        }
    }
    println!("{right} of {} numbers", steps::VOLTS.len());
    assert!(right * 10 >= steps::VOLTS.len() * 9);
}

#[test]
fn noise_and_unrelated_talk_are_not_taken() {
    let Some(mut engine) = engine() else { return };
    let grammars = [steps::choice_steps().remove(0), steps::volts_step()];
    let mut random = Random::new(7);
    for noise in [Noise::White, Noise::Hum, Noise::Engine, Noise::Compressor] {
        for grammar in &grammars {
            let sound: Vec<f32> = noise.make(20_000, &mut random).iter().map(|x| x * 0.05).collect();
            let heard = engine.hear(&sound, grammar).expect("it hears");
            assert!(matches!(decide(&heard, Stakes::Low), Verdict::Reject { .. }), "{noise:?}: {heard:?}");
        }
    }
    let silence = engine.hear(&[0.0; 16_000], &grammars[0]).expect("it hears");
    assert!(matches!(decide(&silence, Stakes::Low), Verdict::Reject { .. }), "{silence:?}");
    let Some(voice) = voice() else { return };
    for (i, talk) in strangers::FOR_TESTING.iter().enumerate() {
        let sound = place(&voice.say(talk), scene(Some(25.0)), &mut random);
        let heard = engine.hear(&sound, &grammars[i % 2]).expect("it hears");
        assert!(!matches!(decide(&heard, Stakes::High), Verdict::Accept { .. }), "{talk}: {heard:?}");
    }
}

/// Minutes of a radio around waiting steps. The number of accepted true answers is printed, not asserted: sentences that run together in
/// the noise still swallow some.
const CHATTER_MINUTES: f64 = 10.0;

#[test]
fn ten_minutes_of_chatter_take_no_branch() {
    let (Some(mut engine), Some(voice)) = (engine(), voice()) else { return };
    engine.use_words(Vocabulary::english(), &shipped::elsewhere());
    let listens: Vec<_> = shipped::listens().into_iter().filter(|l| !l.grammar.note).collect();
    let voices = [voice, Voice { name: "en-us+f3", ..voice }, Voice { name: "en-gb-x-gbclan+m2", ..voice }];
    let came = chatter::run(&mut engine, &listens, &voices, CHATTER_MINUTES, &mut Random::new(5));
    chatter::print(&came, CHATTER_MINUTES);
    assert!(came.strangers >= 20, "{came:?}");
    assert_eq!((came.branches.len(), came.mistaken), (0, 0), "{came:?}");
}

#[test]
fn a_beginning_says_that_it_may_go_on() {
    let (Some(mut engine), Some(voice)) = (engine(), voice()) else { return };
    let phrase = |words: &str, id: &str| Phrase { words: words.into(), answer: Answer::Choice(id.into()) };
    let grammar =
        Grammar { phrases: vec![phrase("stays dark", "a"), phrase("stays dark always", "b")], ..Grammar::default() };
    for (words, goes_on) in [("stays dark", true), ("stays dark always", false)] {
        let sound = place(&voice.say(words), scene(None), &mut Random::new(2));
        let heard = engine.hear(&sound, &grammar).expect("it hears");
        assert_eq!((heard.best[0].words.as_str(), heard.may_go_on), (words, goes_on));
    }
}

#[test]
fn odd_sound_and_odd_grammars_are_no_panic() {
    let Some(mut engine) = engine() else { return };
    let empty = Grammar::default();
    let step = steps::choice_steps().remove(0);
    let note = Grammar { note: true, ..Grammar::default() };
    let mut narrow = steps::volts_step();
    narrow.number = narrow.number.map(|n| NumberSlot { low: 5.0, high: 1.0, ..n });
    for sound in [vec![], vec![0.0; 3], vec![f32::NAN; 5_000], vec![f32::INFINITY; 5_000], vec![1.0; 400_000]] {
        for grammar in [&empty, &step, &note, &narrow] {
            let heard = engine.hear(&sound, grammar).expect("it hears");
            assert!(heard.best.iter().all(|h| (0.0..=1.0).contains(&h.probability)), "{heard:?}");
        }
        engine.transcribe(&sound).expect("it transcribes");
    }
}

#[test]
fn the_default_engine_opens_by_name_or_without() {
    if engine().is_none() {
        return;
    }
    for name in [None, Some("moonshine")] {
        assert_eq!(open(name).expect("it opens").name(), "moonshine");
    }
}
