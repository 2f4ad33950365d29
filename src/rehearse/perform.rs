//! Runs the rehearsal: each line is synthesised once per voice, mixed with noise, recognised, and judged as in a walk.

use super::noise::{NOISES, Noise, mixed};
use super::stage::Stage;
use crate::hear::{HearError, RATE, Recogniser, resample::resample};
use crate::phrase::{Answer, Hypothesis, Verdict, verdict};
use crate::speak::{Espeak, Flite, SpeakError, Voice};
use std::collections::HashMap;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

/// Most recognisers running at the same time. Each takes about 150 MB.
const MOST_WORKERS: usize = 6;

/// A speaker.
#[derive(Debug, Clone, PartialEq)]
pub struct Cast {
    /// The program: espeak-ng or flite.
    pub program: &'static str,
    /// Its voice.
    pub voice: &'static str,
    /// Speed, where 1 is normal.
    pub speed: f32,
}

const fn cast(program: &'static str, voice: &'static str, speed: f32) -> Cast {
    Cast { program, voice, speed }
}

/// English voices from two programs that differ in accent, pitch and speed. At most the first `most` of them.
pub fn usual_cast(most: usize) -> Vec<Cast> {
    let mut all = vec![
        cast("espeak-ng", "en-gb", 1.0),
        cast("flite", "slt", 1.0),
        cast("espeak-ng", "en-us+f2", 0.9),
        cast("flite", "awb", 1.0),
        cast("espeak-ng", "en-gb-scotland+m2", 1.1),
    ];
    all.truncate(most);
    all
}

impl Cast {
    /// Its name in reports.
    pub fn name(&self) -> String {
        format!("{} {}", self.program, self.voice)
    }

    /// Synthesises the words at 16 kHz.
    pub fn say(&self, words: &str) -> Result<Vec<f32>, SpeakError> {
        let pcm = match self.program {
            "flite" => Flite::new(self.voice).synthesise(words, self.speed),
            _ => Espeak::new(self.voice).synthesise(words, self.speed),
        }?;
        Ok(resample(&pcm.samples, pcm.rate, RATE))
    }
}

/// The outcome of one line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Outcome {
    /// Accepted and right.
    Right,
    /// Confirmed, and the question included the right answer.
    Asked,
    /// Confirmed with a question about something else.
    AskedWrong,
    /// Rejected as outside the grammar.
    Refused,
    /// Accepted and wrong.
    Wrong,
}

/// One line, spoken once.
#[derive(Debug, Clone)]
pub struct Trial {
    /// Index of the stage.
    pub stage: usize,
    /// Index of the line in its stage.
    pub line: usize,
    /// Index into [`Rehearsal::levels`].
    pub level: usize,
    /// The outcome.
    pub outcome: Outcome,
    /// The likeliest answer, if any.
    pub best: Option<Hypothesis>,
}

/// Why a rehearsal failed.
#[derive(Debug, thiserror::Error)]
pub enum RehearseError {
    /// No recogniser is available.
    #[error(transparent)]
    Hear(#[from] HearError),
    /// No voice is available.
    #[error(transparent)]
    Speak(#[from] SpeakError),
}

/// A rehearsal to run.
pub struct Rehearsal<'a> {
    /// The lines to speak and the grammars to hear them with.
    pub stages: &'a [Stage],
    /// The speakers.
    pub casts: &'a [Cast],
    /// Signal-to-noise ratios, decibels. `None` means a quiet room.
    pub levels: &'a [Option<f32>],
    /// Opens a recogniser. Called once per worker.
    pub engine: &'a (dyn Fn() -> Result<Box<dyn Recogniser>, HearError> + Sync),
    /// Receives the number of lines heard so far.
    pub progress: &'a (dyn Fn(usize) + Sync),
}

impl Rehearsal<'_> {
    /// Total number of lines to hear.
    pub fn size(&self) -> usize {
        self.stages.iter().map(|s| s.lines.len()).sum::<usize>() * self.casts.len() * self.levels.len()
    }

