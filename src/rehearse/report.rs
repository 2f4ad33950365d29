//! The results of a rehearsal. `probeside rehearse --json` prints a [`Report`]: schema "probeside.rehearsal", version 1, with the fields
//! named and explained here. New fields may be added within a version. A field that changes its meaning raises the version.

use super::noise::NOISES;
use super::pairs::{self, Pair};
use super::perform::{Cast, Outcome, Rehearsal, Trial};
use super::stage::{Stage, answer_name};
use serde::Serialize;
use std::cmp::Reverse;
use std::collections::BTreeMap;

/// The complete report.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Report {
    /// "probeside.rehearsal".
    pub schema: &'static str,
    /// 1.
    pub version: u32,
    /// The procedure's id.
    pub procedure: String,
    /// The bike's name.
    pub bike: String,
    /// The recogniser's name.
    pub engine: String,
    /// The speakers.
    pub voices: Vec<String>,
    /// The noises, used in turn.
    pub noises: Vec<&'static str>,
    /// True if no pair is ambiguous: exit code 0, otherwise 1.
    pub sound: bool,
    /// Total number of lines spoken and heard.
    pub trials: usize,
    /// Duration, seconds.
    pub seconds: f64,
    /// Results by noise level, in the order given.
    pub levels: Vec<Level>,
    /// Results for every grammar, each listed once.
    pub stages: Vec<StageReport>,
    /// Pairs of phrases that were mistaken for each other, worst first.
    pub pairs: Vec<Pair>,
}

/// Counts of outcomes.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct Counts {
    /// Lines spoken.
    pub trials: usize,
    /// Accepted and right.
    pub right: usize,
    /// Confirmed, and the question included the right answer.
    pub asked: usize,
    /// Confirmed with a question about something else.
    pub asked_wrong: usize,
    /// Rejected as outside the grammar.
    pub refused: usize,
    /// Accepted and wrong. Includes numbers, which are read back before they count.
    pub wrong: usize,
}

impl Counts {
    fn add(&mut self, outcome: Outcome) {
        self.trials += 1;
        *match outcome {
            Outcome::Right => &mut self.right,
            Outcome::Asked => &mut self.asked,
            Outcome::AskedWrong => &mut self.asked_wrong,
            Outcome::Refused => &mut self.refused,
            Outcome::Wrong => &mut self.wrong,
        } += 1;
    }
}

/// One level of noise.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Level {
    /// Signal-to-noise ratio, decibels. `null` means a quiet room.
    pub snr_db: Option<f32>,
    /// The outcomes.
    #[serde(flatten)]
    pub counts: Counts,
}

/// One grammar.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StageReport {
    /// The first step that uses it, "any step", or "a confirmation".
    pub name: String,
    /// All steps that use it.
    pub steps: Vec<String>,
    /// The phrases spoken.
    pub phrases: Vec<PhraseReport>,
}

/// One line.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PhraseReport {
    /// The phrase spoken.
    pub words: String,
    /// Its answer: a choice's id, "command repeat", "escape flickers", "done", "yes", "no", or a value with its unit.
    pub answer: String,
    /// The outcomes.
    #[serde(flatten)]
    pub counts: Counts,
    /// Its row of the confusion table: the likeliest answers other than this one, including rejected ones, most frequent first.
    pub heard_as: Vec<HeardAs>,
}

/// One cell of the confusion table.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HeardAs {
    /// The words.
    pub words: String,
    /// Their answer.
    pub answer: String,
    /// How often it was the likeliest.
    pub times: usize,
    /// How often it was accepted without a question.
    pub taken: usize,
}

/// The head of a report.
pub struct Head<'a> {
    /// The procedure's id.
    pub procedure: &'a str,
    /// The bike's name.
    pub bike: &'a str,
    /// The recogniser's name.
    pub engine: &'a str,
    /// The vocabulary's language.
    pub language: &'a str,
    /// Duration, seconds.
    pub seconds: f64,
}

impl Report {
    /// Counts the outcomes. `sounds` transcribes a phrase into the phonetic alphabet, if it can.
    pub fn new(
        head: &Head<'_>,
        rehearsal: &Rehearsal<'_>,
        trials: &[Trial],
        sounds: &dyn Fn(&str) -> Option<String>,
    ) -> Self {
        let pairs = pairs::find(rehearsal.stages, trials, head.language, sounds);
        let mut levels: Vec<Level> =
            rehearsal.levels.iter().map(|snr| Level { snr_db: *snr, counts: Counts::default() }).collect();
        for trial in trials {
            levels[trial.level].counts.add(trial.outcome);
        }
        let stages = rehearsal.stages.iter().enumerate().map(|(at, stage)| StageReport {
            name: stage.name.clone(),
            steps: stage.steps.clone(),
            phrases: phrases(stage, at, trials),
        });
        Self {
            schema: "probeside.rehearsal",
            version: 1,
            procedure: head.procedure.to_owned(),
            bike: head.bike.to_owned(),
            engine: head.engine.to_owned(),
            voices: rehearsal.casts.iter().map(Cast::name).collect(),
            noises: NOISES.iter().map(|n| n.name()).collect(),
            sound: pairs.iter().all(|p| !p.ambiguous),
            trials: trials.len(),
            seconds: (head.seconds * 10.0).round() / 10.0,
            levels,
            stages: stages.collect(),
            pairs,
        }
    }
}

fn phrases(stage: &Stage, at: usize, trials: &[Trial]) -> Vec<PhraseReport> {
    let mut rows: Vec<PhraseReport> = stage
        .lines
        .iter()
        .map(|line| PhraseReport {
            words: line.words.clone(),
            answer: answer_name(&line.answer),
            counts: Counts::default(),
            heard_as: Vec::new(),
        })
        .collect();
    let mut cells: Vec<BTreeMap<(String, String), (usize, usize)>> = vec![BTreeMap::new(); rows.len()];
    for trial in trials.iter().filter(|t| t.stage == at) {
        let row = &mut rows[trial.line];
        row.counts.add(trial.outcome);
        let Some(best) = &trial.best else { continue };
        let answer = answer_name(&best.answer);
        if answer != row.answer {
            let cell = cells[trial.line].entry((best.words.clone(), answer)).or_default();
            cell.0 += 1;
            cell.1 += usize::from(trial.outcome == Outcome::Wrong);
        }
    }
    for (row, cells) in rows.iter_mut().zip(cells) {
        row.heard_as = cells
            .into_iter()
            .map(|((words, answer), (times, taken))| HeardAs { words, answer, times, taken })
            .collect();
        row.heard_as.sort_by_key(|cell| Reverse((cell.taken, cell.times)));
    }
    rows
}
