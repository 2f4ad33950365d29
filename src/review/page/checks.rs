//! The checks of a walk in order, each with its question, its answers, and everything that belongs to it.

use super::clips::{Clips, Sound};
use super::gauge::{NO_LIMITS, gauge};
use super::titles::titled;
use crate::phrase::ReadingKind;
use crate::review::sentence::{limits, short};
use crate::review::{Answer, Reading, Review, as_told, clock, place};
use serde::Serialize;

/// An answer below this probability is marked as unsure. Chosen, no source: half of what the least sure accepted answers of the measured
/// test set had is not known yet; 0.9 marks about one in twenty.
const UNSURE_BELOW: f64 = 0.9;

/// One check: a step that was entered.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct Check {
    /// Number, from 1.
    pub number: usize,
    /// `10:14:03`.
    pub time: String,
    /// Procedure.
    pub procedure: String,
    /// Step.
    pub step: String,
    /// Loop item.
    pub round: Option<String>,
    /// `points-gap (left)`.
    pub place: String,
    /// The question, shortened.
    pub title: String,
    /// The full prompt.
    pub asked: String,
    /// The cautions acknowledged before it.
    pub cautions: Vec<Warned>,
    /// The answers. Several after a correction, none if the walk ended here.
    pub answers: Vec<GivenAnswer>,
    /// Other events during the check, in words.
    pub remarks: Vec<String>,
    /// The number of the earlier check of the same step.
    pub repeats: Option<usize>,
}

/// An acknowledged caution.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Warned {
    /// `10:14:03`.
    pub time: String,
    /// Signal word.
    pub signal: String,
    /// The spoken text.
    pub said: String,
}

/// An answer or a reading.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct GivenAnswer {
    /// `10:14:03`.
    pub time: String,
    /// The choice's or the band's id.
    pub id: String,
    /// Short form: `lit`, `12.6 V`; `lit, as told`.
    pub shown: String,
    /// Words heard.
    pub words: String,
    /// The spoken confirmation.
    pub echo: String,
    /// `good`, `bad`, `neither`, `untested`.
    pub verdict: String,
    /// Probability, per cent.
    pub percent: Option<String>,
    /// Whether the recogniser alone was unsure of it.
    pub unsure: bool,
    /// Whether it was confirmed.
    pub confirmed: bool,
    /// The number of the reading, if it is one.
    pub reading: Option<u32>,
    /// Limits in words.
    pub limits: String,
    /// Source of the limits.
    pub source: String,
    /// A correction, in words.
    pub correction: String,
    /// A picture of the reading and its limits.
    pub gauge: Option<String>,
    /// The audio as a URI.
    pub sound: Option<String>,
    /// Why there is no audio.
    pub silent: Option<String>,
}

/// The checks of `review`.
pub fn checks(review: &Review, clips: &mut Clips<'_>) -> Vec<Check> {
    let mut work = Work { checks: Vec::new(), waiting: Vec::new() };
    let (mut path, mut answers, mut readings) = (review.path.iter(), review.answers.iter(), review.readings.iter());
    let mut cautions = review.cautions.iter();
    for event in &review.events {
        match event.event {
            "entered" => {
                if let Some(entered) = path.next() {
                    let same = |c: &&Check| {
                        c.procedure == entered.procedure && c.place == place(&entered.step, &entered.round)
                    };
                    let repeats = work.checks.iter().rev().find(same).map(|check| check.number);
                    work.checks.push(Check {
                        number: work.checks.len() + 1,
                        time: clock(&entered.time),
                        procedure: entered.procedure.clone(),
                        step: entered.step.clone(),
                        round: entered.round.clone(),
                        place: place(&entered.step, &entered.round),
                        title: titled(&entered.asked, &entered.step, entered.round.as_deref()),
                        asked: entered.asked.clone(),
                        cautions: std::mem::take(&mut work.waiting),
                        repeats,
                        ..Check::default()
                    });
                }
            }
            "acknowledged" => {
                if let Some(caution) = cautions.next() {
                    let time = clock(&caution.time);
                    let warned = Warned { time, signal: caution.signal.clone(), said: caution.said.clone() };
                    let here = place(&caution.step, &caution.round);
                    match work.checks.last_mut() {
                        Some(last) if last.place == here && last.answers.is_empty() => last.cautions.push(warned),
                        _ => work.waiting.push(warned),
                    }
                }
            }
            "answered" | "escaped" => {
                if let Some(answer) = answers.next() {
                    work.give(of_answer(answer, clips));
                }
            }
            "read" => {
                if let Some(reading) = readings.next() {
                    work.give(of_reading(reading, clips));
                }
            }
            "untested" => work.give(GivenAnswer {
                time: clock(&event.time),
                id: "untested".to_owned(),
                shown: event.what.clone(),
                verdict: "untested".to_owned(),
                ..GivenAnswer::default()
            }),
            "noted" | "not-taken" | "interrupted" | "controlled" => {
                if let Some(last) = work.checks.last_mut() {
                    last.remarks.push(format!("{} {}", clock(&event.time), event.what));
                }
            }
            _ => {}
        }
    }
    let left = std::mem::take(&mut work.waiting);
    if let Some(last) = work.checks.last_mut() {
        last.cautions.extend(left);
    }
    work.checks
}