    /// Speaks and recognises every line.
    ///
    /// # Errors
    /// No recogniser is available, or a voice fails.
    pub fn run(&self) -> Result<Vec<Trial>, RehearseError> {
        let sounds = Sounds::of(self);
        let (next, done) = (AtomicUsize::new(0), AtomicUsize::new(0));
        let all: Mutex<Vec<Trial>> = Mutex::default();
        let workers = std::thread::available_parallelism().map_or(1, usize::from).min(MOST_WORKERS);
        std::thread::scope(|scope| {
            let work = || -> Result<(), RehearseError> {
                let mut engine = (self.engine)()?;
                loop {
                    let at = next.fetch_add(1, Ordering::Relaxed);
                    let Some(stage) = self.stages.get(at) else { return Ok(()) };
                    let trials = self.stage(at, stage, engine.as_mut(), &sounds, &done).inspect_err(|_| {
                        next.store(self.stages.len(), Ordering::Relaxed);
                    })?;
                    all.lock().unwrap_or_else(PoisonError::into_inner).extend(trials);
                }
            };
            let threads: Vec<_> = (0..workers.min(self.stages.len()).max(1)).map(|_| scope.spawn(work)).collect();
            let ends: Vec<_> = threads.into_iter().map(|t| t.join()).collect();
            ends.into_iter().try_for_each(|end| end.unwrap_or_else(|panic| std::panic::resume_unwind(panic)))
        })?;
        let mut all = all.into_inner().unwrap_or_else(PoisonError::into_inner);
        all.sort_by_key(|t| (t.stage, t.line, t.level));
        Ok(all)
    }

    fn stage(
        &self,
        at: usize,
        stage: &Stage,
        engine: &mut dyn Recogniser,
        sounds: &Sounds,
        done: &AtomicUsize,
    ) -> Result<Vec<Trial>, RehearseError> {
        let mut trials = Vec::new();
        for (line, said) in stage.lines.iter().enumerate() {
            for (who, cast) in self.casts.iter().enumerate() {
                let voice = sounds.take(who, cast, &said.words)?;
                for (level, snr) in self.levels.iter().enumerate() {
                    let noise: Noise = NOISES[(line + who + level) % NOISES.len()];
                    let seed = (at * 1_000_003 + line * 1_009 + who * 31 + level) as u64;
                    let sound = mixed(&voice, noise, *snr, &mut fastrand::Rng::with_seed(seed));
                    let heard = engine.hear(&sound, &stage.grammar)?;
                    let best = heard.best.first().cloned();
                    let outcome = judge(&verdict(&heard, &stage.grammar, &stage.high), &said.answer, stage);
                    trials.push(Trial { stage: at, line, level, outcome, best });
                    (self.progress)(done.fetch_add(1, Ordering::Relaxed) + 1);
                }
            }
        }
        Ok(trials)
    }
}

/// Whether an answer matches what was said. Numbers match to half the meter's resolution.
pub(super) fn fits(heard: &Answer, said: &Answer, resolution: f64) -> bool {
    match (heard, said) {
        (Answer::Reading(a), Answer::Reading(b)) => {
            a.kind == b.kind && a.unit == b.unit && (a.value - b.value).abs() < resolution * 0.5 + 1e-9
        }
        _ => heard == said,
    }
}

fn judge(verdict: &Verdict, said: &Answer, stage: &Stage) -> Outcome {
    let resolution = stage.grammar.number.as_ref().map_or(0.0, |n| n.resolution);
    let right = |h: &Hypothesis| fits(&h.answer, said, resolution);
    match verdict {
        Verdict::Accept { heard } if right(heard) => Outcome::Right,
        Verdict::Accept { .. } => Outcome::Wrong,
        Verdict::Confirm { heard, rival } if right(heard) || rival.as_ref().is_some_and(right) => Outcome::Asked,
        Verdict::Confirm { .. } => Outcome::AskedWrong,
        Verdict::Reject { .. } => Outcome::Refused,
    }
}

/// Synthesised lines, each kept until its last use.
struct Sounds {
    known: Mutex<HashMap<(usize, String), Known>>,
}

struct Known {
    uses: usize,
    sound: Option<Arc<[f32]>>,
}

impl Sounds {
    fn of(rehearsal: &Rehearsal<'_>) -> Self {
        let mut known: HashMap<(usize, String), Known> = HashMap::new();
        for line in rehearsal.stages.iter().flat_map(|s| &s.lines) {
            for who in 0..rehearsal.casts.len() {
                known.entry((who, line.words.clone())).or_insert(Known { uses: 0, sound: None }).uses += 1;
            }
        }
        Self { known: Mutex::new(known) }
    }

    fn take(&self, who: usize, cast: &Cast, words: &str) -> Result<Arc<[f32]>, SpeakError> {
        let key = (who, words.to_owned());
        let lock = || self.known.lock().unwrap_or_else(PoisonError::into_inner);
        let ready = lock().get(&key).and_then(|k| k.sound.clone());
        let sound = match ready {
            Some(sound) => sound,
            None => cast.say(words)?.into(),
        };
        if let Some(known) = lock().get_mut(&key) {
            known.uses -= 1;
            known.sound = (known.uses > 0).then(|| sound.clone());
        }
        Ok(sound)
    }
}
