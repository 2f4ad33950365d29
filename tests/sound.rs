//! Microphone and loudspeaker over a real sound server with two null sinks (tests/support/sound_loop.rs). A single test, because the sound
//! system reads this process's environment. Latencies are printed but not asserted, except that a cut must take effect.
#![cfg(all(feature = "sound", target_os = "linux"))]

#[allow(dead_code, reason = "other tests lead the sound back")]
#[path = "support/sound_loop.rs"]
mod sound_loop;

use probeside::hear::resample::resample;
use probeside::hear::{Activity, EarEvent, Ears, Mic, RATE, Utterance, read_wav_as_is, write_wav};
use probeside::speak::{Aloud, Espeak, Mouth, MouthEvent, Pcm, Say, Tone, Voice, tone_samples};
use sound_loop::SoundLoop;
use std::time::{Duration, Instant};
use tokio::sync::mpsc::{UnboundedReceiver, unbounded_channel};

/// Long enough for a busy machine. Nothing is measured against it.
const PATIENCE: Duration = Duration::from_secs(20);
/// A cut must be heard within this time, counted in samples of the recording: the device's buffer, and one callback.
const CUT_WITHIN_MS: u64 = 400;

fn next<T>(from: &mut UnboundedReceiver<T>, until: Instant) -> Option<T> {
    while Instant::now() < until {
        if let Ok(event) = from.try_recv() {
            return Some(event);
        }
        std::thread::sleep(Duration::from_millis(2));
    }
    None
}

fn wait_for<T: std::fmt::Debug>(from: &mut UnboundedReceiver<T>, what: &str, wanted: impl Fn(&T) -> bool) -> T {
    let until = Instant::now() + PATIENCE;
    while let Some(event) = next(from, until) {
        if wanted(&event) {
            return event;
        }
    }
    panic!("no {what} came");
}

fn speech(text: &str) -> Pcm {
    Espeak::new("en").synthesise(text, 1.0).expect("espeak-ng speaks")
}

/// Samples on either side for the fine match, and its resolution as a fraction of a sample. The server's sampling grid may lie anywhere
/// between ours, and hiss that is half a sample off correlates badly with itself.
const AROUND: usize = 64;
const FINER: u32 = 4;

/// The best normalised correlation of `said` in `recorded` (both at 16 kHz), and its position.
fn best_match(recorded: &[f32], said: &[f32]) -> (f64, usize) {
    let mut recorded = recorded.to_vec();
    recorded.extend(vec![0.0; AROUND]);
    let dot = |sound: &[f32], said: &[f32], step: usize| {
        said.iter().zip(sound).step_by(step).map(|(a, b)| f64::from(*a) * f64::from(*b)).sum::<f64>()
    };
    let places = recorded.len().saturating_sub(said.len());
    let coarse = |at: &usize| dot(&recorded[*at..], said, 16);
    let near = (0..=places).max_by(|a, b| coarse(a).total_cmp(&coarse(b))).unwrap_or(0);
    let begin = near.saturating_sub(AROUND);
    let stretch = &recorded[begin..(near + said.len() + AROUND).min(recorded.len())];
    let (stretch, said) = (resample(stretch, RATE, RATE * FINER), resample(said, RATE, RATE * FINER));
    let correlation = |at: usize| {
        let part = &stretch[at..at + said.len()];
        dot(part, &said, 1) / (dot(part, part, 1) * dot(&said, &said, 1)).sqrt().max(1e-12)
    };
    let all = 0..=stretch.len().saturating_sub(said.len());
    let best = all.map(|at| (correlation(at), at)).max_by(|a, b| a.0.total_cmp(&b.0)).unwrap_or((0.0, 0));
    (best.0, begin + best.1 / FINER as usize)
}