struct Work {
    checks: Vec<Check>,
    waiting: Vec<Warned>,
}

impl Work {
    fn give(&mut self, given: GivenAnswer) {
        if let Some(last) = self.checks.last_mut() {
            last.answers.push(given);
        }
    }
}

fn per_cent(confidence: f64) -> String {
    // 99.95 would be rounded to a certainty that no recogniser has.
    format!("{:.1} %", (confidence * 100.0).min(99.9))
}

fn play(given: &mut GivenAnswer, clip: &Option<String>, clips: &mut Clips<'_>) {
    match clip.as_ref().map(|id| clips.sound(id)) {
        Some(Sound::Plays(uri)) => given.sound = Some(uri),
        Some(Sound::Silent(why)) => given.silent = Some(why),
        None => {}
    }
}

fn of_answer(answer: &Answer, clips: &mut Clips<'_>) -> GivenAnswer {
    let mut given = GivenAnswer {
        time: clock(&answer.time),
        id: answer.answer.clone(),
        shown: format!("{}{}", answer.answer, as_told(answer.told)),
        words: answer.words.clone(),
        echo: answer.echo.clone(),
        verdict: answer.means.clone(),
        percent: answer.confidence.map(per_cent),
        unsure: answer.confidence.is_some_and(|c| c < UNSURE_BELOW),
        confirmed: answer.confirmed,
        ..GivenAnswer::default()
    };
    play(&mut given, &answer.clip, clips);
    given
}

/// A reading in its usual notation, and whether it is only told.
pub fn shown(r: &Reading) -> String {
    number(r) + as_told(r.told)
}

fn number(r: &Reading) -> String {
    let number = r.value.map_or_else(String::new, |value| format!("{} {}", short(value), r.unit.name()));
    match r.kind {
        ReadingKind::Plain => number,
        ReadingKind::About => format!("about {number}"),
        ReadingKind::OverRange => "over range".to_owned(),
        ReadingKind::NoReading => "nothing shown".to_owned(),
    }
}

fn of_reading(r: &Reading, clips: &mut Clips<'_>) -> GivenAnswer {
    let correction = match (r.amends, r.amended_by) {
        (_, Some(by)) if by == r.number => "Corrected later: the next value with this number holds.".to_owned(),
        (_, Some(by)) => format!("Corrected later: reading {by} holds."),
        (Some(before), None) if before == r.number => "Corrects the value before it with this number.".to_owned(),
        (Some(before), None) => format!("Corrects reading {before}."),
        (None, None) => String::new(),
    };
    let mut given = GivenAnswer {
        time: clock(&r.time),
        id: r.band.clone().unwrap_or_default(),
        shown: shown(r),
        words: r.words.clone(),
        echo: r.name.replace('_', " "),
        verdict: r.verdict.clone(),
        percent: Some(per_cent(r.confidence)),
        unsure: r.confidence < UNSURE_BELOW,
        confirmed: r.confirmed,
        reading: Some(r.number),
        limits: limits(r.low, r.high, r.unit.name()).unwrap_or_else(|| NO_LIMITS.to_owned()),
        source: r.source.clone(),
        correction,
        gauge: gauge(r),
        ..GivenAnswer::default()
    };
    play(&mut given, &r.clip, clips);
    given
}
