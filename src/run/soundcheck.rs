//! The check of microphone, loudspeaker, recogniser and voice: what it tries, measures and recommends.

use super::outcome::Failure;
use crate::hear::checkup::{self, decibels};
use crate::hear::{self, Activity, EarEvent, Ears, Mic, RATE, Recogniser};
use crate::phrase::{Answer, Command, Grammar, Stakes, Verdict, Vocabulary, decide};
use crate::speak::{Aloud, Espeak, Mouth, MouthEvent, Pcm, Say, SpeakError, Voice};
use std::time::{Duration, Instant};
use tokio::sync::mpsc::{UnboundedReceiver, unbounded_channel};

/// How long the check measures the room's noise.
const QUIET: Duration = Duration::from_secs(2);
/// How long the user may take to speak.
const PATIENCE: Duration = Duration::from_secs(8);
/// Time limit for the loudspeaker to play the sweep, and for the microphone to pick it up.
const SWEEP_PATIENCE: Duration = Duration::from_secs(10);
const ECHO_TAIL: Duration = Duration::from_millis(600);
/// Number of decisions timed.
const DECISIONS: usize = 5;
/// The command that the user says for the check.
const SAID: Command = Command::Repeat;

/// Levels in dBFS that the program's authors found workable (common practice, no source).
const NOISE_LOUD: f32 = -40.0;
const VOICE_LOW: f32 = -42.0;
const VOICE_HIGH: f32 = -9.0;
/// The voice must exceed the noise by this, in decibels. Below it the README's figures for 10 dB and worse apply.
const LEAST_ABOVE_NOISE: f32 = 15.0;
/// Share of samples at full scale that counts as clipping: one in five thousand.
const MOST_CLIPPED: f32 = 2e-4;
/// Longest computing time of one decision that is still good, in milliseconds.
const DECISION_GOOD_MS: f64 = 250.0;
/// A louder echo than this interferes with answers, in dBFS.
const ECHO_LOUD: f32 = -40.0;

/// The state of one item.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// As it should be.
    Good,
    /// It works, but could be better.
    Poor,
    /// It is absent or does not work.
    Missing,
    /// It was not tried.
    NotTried,
}

/// One line of the check.
#[derive(Debug, serde::Serialize)]
pub struct Line {
    what: &'static str,
    value: Option<f64>,
    unit: &'static str,
    /// The state.
    pub verdict: Standing,
    /// What was found, as a sentence.
    pub words: String,
    /// What to do, as a sentence.
    pub advice: Option<String>,
}

/// What the check reports while it runs.
pub enum News<'a> {
    /// A line of the sheet.
    Line(&'a Line),
    /// What the user at the microphone has to do now.
    Ask(&'a str),
}

/// What is tried besides the room's noise.
#[derive(Debug, Clone, Copy)]
pub struct Tries {
    /// Somebody speaks.
    pub voice: bool,
    /// A sweep is played and searched for in the microphone's audio.
    pub tone: bool,
}

/// The lines of a check. Each is reported as it is added.
pub struct Sheet<'a> {
    tell: &'a mut dyn FnMut(News<'_>),
    lines: Vec<Line>,
}

impl<'a> Sheet<'a> {
    /// An empty sheet.
    pub fn new(tell: &'a mut dyn FnMut(News<'_>)) -> Self {
        Self { tell, lines: Vec::new() }
    }

    /// Adds a line. `value` has its unit; `fault` gives the state and what to do.
    pub fn line(
        &mut self,
        what: &'static str,
        words: String,
        value: Option<(f64, &'static str)>,
        fault: Option<(Standing, String)>,
    ) {
        let (verdict, advice) = match fault {
            Some((verdict, advice)) => (verdict, Some(advice)),
            None => (Standing::Good, None),
        };
        let value = value.map(|(value, unit)| ((value * 10.0).round() / 10.0, unit));
        let line = Line { what, value: value.map(|v| v.0), unit: value.map_or("", |v| v.1), verdict, words, advice };
        (self.tell)(News::Line(&line));
        self.lines.push(line);
    }

    fn ask(&mut self, what: &str) {
        (self.tell)(News::Ask(what));
    }

    /// All lines.
    pub fn lines(&self) -> &[Line] {
        &self.lines
    }

    /// Checks that nothing is missing; the failure lists what to do.
    ///
    /// # Errors
    /// Something is missing.
    pub fn ready(&self) -> Result<(), Failure> {
        let missing = self.lines.iter().filter(|line| line.verdict == Standing::Missing);
        let advice: Vec<&str> = missing.filter_map(|line| line.advice.as_deref()).collect();
        if advice.is_empty() { Ok(()) } else { Err(Failure::Lacks(advice.join("\n"))) }
    }
}