#[test]
fn sound_goes_in_and_out_through_a_real_server() {
    let Some(mut sound) = SoundLoop::start() else { return };
    microphone_cuts_utterances(&sound);
    closed_ears_hear_nothing(&sound);
    what_is_said_is_what_was_synthesised(&sound);
    a_cut_is_silent_soon(&sound);
    #[cfg(feature = "system-voice")]
    the_systems_voice_tells_its_end_even_when_the_server_dies(&mut sound);
    lost_and_back(&mut sound);
    let error = {
        sound.kill_server();
        let (to, _from) = unbounded_channel();
        Mic::start(to, Activity::usual().expect("the voice detector")).expect_err("no server, no microphone")
    };
    assert!(error.to_string().contains("--hear typed"), "{error}");
    let (to, _from) = unbounded_channel();
    let error = Aloud::start(to, Box::new(Espeak::new("en"))).expect_err("no server, no loudspeaker");
    assert!(error.machine_lacks() && error.to_string().contains("--say printed"), "{error}");
}

fn utterances(from: &mut UnboundedReceiver<EarEvent>, last: bool, quiet: Duration) -> Vec<Utterance> {
    let mut found = Vec::new();
    while let Some(event) = next(from, Instant::now() + quiet) {
        if let EarEvent::Utterance(utterance) = event
            && utterance.last == last
        {
            found.push(utterance);
        }
    }
    found
}

fn microphone_cuts_utterances(sound: &SoundLoop) {
    let (to, mut from) = unbounded_channel();
    let mut mic = Mic::start(to, Activity::usual().expect("the voice detector")).expect("a microphone");
    println!("microphone: {:?} (samples a second, channels)", mic.format());
    let phrases = ["light on", "twelve point four volts", "stays dark on the left"];
    let mut all = vec![0.0; 22_050 / 2];
    for phrase in phrases {
        all.extend_from_slice(&speech(phrase).samples);
        all.extend(std::iter::repeat_n(0.0, 22_050 * 3 / 2));
    }
    let wav = sound.file("answers.wav");
    write_wav(&wav, &all, 22_050).unwrap();
    mic.open();
    std::thread::sleep(Duration::from_millis(100));
    sound.play(&wav);
    let heard = utterances(&mut from, true, Duration::from_secs(2));
    assert_eq!(heard.len(), phrases.len(), "{:?}", heard.iter().map(|u| (u.begin, u.end)).collect::<Vec<_>>());
    for (phrase, utterance) in phrases.iter().zip(&heard) {
        let said = speech(phrase);
        let said = resample(&said.samples, said.rate, RATE);
        // The cut recording must contain the complete voiced part of the text.
        let loud = |s: &&f32| s.abs() > 0.02;
        let first = said.iter().position(|s| loud(&s)).unwrap();
        let last = said.len() - said.iter().rev().position(|s| loud(&s)).unwrap();
        let (correlation, _) = best_match(&utterance.sound, &said[first..last]);
        println!("microphone: '{phrase}' correlation {correlation:.4}, {} ms cut out", utterance.sound.len() / 16);
        assert!(correlation > 0.98, "'{phrase}' was heard with correlation {correlation}");
    }
    println!("microphone: delay as the sound system says {:?}", mic.level().delay);
}

fn closed_ears_hear_nothing(sound: &SoundLoop) {
    let (to, mut from) = unbounded_channel();
    let mut mic = Mic::start(to, Activity::usual().expect("the voice detector")).expect("a microphone");
    let wav = sound.file("closed.wav");
    let said = speech("nobody listens to this");
    write_wav(&wav, &said.samples, said.rate).unwrap();
    sound.play(&wav);
    assert_eq!(next(&mut from, Instant::now() + Duration::from_millis(1500)), None);
    mic.open();
    sound.play(&wav);
    wait_for(&mut from, "utterance", |e| matches!(e, EarEvent::Utterance(u) if u.last));
}

