//! Speaking over a prompt, on samples alone: a prompt goes through a room back into the microphone at several levels, with or without
//! somebody's answer over it, through the code that the live microphone runs. When speech is noticed the prompt ends, as it does in a
//! walk. What is heard then is judged by the real recogniser. The voice of the prompts is espeak-ng's, that of the answers flite's.
#![cfg(feature = "sound")]

use probeside::hear::resample::resample;
use probeside::hear::{ActivitySettings, Duplex, RATE, Recogniser, Utterance, Voiced};
use probeside::phrase::{Answer, Grammar, Phrase, Stakes, Verdict, decide};
use probeside::speak::{Espeak, Flite, Voice};

/// Samples handed over at a time: 10 ms.
const STEP: usize = RATE as usize / 100;
/// From handing a sample over until its echo is heard, and from noticing speech until the prompt is silent, in samples.
const DELAY: usize = RATE as usize * 12 / 100;
const CUT_AFTER: usize = RATE as usize * 6 / 100;
/// Root mean square of answers and of the room's noise: 32 dB apart.
const ANSWER_LEVEL: f32 = 0.06;
const NOISE_LEVEL: f32 = 0.0015;
/// What the loudspeaker loses on its way into the microphone, in decibels; at 0 the echo is louder than most answers.
const LEVELS: [f32; 3] = [0.0, -6.0, -20.0];
/// The room: the length of its response in samples, the reflections in it, the time in which its sound falls by 60 dB.
const ROOM: usize = RATE as usize / 4;
const REFLECTIONS: usize = 150;
const RT60_S: f32 = 0.35;
const SEED: u64 = 20_261_125;

/// Prompts that hold answers of the grammar below, as read-backs and questions do.
const PROMPTS: [&str; 6] = [
    "Touch the probe to the live terminal of the coil. Does the lamp light up, or does it stay dark?",
    "Did you say the lamp stays dark?",
    "With the points open, look at the plug. Is there a blue spark, or no spark at all?",
    "Twelve point six volts: one two point six. Now turn the key off. Say ready when you have done it.",
    "Clip the ground lead to the bare metal of the engine, and keep the tester away from the tank and carburettor.",
    "You can say: say again, help me, go back, skip this, hold on, or stop now.",
];
const ANSWERS: [&str; 8] =
    ["it lights up", "stays dark", "blue spark", "no spark", "i am ready", "say again", "stop now", "help me"];

fn grammar() -> Grammar {
    let phrase = |words: &&str| Phrase { words: (*words).into(), answer: Answer::Choice((*words).into()) };
    Grammar { phrases: ANSWERS.iter().map(phrase).collect(), ..Grammar::default() }
}

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

fn at_level(mut sound: Vec<f32>, level: f32) -> Vec<f32> {
    let rms = (sound.iter().map(|s| s * s).sum::<f32>() / sound.len() as f32).sqrt();
    sound.iter_mut().for_each(|s| *s *= level / rms);
    sound
}

/// A room's response: the direct sound, then reflections that die away; where each comes and how strong.
fn room(random: &mut fastrand::Rng, level_db: f32) -> Vec<(usize, f32)> {
    let fall = 10f32.powf(-3.0 / (RT60_S * RATE as f32));
    let mut taps = vec![(0, 1.0)];
    taps.extend((0..REFLECTIONS).map(|_| {
        let at = random.usize(RATE as usize / 500..ROOM);
        (at, (random.f32() * 2.0 - 1.0) * 0.6 * fall.powi(at as i32))
    }));
    let energy = taps.iter().map(|t| t.1 * t.1).sum::<f32>().sqrt();
    taps.iter_mut().for_each(|t| t.1 *= 10f32.powf(level_db / 20.0) / energy);
    taps
}

/// A microphone before a loudspeaker.
struct Bench {
    duplex: Duplex,
    room: Vec<(usize, f32)>,
    random: fastrand::Rng,
    /// Echo still to come, from the sample now heard on.
    echo: std::collections::VecDeque<f32>,
}