/// A voice that says the sweep, whatever the text.
struct Sweep;

impl Voice for Sweep {
    fn synthesise(&mut self, _text: &str, _speed: f32) -> Result<Pcm, SpeakError> {
        Ok(Pcm { rate: RATE, samples: checkup::sweep(RATE).into() })
    }
}

/// Checks everything. `voice` is the espeak-ng voice of prompts.
pub fn check(mut engine: Option<Box<dyn Recogniser>>, voice: &str, tries: Tries, sheet: &mut Sheet<'_>) {
    if let Some(engine) = &mut engine {
        decisions(engine.as_mut(), voice, sheet);
    }
    let (to, from) = unbounded_channel();
    let activity = match Activity::usual() {
        Ok(activity) => Some(activity),
        Err(why) => {
            let fault = (Standing::Missing, sentence(&why));
            sheet.line("voice-detector", "There is no voice detector.".into(), None, Some(fault));
            None
        }
    };
    let mic = match activity {
        Some(activity) => Mic::start(to, activity).map(Some),
        None => Mic::try_out().map(|()| None),
    };
    match mic {
        Ok(Some(mic)) => microphone(mic, from, engine, tries, sheet),
        Ok(None) => {
            let fault = (Standing::NotTried, "It needs the voice detector.".into());
            sheet.line("microphone", "The microphone opens, and was not listened to.".into(), None, Some(fault));
        }
        Err(why) => {
            let fault = (Standing::Missing, sentence(&why));
            sheet.line("microphone", "There is no microphone.".into(), None, Some(fault));
        }
    }
}

/// The grammar of a step that has to be acknowledged.
fn grammar() -> Grammar {
    let words = Vocabulary::english();
    let phrases = words.done_phrases().into_iter().chain(words.command_phrases()).chain(words.escape_phrases());
    Grammar { phrases: phrases.collect(), ..Grammar::default() }
}

/// Times decisions on a synthesised command. The first is not counted: it prepares the recogniser for the grammar.
fn decisions(engine: &mut dyn Recogniser, voice: &str, sheet: &mut Sheet<'_>) {
    let said = Vocabulary::english().taught(SAID).to_owned();
    let sound = match Espeak::new(voice).synthesise(&said, 1.0) {
        Ok(pcm) => {
            sheet.line("voice", "The voice espeak-ng speaks.".into(), None, None);
            hear::resample::resample(&pcm.samples, pcm.rate, RATE)
        }
        Err(why) => {
            sheet.line(
                "voice",
                "The voice espeak-ng does not speak.".into(),
                None,
                Some((Standing::Missing, sentence(&why))),
            );
            checkup::sweep(RATE)
        }
    };
    let grammar = grammar();
    let mut took: Vec<f64> = Vec::new();
    for turn in 0..=DECISIONS {
        let began = Instant::now();
        if let Err(why) = engine.hear(&sound, &grammar) {
            let advice = "Run 'models/setup --verify'.".to_owned();
            return sheet.line(
                "decision",
                format!("The recogniser fails: {why}."),
                None,
                Some((Standing::Poor, advice)),
            );
        }
        if turn > 0 {
            took.push(began.elapsed().as_secs_f64() * 1e3);
        }
    }
    took.sort_by(f64::total_cmp);
    let (middle, worst) = (took[took.len() / 2], took[took.len() - 1]);
    let fault = (middle > DECISION_GOOD_MS).then(|| {
        (
            Standing::Poor,
            "Answers will be slow: close other programs, build with --release, or take a faster machine.".to_owned(),
        )
    });
    let words = format!("A decision takes {middle:.0} ms of computing ({worst:.0} ms at most of {DECISIONS}).");
    sheet.line("decision", words, Some((middle, "ms")), fault);
}

