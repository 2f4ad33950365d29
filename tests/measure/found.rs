//! Trials as a walk hears them: the sound goes on for two seconds before and after the voice, and what is heard is what the voice
//! activity cuts out of it.

use crate::trials::Treatment;
use probeside::hear::{Activity, ActivitySettings, SAMPLE_RATE, Voiced};

/// Samples of the scene around the voice.
const AROUND: usize = 2 * SAMPLE_RATE;

/// What [`find`] does, as a treatment of trials.
pub const FOUND: Treatment = Treatment { more: AROUND, treat: find };

/// The first whole utterance in the middle of the sound; nothing where none is found.
fn find(sound: Vec<f32>) -> Vec<f32> {
    let mut activity = Activity::new(ActivitySettings::default());
    let mut found = Vec::new();
    activity.push(&sound, &mut found);
    activity.finish(&mut found);
    let utterances = found.into_iter().filter_map(|f| match f {
        Voiced::Utterance(u) if u.last => Some(u),
        _ => None,
    });
    let mut middle = utterances.filter(|u| u.end as usize > AROUND && (u.begin as usize) < sound.len() - AROUND);
    middle.next().map_or_else(Vec::new, |u| u.sound.to_vec())
}