fn what_is_said_is_what_was_synthesised(sound: &SoundLoop) {
    let (to, mut from) = unbounded_channel();
    let mut mouth = Aloud::start(to, Box::new(Espeak::new("en"))).expect("a loudspeaker");
    let text = "Touch the lamp to the left points.";
    let recording = sound.record("said.wav");
    let asked = Instant::now();
    mouth.tone(Tone::Listening);
    mouth.say(Say::new(5, text));
    wait_for(&mut from, "beginning", |e| *e == MouthEvent::PromptBegan { id: 5 });
    println!("loudspeaker: prompt begins {} ms after it was asked for", asked.elapsed().as_millis());
    let ended = wait_for(&mut from, "end", |e| matches!(e, MouthEvent::PromptEnded { .. }));
    // By now the last sample must have left the loudspeaker. The recording may lack no more than the recorder's own buffer.
    std::thread::sleep(Duration::from_millis(300));
    let (rate, recorded) = read_wav_as_is(&recording.stop()).unwrap();
    let said = speech(text);
    let want = resample(&said.samples, said.rate, rate);
    let MouthEvent::PromptEnded { id: 5, whole: true, samples } = ended else { panic!("{ended:?}") };
    assert!((samples as i64 - (said.samples.len() as u64 * 16_000 / 22_050) as i64).abs() < 16, "{samples}");
    let down = |s: &[f32]| resample(s, rate, RATE);
    let (correlation, at) = best_match(&down(&recorded), &down(&want));
    println!("loudspeaker: correlation {correlation:.4} at {} ms of the recording", at / 16);
    assert!(correlation > 0.98, "{correlation}");
    let end = at + want.len() * 16_000 / rate as usize;
    let after = down(&recorded).len().saturating_sub(end) / 16;
    println!(
        "loudspeaker: latency as told {:?}; 'ended' left {after} ms of recording after the last sample",
        mouth.latency()
    );
    let tone = tone_samples(Tone::Listening, RATE);
    let (correlation, _) = best_match(&down(&recorded)[..at.min(down(&recorded).len())], &tone);
    assert!(correlation > 0.98, "the tone was not heard before the prompt: {correlation}");
}

/// The current length of the recording file, milliseconds, as a mark in its time.
fn recorded_ms(path: &std::path::Path) -> u64 {
    std::fs::metadata(path).map_or(0, |m| m.len().saturating_sub(44) / 2 / 48)
}

fn a_cut_is_silent_soon(sound: &SoundLoop) {
    let (to, mut from) = unbounded_channel();
    let mut mouth = Aloud::start(to, Box::new(Espeak::new("en"))).expect("a loudspeaker");
    let long = "one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen";
    let recording = sound.record("cut.wav");
    mouth.say(Say { interruptible: false, ..Say::new(1, long) });
    mouth.say(Say::new(2, "never said"));
    wait_for(&mut from, "beginning", |e| *e == MouthEvent::PromptBegan { id: 1 });
    std::thread::sleep(Duration::from_millis(1500));
    mouth.interrupt();
    std::thread::sleep(Duration::from_millis(500));
    assert!(from.try_recv().is_err(), "a caution was interrupted");
    let before = recorded_ms(&sound.file("cut.wav"));
    mouth.cut();
    let first = wait_for(&mut from, "end", |_| true);
    assert!(matches!(first, MouthEvent::PromptEnded { id: 1, whole: false, samples } if samples > 16_000), "{first:?}");
    let second = wait_for(&mut from, "second end", |_| true);
    assert_eq!(second, MouthEvent::PromptEnded { id: 2, whole: false, samples: 0 });
    std::thread::sleep(Duration::from_millis(1000));
    let (rate, recorded) = read_wav_as_is(&recording.stop()).unwrap();
    let last =
        recorded.iter().rposition(|s| s.abs() > 0.005).expect("something was said") as u64 * 1000 / u64::from(rate);
    let took = last.saturating_sub(before);
    println!("loudspeaker: silent {took} ms after the cut, by the recording (the recorder's own 20 ms included)");
    assert!(took < CUT_WITHIN_MS, "still heard {took} ms after the cut");
    let asked = Instant::now();
    mouth.say(Say::new(3, "and on it goes"));
    let ended = wait_for(&mut from, "end after a cut", |e| matches!(e, MouthEvent::PromptEnded { id: 3, .. }));
    assert!(matches!(ended, MouthEvent::PromptEnded { whole: true, .. }));
    println!("loudspeaker: the next prompt was over {} ms later", asked.elapsed().as_millis());
}