fn microphone(
    mut mic: Mic,
    mut from: UnboundedReceiver<EarEvent>,
    engine: Option<Box<dyn Recogniser>>,
    tries: Tries,
    sheet: &mut Sheet<'_>,
) {
    let (rate, channels) = mic.format();
    let words = format!("The microphone opens: {rate} samples a second, {channels} channel(s).");
    sheet.line("microphone", words, Some((f64::from(rate), "Hz")), None);
    mic.open();
    sheet.ask("Listening to the room for two seconds: please be quiet ...");
    mic.record();
    std::thread::sleep(QUIET);
    let room = mic.recorded();
    let least = RATE as usize;
    if room.len() < least {
        let advice =
            "See that the sound server runs and that this microphone is chosen in the system's settings.".to_owned();
        return sheet.line("noise", "The microphone gives no sound.".into(), None, Some((Standing::Missing, advice)));
    }
    let room = checkup::room(&room);
    let noise = room.noise_db;
    let fault = if room.dead {
        Some((Standing::Poor, "Nothing at all comes in: is the microphone muted or switched off?".to_owned()))
    } else if noise > NOISE_LOUD {
        Some((Standing::Poor, "The room is loud: move the microphone to the mouth, or turn its level down.".to_owned()))
    } else {
        None
    };
    sheet.line(
        "noise",
        format!("The room's noise is at {noise:.0} dB of full scale."),
        Some((noise.into(), "dBFS")),
        fault,
    );
    if !tries.voice {
        sheet.line(
            "voice-level",
            "The voice was not tried (--no-voice).".into(),
            None,
            Some((Standing::NotTried, "Leave --no-voice out to try it.".into())),
        );
    } else {
        voice(&mut mic, &mut from, noise, engine, sheet);
    }
    if !tries.tone {
        sheet.line(
            "echo",
            "The echo was not tried (--no-tone).".into(),
            None,
            Some((Standing::NotTried, "Leave --no-tone out to try it.".into())),
        );
    } else {
        echo(&mut mic, sheet);
    }
}

/// Waits until somebody says a command as at the bike.
fn voice(
    mic: &mut Mic,
    from: &mut UnboundedReceiver<EarEvent>,
    noise: f32,
    engine: Option<Box<dyn Recogniser>>,
    sheet: &mut Sheet<'_>,
) {
    let said = Vocabulary::english().taught(SAID);
    while from.try_recv().is_ok() {}
    sheet.ask(&format!("Now say \"{said}\" as you would at the bike ..."));
    let until = Instant::now() + PATIENCE;
    let mut heard = None;
    while Instant::now() < until && heard.is_none() {
        match from.try_recv() {
            Ok(EarEvent::Utterance(utterance)) if utterance.last => heard = Some(utterance),
            Ok(_) => {}
            Err(_) => std::thread::sleep(Duration::from_millis(5)),
        }
    }
    mic.close();
    let Some(utterance) = heard else {
        let advice =
            "If you did speak, the microphone is too far away, muted or not the one that is chosen.".to_owned();
        return sheet.line(
            "voice-level",
            "Nobody was heard to speak.".into(),
            None,
            Some((Standing::NotTried, advice)),
        );
    };
    let speech = checkup::speech(&utterance.sound);
    let level = speech.level_db;
    let fault = if level < VOICE_LOW {
        Some("Too quiet: turn the microphone up or bring it nearer.")
    } else if level > VOICE_HIGH {
        Some("Too loud: turn the microphone down.")
    } else {
        None
    };
    let poor = |advice: &str| (Standing::Poor, advice.to_owned());
    sheet.line(
        "voice-level",
        format!("Your voice is at {level:.0} dB of full scale."),
        Some((level.into(), "dBFS")),
        fault.map(poor),
    );
    let above = level - noise;
    let fault = (above < LEAST_ABOVE_NOISE).then(|| {
        poor("Answers will be asked again often: bring the microphone to the mouth, or wait until it is quieter.")
    });
    sheet.line(
        "voice-over-noise",
        format!("It stands {above:.0} dB above the room's noise."),
        Some((above.into(), "dB")),
        fault,
    );
    let fault = (speech.clipped > MOST_CLIPPED).then(|| poor("Turn the microphone's level down until no peak is cut."));
    let words = match fault {
        Some(_) => format!("Its peaks are cut off: {:.2} % of it.", speech.clipped * 100.0),
        None => "No peak is cut off.".to_owned(),
    };
    sheet.line("clipping", words, Some((f64::from(speech.clipped) * 100.0, "%")), fault);
    let Some(mut engine) = engine else { return };
    let verdict = engine.hear(&utterance.sound, &grammar()).map(|heard| decide(&heard, Stakes::Low));
    let (words, fault) = match verdict {
        Ok(Verdict::Accept { heard }) if heard.answer == Answer::Command(SAID) => {
            (format!("\"{said}\" was understood."), None)
        }
        Ok(Verdict::Accept { heard } | Verdict::Confirm { heard, .. }) => (
            format!("\"{}\" was understood ({:.0} % sure).", heard.words, heard.probability * 100.0),
            Some(poor("If you said something else, speak a little slower and run this again, or enrol your voice.")),
        ),
        _ => (
            "It was not understood.".to_owned(),
            Some(poor("Speak nearer to the microphone and run this again, or enrol your voice.")),
        ),
    };
    sheet.line("understood", words, None, fault);
}

