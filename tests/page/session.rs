//! A long session for the review's page: any number of readings, audio, a correction, cautions, a skipped check, suspects, and words that
//! would be markup if they were not escaped.

use crate::disk::Disk;
use crate::walked::Walk;
use probeside::advice::{Because, Doubtful, Suspect, Weighed};
use probeside::session::{JobDetails, Storage};
use probeside::walk::Observation;
use std::sync::Arc;

/// Words of a stranger.
pub const EVIL: &str = "</title></script><script>document.title='run'</script><img src=x onerror=\"document.title='run'\">'\"{{ 7*7 }}\u{202e}";

/// Parts of the feed, in the walk's order; the key switch is the last.
const PARTS: u32 = 5;
/// The reading that is heard badly, confirmed, and corrected: its number stands twice.
#[allow(dead_code)]
pub const CORRECTED: u32 = 3;

/// An adviser: many suspects and an answer that does not fit after the first observation, two suspects later.
fn suspects(observed: &[Arc<Observation>]) -> Weighed {
    let first = observed.len() == 1;
    let one = &observed[observed.len() - 1];
    let (step, round) = (one.check.step.clone(), one.check.round.clone());
    let because = Because { step: step.clone(), round: round.clone(), answer: EVIL.into(), evidence: 1.2 };
    let suspect = |fault: &str, words: &str, part: &str, weight| Suspect {
        fault: fault.into(),
        words: words.into(),
        parts: vec![part.into()],
        weight,
        because: vec![because.clone()],
    };
    let key = suspect("resistive:key", "the key switch connects badly", "key", if first { 0.3 } else { 0.9 });
    let kill = suspect("resistive:kill", "the kill switch connects badly", "kill", 0.04);
    let others = 1.0 - 0.005 - key.weight - kill.weight;
    let doubtful = Doubtful { number: 0, step, round, answer: one.words.clone(), weight: 0.4 };
    let (left, doubtful) = if first { (7, Some(doubtful)) } else { (2, None) };
    Weighed { suspects: vec![key, kill], others, outside: 0.005, left, doubtful }
}

/// Walks until this many readings are taken, `clips` of them with sound.
fn walk(readings: u32, clips: u32) -> Walk {
    let job = JobDetails {
        number: "R 4711".into(),
        bike: "Borage Twin".into(),
        mileage: "23450 km".into(),
        complaint: EVIL.into(),
        temperature_c: Some(18.0),
        instruments: vec!["digital meter".into()],
        person: "Marta Quill".into(),
    };
    let mut walk = Walk::advised(job, suspects);
    let tone: Vec<f32> = (0..8000).map(|n| 0.3 * (n as f32 * 0.17).sin()).collect();
    // The adviser finds that the first answer does not fit; nobody wants to repeat it.
    walk.say("all of the feed").stage.answer("no");
    let (mut number, mut part) = (0, 0);
    while number < readings {
        number += 1;
        part += 1;
        let words = if part % PARTS == 0 { "point seven" } else { "point oh five" };
        let sound = (number <= clips).then(|| tone.clone());
        walk.say_aloud(words, if number == CORRECTED { 0.7 } else { 0.98 }, sound);
        if number == CORRECTED {
            walk.correct("point oh six");
        }
        if number < readings {
            walk.say(if part % PARTS == 0 { "from the beginning" } else { "next part" });
        }
    }
    walk.say("smell the air").ready();
    walk.overhear(EVIL);
    walk.say("take a note").stage.answer(EVIL);
    walk.say_aloud_unkept("air is clear", 0.99);
    walk.say_all(&["have not got one", "something else", EVIL]);
    walk
}

/// Writes the session with this many readings, `clips` of them with sound.
pub fn write(storage: impl Storage + 'static, readings: u32, clips: u32) {
    walk(readings, clips).finish(storage);
}

/// The session in memory.
#[allow(dead_code)]
pub fn in_memory(readings: u32, clips: u32) -> Disk {
    let disk = Disk::new();
    write(disk.folder(), readings, clips);
    disk
}

/// Its page.
pub fn page(disk: &Disk) -> String {
    let review = probeside::review::gather(&mut disk.folder()).unwrap();
    probeside::review::page(&review, &mut disk.folder()).unwrap()
}