#[derive(Default)]
struct Heard {
    /// The prompt was cut at this sample.
    cut: Option<usize>,
    utterances: Vec<Utterance>,
}

impl Bench {
    fn new(duplex: Duplex, level_db: f32, seed: u64) -> Self {
        let mut random = fastrand::Rng::with_seed(seed);
        let room = room(&mut random, level_db);
        Self { duplex, room, random, echo: vec![0.0; DELAY + ROOM].into() }
    }

    /// Plays a prompt while somebody says `answer` from sample `at` on; the loudspeaker is a little non-linear, as all are.
    fn turn(&mut self, prompt: &[f32], answer: &[f32], at: usize) -> Heard {
        let mut heard = Heard::default();
        let (mut ends, mut found) = (prompt.len(), Vec::new());
        let length = prompt.len().max(at + answer.len()) + 3 * RATE as usize / 2;
        for begin in (0..length).step_by(STEP) {
            let (mut near, mut far) = ([0.0; STEP], [0.0; STEP]);
            for n in 0..STEP {
                let now = begin + n;
                let sample = if now < ends { prompt.get(now).copied().unwrap_or(0.0) } else { 0.0 };
                far[n] = sample;
                if sample != 0.0 {
                    let loud = (sample * 1.5).tanh() / 1.5;
                    for (at, tap) in &self.room {
                        self.echo[DELAY + at] += tap * loud;
                    }
                }
                let noise = (self.random.f32() * 2.0 - 1.0) * NOISE_LEVEL * 3f32.sqrt();
                let voice = now.checked_sub(at).and_then(|n| answer.get(n)).copied().unwrap_or(0.0);
                near[n] = self.echo.pop_front().unwrap_or(0.0) + voice + noise;
                self.echo.push_back(0.0);
            }
            self.duplex.push(&near, &far, true, &mut found);
            for event in found.drain(..) {
                match event {
                    Voiced::Began { .. } if begin < ends => {
                        heard.cut = Some(begin);
                        ends = ends.min(begin + CUT_AFTER);
                    }
                    Voiced::Began { .. } => {}
                    Voiced::Utterance(utterance) if utterance.last => heard.utterances.push(utterance),
                    Voiced::Utterance(_) => {}
                }
            }
        }
        self.duplex.forget();
        heard
    }
}

/// What a walk would take.
fn taken(recogniser: &mut dyn Recogniser, grammar: &Grammar, utterance: &Utterance) -> Option<String> {
    if utterance.is_own_voice() {
        return None;
    }
    let heard = recogniser.hear(&utterance.sound, grammar).expect("it hears");
    match decide(&heard, Stakes::Low) {
        Verdict::Accept { heard } => Some(heard.words),
        _ => None,
    }
}

