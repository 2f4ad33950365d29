//! Compares `check`'s estimate of a prompt's seconds with the real voice, espeak-ng as prompts use it.

use probeside::phrase::Vocabulary;
use probeside::speak::{Espeak, Voice};

/// Largest accepted mean relative error of the estimate. The fit had 3.5 %.
const MEAN: f64 = 0.06;
/// Largest accepted relative error for one text.
const LARGEST: f64 = 0.20;

/// Prompts from walks, none as short as a word or two.
const PROMPTS: [&str; 14] = [
    "Left side. Turn the engine slowly, two turns. Does the lamp go on and off, stay lit, or stay dark?",
    "Look at the fuse, 15 ampere. Is it whole, blown, or green in its holder?",
    "With a sound bulb and the clip on bare metal, touch again. Lit or dark?",
    "Petrol vapour explodes. Close the fuel tap, wipe up spills, let the air clear, and keep a fire extinguisher within reach.",
    "The plug leads carry many thousand volts. Never hold a lead, plug or tester: clamp it. Anyone with a heart device must stay well away.",
    "Right side. What does the meter read between the plate and the engine?",
    "Which cylinders are dead: left is dead, right is dead, or both are dead?",
    "Take the cap off the lead, and look down its bore. Is it clean, burnt, or green?",
    "At rest, with everything switched off, what does the battery read?",
    "Good contacts lose almost nothing. If it reads the battery's full voltage, the points stand open: turn the engine until they close.",
    "With the points closed the coil's full current flows, and every bad joint shows as a voltage between its ends.",
    "Set the gap between 0.35 and 0.45 millimetres.",
    "Left side. Touch the jumper to the engine, five times. Watch as you lift it. Spark, or nothing?",
    "The weights behind the cam advance the spark with speed. A hanging one starts badly, kicks back, or has no power.",
];

#[test]
fn estimated_seconds_are_those_of_the_voice() {
    let words = Vocabulary::english();
    let mut voice = Espeak::new("en");
    let mut errors = Vec::new();
    for text in PROMPTS {
        let sound = match voice.synthesise(text, 1.0) {
            Ok(sound) => sound,
            Err(why) if std::env::var("PROBESIDE_MUST").as_deref() == Ok("1") => panic!("{why}"),
            Err(why) => return println!("nothing was compared: {why}"),
        };
        let said = sound.samples.len() as f64 / f64::from(sound.rate);
        let error = (words.seconds_to_say(text) / said - 1.0).abs();
        assert!(error < LARGEST, "{text}: {:.1} s estimated, {said:.1} s said", words.seconds_to_say(text));
        errors.push(error);
    }
    let mean = errors.iter().sum::<f64>() / errors.len() as f64;
    println!("{} prompts: mean error {:.1} %", errors.len(), 100.0 * mean);
    assert!(mean < MEAN, "mean error {mean}");
}
