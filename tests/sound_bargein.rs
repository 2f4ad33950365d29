//! Speaking over a prompt, over a real sound server: what the program plays is led back into its microphone, a few decibels weaker,
//! and somebody answers over it. The pieces are those that `probeside walk --bargein` joins.
//!
//! One test, since the sound system reads this process's environment.
#![cfg(all(feature = "sound", target_os = "linux"))]

#[allow(dead_code, reason = "other tests record")]
#[path = "support/sound_loop.rs"]
mod sound_loop;

use probeside::hear::{ActivitySettings, EarEvent, Ears, Mic, RATE, Utterance, reference, write_wav};
use probeside::phrase::{Answer, Grammar, Phrase, Stakes, Verdict, decide};
use probeside::speak::{Aloud, Espeak, Flite, Mouth, MouthEvent, Say, Voice};
use sound_loop::SoundLoop;
use std::process::Command;
use std::time::{Duration, Instant};
use tokio::sync::mpsc::{UnboundedReceiver, unbounded_channel};

const PROMPTS: [&str; 3] = [
    "Clip the ground lead to the bare metal of the engine, and keep the tester away from the tank.",
    "Touch the probe to the live terminal of the coil. Does the lamp light up, or does it stay dark?",
    "With the points open, look at the plug. Is there a blue spark, or no spark at all?",
];
const ANSWERS: [&str; 3] = ["it lights up", "stays dark", "say again"];
/// The loudspeaker as the microphone hears it: the server's volumes are cubes, so this is -10.5 dB.
const ECHO_VOLUME: &str = "67%";
/// The machine may be busy: a prompt takes at most this long.
const PATIENCE: Duration = Duration::from_secs(25);
/// Rounds of prompts that are only to be learnt from.
const LEARNING: usize = 1;

/// What became of one prompt.
#[derive(Debug, Default)]
struct Turn {
    whole: bool,
    /// From the beginning of the answer until the prompt was said to be cut.
    cut_after: Option<Duration>,
    utterances: Vec<Utterance>,
}