#[test]
fn the_own_voice_is_never_taken_for_an_answer_and_an_answer_over_a_prompt_is_heard() {
    let (mut espeak, mut flite) = (Espeak::new("en-gb"), Flite::new("rms"));
    let prompts: Option<Vec<Vec<f32>>> = PROMPTS.iter().map(|text| said(&mut espeak, text)).collect();
    let answers: Option<Vec<Vec<f32>>> =
        ANSWERS.iter().map(|text| said(&mut flite, text).map(|s| at_level(s, ANSWER_LEVEL))).collect();
    let (Some(prompts), Some(answers)) = (prompts, answers) else { return };
    let mut recogniser = match probeside::hear::open(None) {
        Ok(recogniser) => recogniser,
        Err(why) => {
            assert!(std::env::var_os("PROBESIDE_MUST").is_none(), "{why}");
            return eprintln!("left out: {why}");
        }
    };
    let grammar = grammar();
    println!("seed {SEED}");
    let (mut wrong, mut alone, mut cut_alone) = (Vec::new(), 0, 0);
    // The same answers without a prompt: what the recogniser makes of them at best.
    let mut quiet = Bench::new(Duplex::new(ActivitySettings::default()), 0.0, SEED);
    let best = answers.iter().zip(ANSWERS).filter(|(answer, words)| {
        let heard = quiet.turn(&[], answer, RATE as usize);
        heard.utterances.iter().any(|u| taken(&mut *recogniser, &grammar, u).as_deref() == Some(*words))
    });
    let best = best.count();
    println!("{best} of {} answers are taken where no prompt is", ANSWERS.len());
    let mut right_in_all = 0;
    for level in LEVELS {
        let mut bench = Bench::new(Duplex::new(ActivitySettings::default()), level, SEED);
        let (mut cuts, mut tries, mut cut, mut right, mut likest) = (0, 0, 0, 0, 0.0_f32);
        // Twice round: the first prompts are those from which the canceller learns.
        for (turn, prompt) in prompts.iter().chain(&prompts).enumerate() {
            let heard = bench.turn(prompt, &[], 0);
            cuts += usize::from(heard.cut.is_some());
            alone += 1;
            for utterance in &heard.utterances {
                println!(
                    "  {level} dB, prompt {turn} alone: likeness {:?}, {} samples",
                    utterance.likeness,
                    utterance.sound.len()
                );
                if let Some(words) = taken(&mut *recogniser, &grammar, utterance) {
                    wrong.push(format!("{level} dB: {words:?} out of the prompt {turn}"));
                }
            }
        }
        cut_alone += cuts;
        for (turn, (answer, words)) in answers.iter().zip(ANSWERS).enumerate() {
            let prompt = &prompts[turn % prompts.len()];
            let heard = bench.turn(prompt, answer, RATE as usize * (6 + turn) / 10);
            tries += 1;
            cut += usize::from(heard.cut.is_some());
            let mut took = None;
            for utterance in &heard.utterances {
                likest = likest.max(utterance.likeness.unwrap_or(0.0));
                let now = taken(&mut *recogniser, &grammar, utterance);
                println!("  {level} dB, {words:?}: {now:?}, likeness {:?}", utterance.likeness);
                took = took.or(now);
            }
            match took {
                Some(took) if took == words => right += 1,
                Some(took) => wrong.push(format!("{level} dB: {took:?} for {words:?}")),
                None => {}
            }
        }
        right_in_all += right;
        println!(
            "{level} dB: prompts alone cut {cuts} of {}, of answers {cut} cut the prompt and {right} were taken, of {tries}; \
             likeness up to {likest:.2}",
            2 * prompts.len()
        );
    }
    // Should the canceller fail, the prompt does come through; then it is known by its likeness.
    let mut bench = Bench::new(Duplex::uncancelled(ActivitySettings::default()), -6.0, SEED);
    let (mut leaked, mut known) = (0, 0);
    for (turn, prompt) in prompts.iter().enumerate() {
        for utterance in bench.turn(prompt, &[], 0).utterances {
            leaked += 1;
            known += usize::from(utterance.is_own_voice());
            println!(
                "  not cancelled, prompt {turn}: likeness {:?}, {} samples",
                utterance.likeness,
                utterance.sound.len()
            );
            if let Some(words) = taken(&mut *recogniser, &grammar, &utterance) {
                wrong.push(format!("not cancelled: {words:?} out of the prompt {turn}"));
            }
        }
    }
    let tries = LEVELS.len() * ANSWERS.len();
    println!(
        "prompts alone cut {cut_alone} of {alone}; {right_in_all} of {tries} answers over prompts taken; without the canceller \
         {leaked} stretches of prompts came through, {known} known by their likeness"
    );
    assert!(wrong.is_empty(), "{wrong:#?}");
    assert!(cut_alone * 20 <= alone, "{cut_alone} of {alone} prompts alone were cut");
    assert!(right_in_all * 2 >= tries * best / ANSWERS.len(), "only {right_in_all} of {tries} were heard");
    assert!(leaked > 0 && known * 10 >= leaked * 9, "{known} of {leaked} were known");
}