fn lost_and_back(sound: &mut SoundLoop) {
    let (to, mut ears) = unbounded_channel();
    let mut mic = Mic::start(to, Activity::usual().expect("the voice detector")).expect("a microphone");
    let (to, mut mouth_events) = unbounded_channel();
    let printed = tempfile::NamedTempFile::new().unwrap();
    let mut mouth =
        Aloud::start_printing_to(to, Box::new(Espeak::new("en")), printed.reopen().unwrap()).expect("a loudspeaker");
    mic.open();
    let killed = Instant::now();
    sound.kill_server();
    wait_for(&mut ears, "word that the microphone is lost", |e| matches!(e, EarEvent::Lost(_)));
    println!("microphone: loss told after {} ms", killed.elapsed().as_millis());
    wait_for(&mut mouth_events, "word that the loudspeaker is lost", |e| matches!(e, MouthEvent::Lost(_)));
    println!("loudspeaker: loss told after {} ms", killed.elapsed().as_millis());
    mouth.say(Say::new(9, "Printed instead."));
    wait_for(&mut mouth_events, "end of the printed prompt", |e| {
        matches!(e, MouthEvent::PromptEnded { id: 9, whole: true, .. })
    });
    assert_eq!(std::fs::read_to_string(printed.path()).unwrap(), "Printed instead.\n");
    let restarted = Instant::now();
    sound.start_server();
    wait_for(&mut ears, "word that the microphone is back", |e| *e == EarEvent::Back);
    println!("microphone: back {} ms after the server was started again", restarted.elapsed().as_millis());
    wait_for(&mut mouth_events, "word that the loudspeaker is back", |e| *e == MouthEvent::Back);
    let said = speech("back again");
    let wav = sound.file("back.wav");
    write_wav(&wav, &said.samples, said.rate).unwrap();
    sound.play(&wav);
    wait_for(&mut ears, "utterance after the loss", |e| matches!(e, EarEvent::Utterance(u) if u.last));
    mouth.say(Say::new(10, "Aloud again."));
    wait_for(&mut mouth_events, "end of the prompt after the loss", |e| {
        matches!(e, MouthEvent::PromptEnded { id: 10, whole: true, .. })
    });
}

#[cfg(feature = "system-voice")]
fn the_systems_voice_tells_its_end_even_when_the_server_dies(sound: &mut SoundLoop) {
    if !sound.start_dispatcher() {
        return;
    }
    let (to, mut from) = unbounded_channel();
    let mut mouth = probeside::speak::SystemVoice::start(to).expect("the system's voice");
    let recording = sound.record("system.wav");
    let asked = Instant::now();
    mouth.say(Say::new(1, "Touch the lamp to the left points."));
    let ended = wait_for(&mut from, "end", |e| matches!(e, MouthEvent::PromptEnded { .. }));
    println!("system's voice: over {} ms after it was asked for", asked.elapsed().as_millis());
    assert!(matches!(ended, MouthEvent::PromptEnded { id: 1, whole: true, .. }), "{ended:?}");
    let (rate, recorded) = read_wav_as_is(&recording.stop()).unwrap();
    let loud = recorded.iter().filter(|s| s.abs() > 0.02).count() as f32 / rate as f32;
    assert!(loud > 0.5, "only {loud} s of sound came out");
    mouth.say(Say::new(2, "one two three four five six seven eight nine ten eleven twelve thirteen fourteen"));
    std::thread::sleep(Duration::from_millis(800));
    let cut = Instant::now();
    mouth.cut();
    let ended = wait_for(&mut from, "end of the cut prompt", |e| matches!(e, MouthEvent::PromptEnded { .. }));
    assert!(matches!(ended, MouthEvent::PromptEnded { id: 2, whole: false, .. }), "{ended:?}");
    println!("system's voice: cut told after {} ms", cut.elapsed().as_millis());
    sound.kill_server();
    mouth.say(Say::new(3, "nobody hears this"));
    let ended = wait_for(&mut from, "end by the watchdog", |e| matches!(e, MouthEvent::PromptEnded { id: 3, .. }));
    println!("system's voice: without a sound server, {ended:?}");
    drop(mouth);
    sound.start_server();
}
