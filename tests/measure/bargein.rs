//! Measures speaking over prompts, in samples: `cargo run --example bargein [-- SHARE]`.
//!
//! The prompts are shipped ones in the prompts' own voice. They are played into the paths in `WAYS`, each a separate session that starts
//! without knowing the room. First come prompts alone: how many interrupt themselves. Then answers over prompts, in other voices: how many
//! interrupt the prompt, how soon, and how many are understood at the threshold for answers over prompts. The canceller's attenuation is
//! the ratio of the microphone's level to the residual level while an echo sounded, both including the room's noise. SHARE scales the
//! number of prompts.

mod bounds;
#[path = "../support/echo_bench.rs"]
mod echo_bench;
mod steps;

use bounds::share;
use echo_bench::{Bench, Way, at_level};
use probeside::hear::resample::resample;
use probeside::hear::{RATE, Recogniser};
use probeside::phrase::{Answer, Grammar, Stakes, Verdict, decide, verdict_over};
use probeside::speak::{Cached, Espeak, Flite, Voice};
use std::path::Path;

const fn way(level_db: f32, delay_ms: usize, rt60_s: f32, drift_ppm: f64) -> Way {
    Way { level_db, delay_ms, rt60_s, drift_ppm, lost_ms: 0 }
}

/// A server that loses sound in every third prompt.
const LOSING: [Way; 3] = [
    Way { lost_ms: 50, ..way(-12.0, 200, 0.3, 0.0) },
    Way { lost_ms: 20, ..way(-6.0, 200, 0.3, 0.0) },
    Way { lost_ms: 5, ..way(-6.0, 200, 0.3, 0.0) },
];
const WAYS: [Way; 10] = [
    way(-30.0, 20, 0.3, 0.0),
    way(-30.0, 150, 0.5, 50.0),
    way(-24.0, 80, 0.4, 0.0),
    way(-18.0, 250, 0.3, 0.0),
    way(-18.0, 60, 0.5, -50.0),
    way(-12.0, 20, 0.3, 0.0),
    way(-12.0, 120, 0.4, 50.0),
    way(-6.0, 40, 0.3, 0.0),
    way(-6.0, 180, 0.4, 0.0),
    way(-6.0, 250, 0.5, 50.0),
];
/// Number of prompts alone, and of prompts with an answer over them, for each path.
const ALONE: usize = 24;
const ANSWERED: usize = 16;
/// Prompts in a session before the first answer.
const BEFORE: usize = 4;
/// Level of answers, root mean square: -24 dB of full scale.
const ANSWER_LEVEL: f32 = 0.06;
const SEED: u64 = 20_261_127;
/// The answers' voices. Prompts use espeak-ng.
const VOICES: [&str; 3] = ["rms", "slt", "awb"];

/// Shipped prompts of more than 30 bytes without placeholders, in file order.
fn prompts() -> Vec<String> {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures/no-spark.yaml");
    let text = std::fs::read_to_string(file).expect("the procedure");
    let said = text.lines().filter_map(|l| l.trim().strip_prefix("say: "));
    let said = said.filter(|s| !s.contains('{') && !s.starts_with(['>', '|']) && s.len() > 30);
    said.map(|s| s.trim_matches(['"', '\'']).to_owned()).collect()
}

/// An answer, its grammar, and whether it was recognised correctly.
struct Trial {
    words: String,
    grammar: Grammar,
    answer: Option<Answer>,
    volts: Option<f64>,
}

fn trials(random: &mut fastrand::Rng) -> Trial {
    if random.usize(0..4) == 0 {
        let (words, volts) = steps::VOLTS[random.usize(0..steps::VOLTS.len())];
        return Trial { words: words.into(), grammar: steps::volts_step(), answer: None, volts: Some(volts) };
    }
    let all = steps::choice_steps();
    let grammar = all[random.usize(0..all.len())].clone();
    let phrase = grammar.phrases[random.usize(0..grammar.phrases.len())].clone();
    Trial { words: phrase.words, answer: Some(phrase.answer), volts: None, grammar }
}

impl Trial {
    fn is(&self, heard: &Answer) -> bool {
        match (heard, self.volts) {
            (Answer::Reading(reading), Some(volts)) => (reading.value - volts).abs() < 1e-6,
            (heard, _) => self.answer.as_ref() == Some(heard),
        }
    }
}

/// Accepted and right, accepted and wrong, or not accepted.
fn taken(trial: &Trial, verdict: &Verdict) -> (bool, bool) {
    match verdict {
        Verdict::Accept { heard } => (trial.is(&heard.answer), !trial.is(&heard.answer)),
        _ => (false, false),
    }
}