/// An error as the sheet shows it: a sentence.
fn sentence(why: &impl std::fmt::Display) -> String {
    let text = why.to_string();
    let mut rest = text.chars();
    let first = rest.next().map(|first| first.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}.", rest.as_str())
}

/// Plays the sweep and searches for it in the microphone's audio.
fn echo(mic: &mut Mic, sheet: &mut Sheet<'_>) {
    let (to, mut from) = unbounded_channel();
    let mut mouth = match Aloud::start(to, Box::new(Sweep)) {
        Ok(mouth) => mouth,
        Err(why) => {
            let advice = format!("{} Without one, '--say printed' shows the prompts.", sentence(&why));
            return sheet.line(
                "loudspeaker",
                "There is no loudspeaker.".into(),
                None,
                Some((Standing::Missing, advice)),
            );
        }
    };
    sheet.ask("A short tone is played ...");
    mic.record();
    mouth.say(Say::new(1, "sweep"));
    let until = Instant::now() + SWEEP_PATIENCE;
    let (mut began, mut ended) = (0, false);
    while Instant::now() < until && !ended {
        match from.try_recv() {
            Ok(MouthEvent::PromptBegan { .. }) => began = mic.recorded_so_far(),
            Ok(MouthEvent::PromptEnded { .. }) => ended = true,
            Ok(_) => {}
            Err(_) => std::thread::sleep(Duration::from_millis(1)),
        }
    }
    if !ended {
        let advice =
            "See that the sound server runs and that this loudspeaker is chosen in the system's settings.".to_owned();
        return sheet.line(
            "loudspeaker",
            "The loudspeaker takes no sound.".into(),
            None,
            Some((Standing::Missing, advice)),
        );
    }
    std::thread::sleep(ECHO_TAIL);
    let recorded = mic.recorded();
    sheet.line("loudspeaker", "The loudspeaker plays.".into(), None, None);
    let Some(found) = checkup::echo(&checkup::sweep(RATE), &recorded) else {
        let words = "The microphone does not hear the loudspeaker: headphones, or it is turned down.".to_owned();
        return sheet.line("echo", words, None, None);
    };
    let fault = (found.level_db > ECHO_LOUD).then(|| {
        (
            Standing::Poor,
            "Prompts come back loudly: turn the loudspeaker down, move the microphone away from it, or use headphones. \
             Until then walk without --bargein."
                .to_owned(),
        )
    });
    let sent =
        decibels((checkup::sweep(RATE).iter().map(|x| x * x).sum::<f32>() / checkup::sweep(RATE).len() as f32).sqrt());
    let words = format!(
        "The microphone hears the loudspeaker at {:.0} dB of full scale, {:.0} dB below what was played.",
        found.level_db,
        sent - found.level_db
    );
    sheet.line("echo", words, Some((found.level_db.into(), "dBFS")), fault);
    let delay = checkup::milliseconds(found.at.saturating_sub(began));
    sheet.line("echo-delay", format!("A prompt comes back after about {delay:.0} ms."), Some((delay, "ms")), None);
}
