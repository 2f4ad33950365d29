//! Speaking over a prompt, over a real sound server. The program's output is fed back into its microphone at a lower level, and somebody
//! answers over it. The components are those that `probeside walk --bargein` connects.
//!
//! A single test, because the sound system reads this process's environment.
#![cfg(all(feature = "sound", target_os = "linux"))]

#[allow(dead_code, reason = "other tests record")]
#[path = "support/sound_loop.rs"]
mod sound_loop;

use probeside::hear::{Activity, EarEvent, Ears, Mic, Utterance, reference, write_wav};
use probeside::phrase::{Answer, Grammar, Phrase, Verdict, verdict_over};
use probeside::speak::{Aloud, Espeak, Flite, Mouth, MouthEvent, Say, Voice};
use sound_loop::{SoundLoop, or_left_out};
use std::time::{Duration, Instant};
use tokio::sync::mpsc::{UnboundedReceiver, unbounded_channel};

/// Prompts alone. The echo canceller finds the echo and adapts during the first two.
const ALONE: [&str; 4] = [
    "Clip the ground lead to the bare metal of the engine, away from the tank.",
    "Touch the probe to the live terminal of the coil. Does the lamp light up?",
    "Turn the engine until the points close. Say ready when you have it.",
    "Look at the plug. Is there a blue spark, or no spark at all?",
];
const ANSWERED: &str = "Touch the probe to the live terminal of the coil, and keep it there. Does the lamp light up, or does it stay dark?";
const ANSWERS: [&str; 3] = ["it lights up", "stays dark", "say again"];
/// Where the server loses sound, the echo path is estimated anew and nothing counts meanwhile. Answers are tried, up to this many, until
/// two have cut their prompts.
const MOST_ANSWERS: usize = 9;
/// Time limit for one prompt. The machine may be busy.
const PATIENCE: Duration = Duration::from_secs(25);

/// The outcome of one prompt.
#[derive(Debug, Default)]
struct Turn {
    whole: bool,
    /// From the start of the answer until the prompt was reported as cut.
    cut_after: Option<Duration>,
    utterances: Vec<Utterance>,
}

/// A loudspeaker and a microphone that hears it.
struct Bench {
    mouth: Aloud,
    said: UnboundedReceiver<MouthEvent>,
    ears: UnboundedReceiver<EarEvent>,
    prompts: u64,
}

impl Bench {
    /// Plays a prompt. With `answer`, that file plays one second after the prompt starts.
    fn turn(&mut self, sound: &SoundLoop, prompt: &str, answer: Option<&std::path::Path>) -> Turn {
        while self.ears.try_recv().is_ok() {}
        let mut turn = Turn::default();
        self.prompts += 1;
        self.mouth.say(Say::new(self.prompts, prompt));
        let (until, mut began, mut spoke, mut over, mut talking) = (Instant::now() + PATIENCE, None, None, None, false);
        std::thread::scope(|scope| {
            while Instant::now() < until {
                match self.said.try_recv() {
                    Ok(MouthEvent::PromptBegan { .. }) => began = Some(Instant::now()),
                    Ok(MouthEvent::PromptEnded { whole, .. }) => {
                        turn.whole = whole;
                        over = Some(Instant::now());
                        turn.cut_after = spoke.filter(|_| !whole).map(|at: Instant| at.elapsed());
                    }
                    _ => {}
                }
                match self.ears.try_recv() {
                    Ok(EarEvent::Began { .. }) => {
                        talking = true;
                        self.mouth.interrupt();
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
                let quiet = Duration::from_millis(if answer.is_some() { 2_000 } else { 900 });
                if !talking && over.is_some_and(|at: Instant| at.elapsed() > quiet) {
                    return;
                }
                std::thread::sleep(Duration::from_millis(5));
            }
            assert!(over.is_some(), "the prompt never ended");
        });
        turn
    }
}

#[test]
fn a_prompt_does_not_cut_itself_and_an_answer_over_it_stops_it() {
    let Some(mut recogniser) = or_left_out(probeside::hear::open(None)) else { return };
    let mut flite = Flite::new("rms");
    let spoken: Result<Vec<_>, _> = ANSWERS.iter().map(|words| flite.synthesise(words, 1.0)).collect();
    let Some(spoken) = or_left_out(spoken) else { return };
    let Some(sound) = SoundLoop::start() else { return };
    sound.lead_back();
    let (played, heard) = reference();
    let (to, ears) = unbounded_channel();
    let mut mic = Mic::start_over(to, Activity::usual().expect("the voice detector"), heard).expect("a microphone");
    let (to, said) = unbounded_channel();
    let mouth = Aloud::start_heard(to, Box::new(Espeak::new("en-gb")), played).expect("a loudspeaker");
    let phrase = |words: &&str| Phrase { words: (*words).into(), answer: Answer::Choice((*words).into()) };
    let grammar = Grammar { phrases: ANSWERS.iter().map(phrase).collect(), ..Grammar::default() };
    let mut taken = |utterances: &[Utterance]| -> Vec<String> {
        let others = utterances.iter().filter(|u| !u.is_own_voice());
        let verdicts = others.map(|u| verdict_over(&recogniser.hear(&u.sound, &grammar).expect("it hears"), &grammar));
        verdicts.filter_map(|v| if let Verdict::Accept { heard } = v { Some(heard.words) } else { None }).collect()
    };
    let mut bench = Bench { mouth, said, ears, prompts: 0 };
    mic.open();
    let began = Instant::now();
    let (mut wrong, mut whole, mut right, mut cut) = (Vec::new(), 0, 0, 0);
    // A busy machine's server loses sound now and then, and what is lost is taken for a voice. A walk says a cut prompt again, and so does
    // this test, once; it says how often.
    let mut again = 0;
    for text in ALONE {
        for attempt in 0..2 {
            let turn = bench.turn(&sound, text, None);
            println!("{text:?} alone: whole {}, {} utterances", turn.whole, turn.utterances.len());
            wrong.extend(taken(&turn.utterances).into_iter().map(|words| format!("{words:?} out of {text:?}")));
            if turn.whole {
                whole += 1;
                again += attempt;
                break;
            }
        }
    }
    let mut tried = 0;
    for (words, pcm) in ANSWERS.iter().zip(&spoken).cycle().take(MOST_ANSWERS) {
        if cut >= 2 && right >= 1 {
            break;
        }
        tried += 1;
        let wav = sound.file("answer.wav");
        write_wav(&wav, &pcm.samples, pcm.rate).expect("a file");
        let turn = bench.turn(&sound, ANSWERED, Some(&wav));
        let took = taken(&turn.utterances);
        let likenesses: Vec<_> = turn.utterances.iter().map(|u| u.likeness).collect();
        println!("{words:?}: cut after {:?}, taken {took:?}, likenesses {likenesses:?}", turn.cut_after);
        cut += usize::from(!turn.whole);
        right += usize::from(took.iter().any(|t| t == words));
        wrong.extend(took.into_iter().filter(|t| t != words).map(|t| format!("{t:?} for {words:?}")));
    }
    println!(
        "{whole} of {} prompts alone were said whole, {again} of them at the second attempt; of {} answers {cut} cut the prompt and {right} were taken; {:.0?}",
        ALONE.len(),
        tried,
        began.elapsed()
    );
    assert!(wrong.is_empty(), "{wrong:#?}");
    assert_eq!(whole, ALONE.len(), "prompts cut themselves");
    assert!(again <= ALONE.len() / 2, "most prompts cut themselves");
    assert!(cut >= 1, "nobody could cut a prompt");
    assert!(right >= 1, "no answer over a prompt was heard");
}