fn main() {
    let scale: f64 = std::env::args().nth(1).map_or(1.0, |s| s.parse().expect("SHARE is a number"));
    let times = |n: usize| ((n as f64 * scale).round() as usize).max(1);
    let only_alone = std::env::var_os("PROBESIDE_ALONE").is_some();
    let mut espeak = Cached::new(Espeak::new("en-gb"));
    let mut say = |text: &str| {
        let pcm = espeak.synthesise(text, 1.0).expect("espeak-ng speaks");
        resample(&pcm.samples, pcm.rate, RATE)
    };
    let prompts: Vec<Vec<f32>> = prompts().iter().map(|text| say(text)).collect();
    println!("{} shipped prompts, seed {SEED}", prompts.len());
    let mut random = fastrand::Rng::with_seed(SEED);
    let (cut, alone) = prompts_alone(&WAYS, times(ALONE), &prompts, &mut random);
    println!("\nPrompts alone that cut themselves: {}", share(cut, alone));
    let (cut, losing) = prompts_alone(&LOSING, times(ALONE), &prompts, &mut random);
    println!("\nWhere sound is lost in every third prompt: {}", share(cut, losing));
    if only_alone {
        return;
    }
    let mut recogniser = probeside::hear::open(None).expect("the recogniser");
    let mut voices: Vec<_> = VOICES.iter().map(|v| Flite::new(v)).collect();
    println!(
        "\n| echo | answers | cut the prompt | after, median and 95 % | taken and right | wrong |\n| --- | --- | --- | --- | --- | --- |"
    );
    let mut all = (0, 0, 0, 0, Vec::new());
    let mut quiet = (0, 0, 0);
    for level in [-30.0, -24.0, -18.0, -12.0, -6.0] {
        let (mut tries, mut cuts, mut right, mut wrong, mut after) = (0, 0, 0, 0, Vec::new());
        for (n, way) in WAYS.iter().enumerate().filter(|(_, w)| w.level_db == level) {
            let mut bench = Bench::new(*way, SEED + 100 + n as u64);
            for _ in 0..BEFORE {
                bench.turn(&prompts[random.usize(0..prompts.len())], &[], 0);
            }
            for turn in 0..times(ANSWERED) {
                let trial = trials(&mut random);
                let spoken = voices[turn % VOICES.len()].synthesise(&trial.words, 1.0).expect("flite speaks");
                let spoken = resample(&spoken.samples, spoken.rate, RATE);
                let onset = spoken.iter().position(|s| s.abs() > 0.02).unwrap_or(0);
                let answer = at_level(spoken, ANSWER_LEVEL);
                let prompt = loop {
                    let prompt = &prompts[random.usize(0..prompts.len())];
                    if prompt.len() > 3 * RATE as usize {
                        break prompt;
                    }
                };
                let at = random.usize(RATE as usize / 2..prompt.len() - 2 * RATE as usize);
                let heard = bench.turn(prompt, &answer, at);
                tries += 1;
                let began = heard.cut.filter(|c| *c > at + onset);
                cuts += usize::from(began.is_some());
                after.extend(began.map(|c| (c - at - onset) as f64 * 1e3 / f64::from(RATE)));
                let over = |u: &probeside::hear::Utterance, r: &mut dyn Recogniser| {
                    let heard = r.hear(&u.sound, &trial.grammar).expect("it hears");
                    taken(&trial, &verdict_over(&heard, &trial.grammar))
                };
                let first = heard.utterances.iter().find(|u| !u.is_own_voice());
                let (yes, no) = first.map_or((false, false), |u| over(u, &mut *recogniser));
                (right, wrong) = (right + usize::from(yes), wrong + usize::from(no));
                let alone =
                    recogniser.hear(&[vec![0.0; 4_000], answer.clone(), vec![0.0; 4_000]].concat(), &trial.grammar);
                let alone = alone.expect("it hears");
                quiet.0 += 1;
                quiet.1 += usize::from(taken(&trial, &verdict_over(&alone, &trial.grammar)).0);
                quiet.2 += usize::from(taken(&trial, &decide(&alone, Stakes::Low)).0);
                if std::env::var_os("PROBESIDE_TELL").is_some() {
                    println!(
                        "    {:?}: cut {:?}, {} utterances, right {yes}, wrong {no}",
                        trial.words,
                        began.map(|c| (c - at) as f64 / 16.0),
                        heard.utterances.len()
                    );
                }
            }
        }
        println!("| {level} dB | {tries} | {cuts} | {} | {right} | {wrong} |", ms(&mut after));
        all = (all.0 + tries, all.1 + cuts, all.2 + right, all.3 + wrong, [all.4, after].concat());
    }
    println!(
        "| all | {} | {} | {} | {} | {} |",
        all.0,
        share(all.1, all.0),
        ms(&mut all.4),
        share(all.2, all.0),
        share(all.3, all.0)
    );
    println!(
        "The same answers without a prompt and without noise: {} at the bar for answers over prompts, {} at the usual one.",
        share(quiet.1, quiet.0),
        share(quiet.2, quiet.0)
    );
}

/// Prompts without answers. Returns how many interrupted themselves, and the total.
fn prompts_alone(ways: &[Way], tries: usize, prompts: &[Vec<f32>], random: &mut fastrand::Rng) -> (usize, usize) {
    let mut cut = 0;
    println!(
        "\n| echo | after | room | drift | lost | prompts cut alone | taken off | delay found |\n\
         | --- | --- | --- | --- | --- | --- | --- | --- |"
    );
    for (n, way) in ways.iter().enumerate() {
        let mut bench = Bench::new(*way, SEED + n as u64);
        let mut cuts = 0;
        for turn in 0..tries {
            let heard = bench.turn(&prompts[random.usize(0..prompts.len())], &[], 0);
            if let Some(at) = heard.cut {
                println!("    prompt {turn} cut at {:.2} s, {:?}", at as f64 / f64::from(RATE), bench.echo());
            }
            cuts += usize::from(heard.cut.is_some());
        }
        cut += cuts;
        let echo = bench.echo();
        println!(
            "| {} dB | {} ms | {} s | {} ppm | {} ms | {cuts} of {tries} | {:.1} dB | {} |",
            way.level_db,
            way.delay_ms,
            way.rt60_s,
            way.drift_ppm,
            way.lost_ms,
            echo.attenuation_db,
            echo.delay.map_or("none".into(), |d| format!("{:.1} ms", d as f64 * 1e3 / f64::from(RATE)))
        );
    }
    (cut, ways.len() * tries)
}

fn ms(all: &mut [f64]) -> String {
    if all.is_empty() {
        return "-".into();
    }
    all.sort_by(f64::total_cmp);
    let at = |share: f64| all[((all.len() - 1) as f64 * share).round() as usize];
    format!("{:.0} and {:.0} ms", at(0.5), at(0.95))
}
