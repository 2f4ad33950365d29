//! `probeside soundcheck` over a real sound server with two null sinks (tests/support/sound_loop.rs). It reports the levels that were
//! played, it reports a clipped voice, and it hears the loudspeaker only if the sound comes back.
#![cfg(all(feature = "sound", target_os = "linux"))]

#[path = "support/sound_loop.rs"]
#[allow(dead_code)]
mod sound_loop;

use probeside::hear::{active_level, resample::resample, write_wav};
use probeside::speak::{Espeak, Voice};
use serde_json::Value;
use sound_loop::{SoundLoop, or_left_out};
use std::io::{BufRead, BufReader, Read};
use std::process::{Command, Stdio};

/// The output of a sound check, by line. `speak` is played when it asks for a voice.
fn check(sound: &SoundLoop, speak: Option<&str>, tone: bool) -> (Option<i32>, Value) {
    let mut arguments = vec!["soundcheck", "--json"];
    arguments.extend(if tone { None } else { Some("--no-tone") });
    arguments.extend(if speak.is_none() { Some("--no-voice") } else { None });
    let mut child = Command::new(env!("CARGO_BIN_EXE_probeside"))
        .args(arguments)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    let asked = BufReader::new(child.stderr.take().expect("a pipe"));
    for line in asked.lines() {
        let line = line.expect("text");
        if let (true, Some(file)) = (line.starts_with("Now say"), speak) {
            std::thread::sleep(std::time::Duration::from_millis(300));
            sound.play(&sound.file(file));
        }
    }
    let mut out = String::new();
    child.stdout.take().expect("a pipe").read_to_string(&mut out).expect("text");
    let code = child.wait().expect("it ends").code();
    (code, serde_json::from_str(&out).unwrap_or_else(|e| panic!("{e}: {out}")))
}

fn line<'a>(sheet: &'a Value, what: &str) -> &'a Value {
    let lines = sheet["lines"].as_array().expect("lines");
    lines.iter().find(|l| l["what"] == what).unwrap_or_else(|| panic!("no line {what}: {sheet:#}"))
}

#[test]
fn levels_clipping_and_echo_are_told_as_they_are() {
    if or_left_out(probeside::hear::models::find()).is_none() {
        return;
    }
    let Some(sound) = SoundLoop::start() else { return };
    let pcm = Espeak::new("en-gb").synthesise("say again", 1.0).expect("it speaks");
    let voice = resample(&pcm.samples, pcm.rate, 48_000);
    let gain = 0.1 / active_level(&resample(&voice, 48_000, 16_000));
    let good: Vec<f32> = voice.iter().map(|x| x * gain).collect();
    write_wav(&sound.file("good.wav"), &good, 48_000).expect("written");
    let cut: Vec<f32> = voice.iter().map(|x| (x * gain * 30.0).clamp(-1.0, 1.0)).collect();
    write_wav(&sound.file("cut.wav"), &cut, 48_000).expect("written");

    let (code, sheet) = check(&sound, Some("good.wav"), true);
    assert_eq!(code, Some(0), "{sheet:#}");
    // Reference: the level that was played, -20 dB of full scale; an idle null sink is silent.
    let level = line(&sheet, "voice-level")["value"].as_f64().expect("a level");
    assert!((level + 20.0).abs() < 2.0, "{level}");
    assert_eq!(line(&sheet, "clipping")["verdict"], "good");
    assert_eq!(line(&sheet, "understood")["verdict"], "good", "{sheet:#}");
    assert!(line(&sheet, "noise")["value"].as_f64().is_some_and(|n| n < -80.0));
    assert_eq!(line(&sheet, "echo")["value"], Value::Null, "nothing comes back: {sheet:#}");

    let (_, sheet) = check(&sound, Some("cut.wav"), false);
    assert_eq!(line(&sheet, "clipping")["verdict"], "poor", "{sheet:#}");

    let arguments = ["load-module", "module-loopback", "source=ear.monitor", "sink=mouth", "latency_msec=60"];
    let loaded = Command::new("pactl").args(arguments).stdout(Stdio::null()).status();
    assert!(loaded.is_ok_and(|s| s.success()), "the loop from loudspeaker to microphone");
    let (_, sheet) = check(&sound, None, true);
    let echo = line(&sheet, "echo");
    // The sweep has an amplitude of 0.25, -15 dB of full scale, and returns unchanged.
    assert!(echo["value"].as_f64().is_some_and(|e| (e + 15.0).abs() < 3.0), "{sheet:#}");
    assert_eq!(echo["verdict"], "poor");
    assert!(line(&sheet, "echo-delay")["value"].as_f64().is_some_and(|ms| (20.0..2_000.0).contains(&ms)), "{sheet:#}");
}
