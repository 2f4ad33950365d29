//! The answer that observations amount to, over the positions of the points and over bikes within their tolerances.

use super::question::{Answers, Expected, Limits, Question, Reading, Seen};
use crate::circuit::instruments::NotValid;

/// Answers collected over observations and samples.
#[derive(Default)]
pub(super) struct AnswerTally {
    choices: Vec<String>,
    reading: Option<Reading>,
    why: Option<String>,
}

impl AnswerTally {
    pub(super) fn add(&mut self, question: &Question, sight: &[Seen]) {
        let why = match &question.answers {
            Answers::Choices(choices) => match chosen(choices, sight) {
                Some(id) => {
                    if !self.choices.contains(&id) {
                        self.choices.push(id);
                    }
                    return;
                }
                None => not_told(sight),
            },
            Answers::Reading { unit, resolution, bands } => {
                let number = sight.iter().find_map(|seen| match seen {
                    Seen::Number(value, in_unit, why) => Some((*value, *in_unit, *why)),
                    Seen::Words(_) => None,
                });
                match number {
                    Some((None, _, Some(NotValid::Live))) => "there is voltage where resistance is measured".to_owned(),
                    Some((value, in_unit, why)) => {
                        let value = value.and_then(|value| in_unit.convert(value, *unit));
                        self.read(value.map(|value| shown(value, *resolution)), bands, why);
                        return;
                    }
                    None => not_told(sight),
                }
            }
            Answers::Nothing => return,
        };
        self.why.get_or_insert(why);
    }

    fn read(&mut self, value: Option<f64>, bands: &[Limits], why: Option<NotValid>) {
        let first = self.reading.is_none();
        let reading = self.reading.get_or_insert(Reading {
            typical: value,
            low: f64::INFINITY,
            high: f64::NEG_INFINITY,
            bands: Vec::new(),
            over_range: false,
            not_valid: None,
        });
        reading.not_valid = reading.not_valid.or(why);
        let Some(value) = value else {
            reading.over_range = true;
            return;
        };
        if first {
            reading.typical = Some(value);
        }
        (reading.low, reading.high) = (reading.low.min(value), reading.high.max(value));
        if let Some(band) = bands.iter().find(|band| value >= band.from && value < band.below)
            && !reading.bands.contains(&band.id)
        {
            reading.bands.push(band.id.clone());
        }
    }

    pub(super) fn expected(self, question: &Question) -> Expected {
        let unknown = || Expected::Unknown(self.why.clone().unwrap_or_else(|| "nothing is seen".to_owned()));
        match (&question.answers, &self.reading) {
            (Answers::Choices(_), _) if !self.choices.is_empty() => Expected::Choices(self.choices),
            (Answers::Reading { .. }, Some(reading)) => Expected::Reading(reading.clone()),
            _ => unknown(),
        }
    }
}

/// A value as an instrument of this resolution displays it.
fn shown(value: f64, resolution: f64) -> f64 {
    // Tenths and hundredths are not exact in binary, but their inverses are.
    let steps = 1.0 / resolution;
    if steps >= 1.0 { (value * steps).round() / steps } else { (value / resolution).round() * resolution }
}

fn chosen(choices: &[(String, Vec<String>)], sight: &[Seen]) -> Option<String> {
    let said = |seen: &Seen| match seen {
        Seen::Words(words) => words.clone(),
        Seen::Number(Some(_), ..) => vec!["number".to_owned()],
        Seen::Number(None, ..) => vec!["open-line".to_owned()],
    };
    let shown = |word: &String| choices.iter().find(|(_, shows)| shows.contains(word)).map(|(id, _)| id.clone());
    sight.iter().flat_map(said).find_map(|word| shown(&word))
}

/// Why an observation gives no answer.
fn not_told(sight: &[Seen]) -> String {
    let seen = |seen: &Seen| match seen {
        Seen::Words(words) => words.first().cloned().unwrap_or_default(),
        Seen::Number(..) => "a number".to_owned(),
    };
    match sight {
        [] => "nothing in the step says what is observed".to_owned(),
        several => {
            let all: Vec<String> = several.iter().map(seen).collect();
            format!("what is seen ({}) is none of the answers", all.join(", "))
        }
    }
}
