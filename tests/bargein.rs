//! Speaking over a prompt, in samples only. Prompts reach the microphone through a simulated room, with or without an answer over them, and
//! run through the live microphone's code. `cargo run --example bargein` measures the same at length.
#![cfg(feature = "sound")]

#[path = "support/echo_bench.rs"]
mod echo_bench;

use echo_bench::{Bench, Way, at_level};
use probeside::hear::RATE;
use probeside::hear::resample::resample;
use probeside::speak::{Espeak, Flite, Voice};

/// Prompts that contain answers, as questions do.
const PROMPTS: [&str; 5] = [
    "Touch the probe to the live terminal of the coil. Does the lamp light up, or does it stay dark?",
    "With the points open, look at the plug. Is there a blue spark, or no spark at all?",
    "Twelve point six volts: one two point six. Now turn the key off. Say ready when you have done it.",
    "Clip the ground lead to the bare metal of the engine, and keep the tester away from the tank and carburettor.",
    "You can say: say again, help me, go back, skip this, hold on, or stop now.",
];
const ANSWERS: [&str; 5] = ["it lights up", "no spark", "i am ready", "say again", "stop now"];
/// Level of answers, root mean square: -24 dB of full scale.
const ANSWER_LEVEL: f32 = 0.06;
const SEED: u64 = 20_261_127;

fn said(voice: &mut dyn Voice, text: &str) -> Option<Vec<f32>> {
    match voice.synthesise(text, 1.0) {
        Ok(pcm) => Some(resample(&pcm.samples, pcm.rate, RATE)),
        Err(why) if std::env::var_os("PROBESIDE_MUST").is_none() => {
            eprintln!("left out: {why}");
            None
        }
        Err(why) => panic!("{why}"),
    }
}

#[test]
fn prompts_alone_do_not_cut_themselves_and_answers_over_them_do() {
    let (mut espeak, mut flite) = (Espeak::new("en-gb"), Flite::new("rms"));
    let prompts: Option<Vec<Vec<f32>>> = PROMPTS.iter().map(|text| said(&mut espeak, text)).collect();
    let answers: Option<Vec<Vec<f32>>> =
        ANSWERS.iter().map(|text| said(&mut flite, text).map(|s| at_level(s, ANSWER_LEVEL))).collect();
    let (Some(prompts), Some(answers)) = (prompts, answers) else { return };
    let ways = [
        Way { level_db: -18.0, delay_ms: 120, rt60_s: 0.4, drift_ppm: 50.0, lost_ms: 0 },
        Way { level_db: -6.0, delay_ms: 200, rt60_s: 0.3, drift_ppm: 0.0, lost_ms: 0 },
    ];
    for way in ways {
        let mut bench = Bench::new(way, SEED);
        for (turn, prompt) in prompts.iter().enumerate() {
            let heard = bench.turn(prompt, &[], 0);
            assert_eq!(heard.cut, None, "prompt {turn} cut itself: {way:?}, {:?}", bench.echo());
            assert!(heard.utterances.is_empty(), "prompt {turn} was heard: {way:?}");
        }
        let echo = bench.echo();
        println!("{way:?}: {echo:?}");
        let delay = echo.delay.expect("the echo was found") as f64;
        assert!((delay / 16.0 - way.delay_ms as f64).abs() < 8.0 && echo.ready && echo.attenuation_db > 8.0);
        let mut cut = 0;
        for (prompt, answer) in prompts.iter().zip(&answers) {
            let at = RATE as usize * 3 / 2;
            let heard = bench.turn(prompt, answer, at);
            cut += usize::from(heard.cut.is_some_and(|c| c > at && c < at + RATE as usize));
        }
        println!("of {} answers {cut} cut the prompt", answers.len());
        assert!(cut + 1 >= answers.len(), "only {cut} of {} answers cut the prompt: {way:?}", answers.len());
    }
}

#[test]
fn a_prompt_in_which_sound_is_lost_does_not_cut_itself() {
    let mut espeak = Espeak::new("en-gb");
    let prompts: Option<Vec<Vec<f32>>> = PROMPTS.iter().map(|text| said(&mut espeak, text)).collect();
    let Some(prompts) = prompts else { return };
    for (lost_ms, level_db) in [(20, -6.0), (50, -12.0)] {
        let way = Way { level_db, delay_ms: 200, rt60_s: 0.3, drift_ppm: 0.0, lost_ms };
        let mut bench = Bench::new(way, SEED);
        // Every third prompt loses some sound: lengths as seen on busy sound servers here, from memory, no source. The expected result
        // needs no source: nobody speaks, so nothing may be interrupted.
        let turns: Vec<usize> =
            (0..15).filter(|n| bench.turn(&prompts[n % prompts.len()], &[], 0).cut.is_some()).collect();
        println!("{way:?}: prompts cut {turns:?}");
        assert!(turns.is_empty(), "{way:?}: prompts {turns:?} cut themselves");
    }
}

#[test]
fn with_headphones_an_answer_cuts_a_prompt_too() {
    let (mut espeak, mut flite) = (Espeak::new("en-gb"), Flite::new("rms"));
    let prompts: Option<Vec<Vec<f32>>> = PROMPTS.iter().map(|text| said(&mut espeak, text)).collect();
    let (Some(prompts), Some(answer)) = (prompts, said(&mut flite, ANSWERS[0])) else { return };
    let way = Way { level_db: -90.0, delay_ms: 100, rt60_s: 0.3, drift_ppm: 0.0, lost_ms: 0 };
    let mut bench = Bench::new(way, SEED);
    for prompt in &prompts {
        assert_eq!(bench.turn(prompt, &[], 0).cut, None);
    }
    assert!(bench.echo().ready && bench.echo().delay.is_none(), "{:?}", bench.echo());
    let at = RATE as usize * 3 / 2;
    let heard = bench.turn(&prompts[0], &at_level(answer, ANSWER_LEVEL), at);
    assert!(heard.cut.is_some_and(|c| c > at), "nobody could cut the prompt");
}