/// Says a prompt; with `answer`, that file is played a second after the prompt began.
fn turn(
    sound: &SoundLoop,
    mouth: &mut Aloud,
    ears: &mut UnboundedReceiver<EarEvent>,
    said: &mut UnboundedReceiver<MouthEvent>,
    prompt: (u64, &str),
    answer: Option<&std::path::Path>,
) -> Turn {
    while ears.try_recv().is_ok() {}
    let mut turn = Turn::default();
    mouth.say(Say::new(prompt.0, prompt.1));
    let (until, mut began, mut spoke, mut over, mut talking) = (Instant::now() + PATIENCE, None, None, None, false);
    std::thread::scope(|scope| {
        while Instant::now() < until {
            match said.try_recv() {
                Ok(MouthEvent::PromptBegan { .. }) => began = Some(Instant::now()),
                Ok(MouthEvent::PromptEnded { whole, .. }) => {
                    turn.whole = whole;
                    over = Some(Instant::now());
                    turn.cut_after = spoke.filter(|_| !whole).map(|at: Instant| at.elapsed());
                }
                _ => {}
            }
            match ears.try_recv() {
                Ok(EarEvent::Began { .. }) => {
                    talking = true;
                    mouth.interrupt();
                }
                Ok(EarEvent::Utterance(utterance)) if utterance.last => {
                    talking = false;
                    turn.utterances.push(utterance);
                }
                _ => {}
            }
            if let (Some(file), None) = (answer, spoke)
                && began.is_some_and(|at: Instant| at.elapsed() > Duration::from_secs(1))
            {
                spoke = Some(Instant::now());
                scope.spawn(|| sound.play(file));
            }
            let quiet = Duration::from_millis(if answer.is_some() { 3_000 } else { 1_500 });
            if !talking && over.is_some_and(|at: Instant| at.elapsed() > quiet) {
                return;
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        assert!(over.is_some(), "the prompt never ended");
    });
    turn
}

#[test]
fn an_answer_over_a_prompt_is_heard_and_the_prompt_itself_is_not() {
    let mut recogniser = match probeside::hear::open(None) {
        Ok(recogniser) => recogniser,
        Err(why) => {
            assert!(std::env::var_os("PROBESIDE_MUST").is_none(), "{why}");
            return eprintln!("left out: {why}");
        }
    };
    let mut flite = Flite::new("rms");
    let spoken: Result<Vec<_>, _> = ANSWERS.iter().map(|words| flite.synthesise(words, 1.0)).collect();
    let spoken = match spoken {
        Ok(spoken) => spoken,
        Err(why) => {
            assert!(std::env::var_os("PROBESIDE_MUST").is_none(), "{why}");
            return eprintln!("left out: {why}");
        }
    };
    let Some(sound) = SoundLoop::start() else { return };
    let led_back = Command::new("pactl")
        .args(["load-module", "module-loopback", "source=ear.monitor", "sink=mouth", "latency_msec=60"])
        .output()
        .expect("pactl runs");
    assert!(led_back.status.success(), "{}", String::from_utf8_lossy(&led_back.stderr));
    let quieter = Command::new("pactl").args(["set-sink-input-volume", "0", ECHO_VOLUME]).status();
    assert!(quieter.is_ok_and(|s| s.success()), "the loop's volume can be set");
    let (played, heard) = reference();
    let (to, mut ears) = unbounded_channel();
    let mut mic = Mic::start_over(to, ActivitySettings::default(), heard).expect("a microphone");
    let (to, mut said) = unbounded_channel();
    let mut mouth = Aloud::start_heard(to, Box::new(Espeak::new("en-gb")), played).expect("a loudspeaker");
    let phrase = |words: &&str| Phrase { words: (*words).into(), answer: Answer::Choice((*words).into()) };
    let grammar = Grammar { phrases: ANSWERS.iter().map(phrase).collect(), ..Grammar::default() };
    let mut taken = |utterances: &[Utterance]| -> Vec<String> {
        let others = utterances.iter().filter(|u| !u.is_own_voice());
        let verdicts = others.map(|u| decide(&recogniser.hear(&u.sound, &grammar).expect("it hears"), Stakes::Low));
        verdicts.filter_map(|v| if let Verdict::Accept { heard } = v { Some(heard.words) } else { None }).collect()
    };
    mic.open();
    let (mut id, mut wrong, mut whole, mut right, mut cut) = (0, Vec::new(), 0, 0, 0);
    for text in PROMPTS.iter().cycle().take(LEARNING * PROMPTS.len()) {
        id += 1;
        let turn = turn(&sound, &mut mouth, &mut ears, &mut said, (id, text), None);
        whole += usize::from(turn.whole);
        let likenesses: Vec<_> = turn.utterances.iter().map(|u| u.likeness).collect();
        println!("prompt {id} alone: whole {}, latency {:?}, likenesses {likenesses:?}", turn.whole, mouth.latency());
        wrong.extend(taken(&turn.utterances).into_iter().map(|words| format!("{words:?} out of prompt {id}")));
    }
    for ((text, words), pcm) in PROMPTS.iter().zip(ANSWERS).zip(&spoken) {
        id += 1;
        let wav = sound.file("answer.wav");
        write_wav(&wav, &pcm.samples, pcm.rate).expect("a file");
        let turn = turn(&sound, &mut mouth, &mut ears, &mut said, (id, text), Some(&wav));
        let took = taken(&turn.utterances);
        let likenesses: Vec<_> = turn.utterances.iter().map(|u| u.likeness).collect();
        println!("{words:?}: cut after {:?}, taken {took:?}, likenesses {likenesses:?}", turn.cut_after);
        cut += usize::from(!turn.whole);
        right += usize::from(took.iter().any(|t| t == words));
        wrong.extend(took.into_iter().filter(|t| t != words).map(|t| format!("{t:?} for {words:?}")));
    }
    println!(
        "{whole} of {} prompts alone were said whole; of {} answers {cut} cut the prompt and {right} were taken ({RATE} Hz)",
        LEARNING * PROMPTS.len(),
        ANSWERS.len()
    );
    assert!(wrong.is_empty(), "{wrong:#?}");
    assert!(cut >= 1, "nobody could cut a prompt");
    // Where the server loses sound, echo and prompt come apart and every prompt is cut; then only what was taken is judged.
    if whole * 2 >= LEARNING * PROMPTS.len() {
        assert!(right >= 1, "no answer over a prompt was heard");
    } else {
        println!("the sound server lost sound: that answers are heard was not judged");
    }
}
