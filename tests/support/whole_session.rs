//! The whole session's audio of a walk over the sound loop.

use probeside::review::{gather, whole};
use probeside::session::{CLIP_RATE, Folder, clip_sound};
use std::path::Path;

/// The speech detector determines a cue's edges. The sound loop of a busy machine shifts its own sound by more than the detector does.
const EDGE_MS: u64 = 400;

/// Checks the whole session's audio: it lasts as long as the conversation, and loud sound at the microphone is where the words say.
pub fn is_kept(into: &Path) {
    let review = gather(&mut Folder::at(into)).expect("a review");
    let one = whole(&review, &mut Folder::at(into)).expect("the whole session's sound");
    assert!(one.silent.is_empty(), "{:?}", one.silent);
    let sound = clip_sound(&one.sound, usize::MAX).expect("it is FLAC");
    let seconds = sound.len() as f64 / f64::from(CLIP_RATE);
    let lasted = review.transcript.last().map_or(0, |line| line.ended_ms) as f64 / 1e3;
    let person: Vec<_> = review.transcript.iter().filter(|l| l.who == "person").collect();
    let power = |from: usize, to: usize| {
        let part = &sound[from.min(sound.len())..to.min(sound.len())];
        part.iter().map(|s| f64::from(s * s)).sum::<f64>()
    };
    let sample = |ms: u64| ms as usize * CLIP_RATE as usize / 1000;
    let around = |late: u64| -> f64 {
        let cues = person
            .iter()
            .map(|l| (sample((l.began_ms + late).saturating_sub(EDGE_MS)), sample(l.ended_ms + late + EDGE_MS)));
        cues.map(|(from, to)| power(from, to)).sum()
    };
    let (share, moved) = (around(0) / power(0, sound.len()), around(3_000) / power(0, sound.len()));
    println!(
        "The whole session: {} pieces, {seconds:.1} s of {lasted:.1} s of talk, {} bytes; {:.1} % of its energy lies in and around the {} answers' cues, \
         {:.1} % where they would be three seconds late.",
        one.pieces,
        one.sound.len(),
        share * 100.0,
        person.len(),
        moved * 100.0
    );
    assert!((seconds - lasted).abs() < 2.0 && share > 0.8 && moved < 0.4);
}
