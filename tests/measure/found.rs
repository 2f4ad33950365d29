//! Trials as a walk hears them: sound continues for two seconds before and after the voice, and the voice activity detection finds the
//! utterance in it. Also measures the detection by itself.

use crate::bounds::share;
use crate::noises::extent;
use crate::spread::spread;
use crate::trials::{self, Side, Treatment};
use probeside::hear::{Activity, SAMPLE_RATE, Utterance, Voiced};
use std::collections::BTreeMap;
use std::sync::Mutex;

/// Samples of the scene before and after the voice.
const AROUND: usize = 2 * SAMPLE_RATE;

/// [`find`] as a treatment of trials.
pub const FOUND: Treatment = Treatment { more: AROUND, treat: find };

/// All utterances, early versions included, each with the sample at which it was delivered.
fn utterances(sound: &[f32]) -> Vec<(u64, Utterance)> {
    let mut activity = Activity::usual().expect("the voice detector");
    let mut found = Vec::new();
    let mut out = Vec::new();
    let mut take = |activity: &Activity, found: &mut Vec<Voiced>| {
        for voiced in found.drain(..) {
            if let Voiced::Utterance(utterance) = voiced {
                out.push((activity.position(), utterance));
            }
        }
    };
    for piece in sound.chunks(SAMPLE_RATE / 100) {
        activity.push(piece, &mut found);
        take(&activity, &mut found);
    }
    activity.finish(&mut found);
    take(&activity, &mut found);
    out
}

/// Every utterance found in a sound.
pub fn whole(sound: &[f32]) -> Vec<Utterance> {
    utterances(sound).into_iter().map(|(_, u)| u).filter(|u| u.last).collect()
}

/// The first complete utterance in the middle of the sound. Empty if none is found.
fn find(sound: Vec<f32>) -> Vec<f32> {
    let mut middle =
        whole(&sound).into_iter().filter(|u| u.end as usize > AROUND && (u.begin as usize) < sound.len() - AROUND);
    middle.next().map_or_else(Vec::new, |u| u.sound.to_vec())
}

/// The outcome for one voice.
#[derive(Default)]
struct Cut {
    voices: usize,
    /// One utterance contains the voice except for at most a tenth of a second, and at most a second more.
    good: usize,
    /// One utterance contains all of it, and more than a second more.
    long: usize,
    /// One utterance contains a part.
    short: usize,
    /// No utterance contains any of it.
    lost: usize,
    /// Utterances that contain none of it.
    beside: usize,
    /// From the end of the voice until the first complete version is delivered, milliseconds.
    waits: Vec<f64>,
}

impl Cut {
    /// Counts a voice at this position in a scene with these utterances.
    fn count(&mut self, found: &[(u64, Utterance)], (from, to): (usize, usize)) {
        const LITTLE: usize = SAMPLE_RATE / 10;
        let holds = |u: &Utterance| u.begin as usize <= from + LITTLE && u.end as usize + LITTLE >= to;
        let touches = |u: &Utterance| (u.begin as usize) < to && u.end as usize > from;
        let whole: Vec<&Utterance> = found.iter().map(|(_, u)| u).filter(|u| u.last).collect();
        self.voices += 1;
        self.beside += whole.iter().filter(|u| !touches(u)).count();
        match whole.iter().find(|u| holds(u)) {
            Some(u) if u.sound.len() <= to - from + SAMPLE_RATE => self.good += 1,
            Some(_) => self.long += 1,
            None if whole.iter().any(|u| touches(u)) => self.short += 1,
            None => self.lost += 1,
        }
        if let Some((at, _)) = found.iter().find(|(_, u)| holds(u)) {
            self.waits.push((*at as f64 - to as f64) / SAMPLE_RATE as f64 * 1e3);
        }
    }

    fn print(&mut self, name: &str) {
        self.waits.sort_by(f64::total_cmp);
        let at = |q: f64| self.waits.get((self.waits.len() as f64 * q) as usize).copied().unwrap_or(f64::NAN);
        println!(
            "{name:20} good {}  long {} short {} lost {} of {}, beside {}; after {:.0} ms, 95 % {:.0}",
            share(self.good, self.voices),
            self.long,
            self.short,
            self.lost,
            self.voices,
            self.beside,
            at(0.5),
            at(0.95)
        );
    }
}

/// Measures the detection of one side's voices in their scenes, by noise and level.
pub fn cut(side: Side, amount: f64) {
    let all: Vec<_> = trials::sounds(side, amount, AROUND).into_iter().filter(|(kind, ..)| kind.is_allowed()).collect();
    let cuts: Mutex<BTreeMap<String, Cut>> = Mutex::default();
    spread(
        all.len(),
        || (),
        |(), at| {
            let (_, scene, again) = &all[at];
            let Some(place) = again.without_noise().and_then(|a| extent(&a.sound())) else { return true };
            let name = match scene.snr {
                None => "clean".to_owned(),
                Some(snr) => format!("{:?} {snr:02} dB", scene.noise),
            };
            let found = utterances(&again.sound());
            let mut cuts = cuts.lock().expect("no thread fails");
            for name in [name, "all".to_owned()] {
                cuts.entry(name).or_default().count(&found, place);
            }
            true
        },
    );
    for (name, cut) in &mut cuts.into_inner().expect("no thread failed") {
        cut.print(name);
    }
}
