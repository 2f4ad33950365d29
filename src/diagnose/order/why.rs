//! Why a check comes next: what each of its answers would speak for, what would come after it, and how long the other checks would take to
//! tell as much.

use super::catalogue::{Check, scope_at};
use super::grounds::Known;
use super::outlook::{Active, Best, Outlooks};
use crate::advice::{Outcome, Why};
use crate::diagnose::ProveError;
use crate::diagnose::words::spoken;
use crate::expression::render;
use crate::walk::Crossing;
use serde_json::json;
use std::collections::BTreeMap;

/// Most answers that are named, and most suspects of each. Chosen, no source: what can be kept in mind from one hearing.
const MOST_OUTCOMES: usize = 3;
const MOST_SUSPECTS: usize = 2;
/// An answer less probable than this is not named. Chosen, no source.
const LEAST_PROBABLE: f64 = 0.03;
/// A suspect is named if the answer would leave it this probable at least, and make it this much more probable. Chosen, no source.
const LEAST_LEFT: f64 = 0.05;
const LEAST_GAIN: f64 = 1.2;

impl Outlooks<'_> {
    /// Why this check comes next, of the `open` ones, after the answers of `crossing`.
    ///
    /// # Errors
    /// A check and the bike's wiring do not fit together.
    pub(super) fn why(
        &self,
        best: &Best,
        open: &[usize],
        known: &Known,
        crossing: &Crossing,
    ) -> Result<Why, ProveError> {
        let before = Active::new(known, None);
        let weights = self.by_suspect(&before);
        let sound = known.by_cause[known.by_cause.len() - 1];
        let names = self.answer_words(&self.grounds.catalogue.checks[best.number], crossing)?;
        let mut answers: Vec<_> = self.after(best.number, &before, known)?.into_iter().zip(names).collect();
        answers.retain(|((p, _), _)| *p >= LEAST_PROBABLE);
        answers.sort_by(|((a, _), _), ((b, _), _)| b.total_cmp(a));
        let mut outcomes = Vec::new();
        for ((_, left), answer) in answers.into_iter().take(MOST_OUTCOMES) {
            let of = self.by_suspect(&left);
            let gains = |name: &String, weight: f64| {
                weight >= LEAST_LEFT && weight >= LEAST_GAIN * weights.get(name).copied().unwrap_or_default()
            };
            let mut suspects: Vec<(String, f64)> =
                of.into_iter().filter(|(name, weight)| gains(name, *weight)).collect();
            suspects.sort_by(|a, b| b.1.total_cmp(&a.1));
            suspects.truncate(MOST_SUSPECTS);
            let next = self.next_after(best.number, &left, open, known, crossing, sound)?;
            let then = next.map(|next| self.short_question(&self.grounds.catalogue.checks[next.number], crossing));
            let suspects = suspects.into_iter().map(|(name, _)| name).collect();
            outcomes.push(Outcome { answer, suspects, then: then.transpose()? });
        }
        let tells = best.second > 0.0 && best.told > 0.0;
        Ok(Why { minutes: best.taken, otherwise: tells.then(|| best.told / best.second), outcomes })
    }

    /// The probability of each suspect, by its words. What is outside the library, and nothing at all, have none.
    fn by_suspect(&self, active: &Active) -> BTreeMap<String, f64> {
        let mut all: BTreeMap<&str, f64> = BTreeMap::new();
        for one in &active.of {
            if let Some(fault) = self.grounds.faults.get(one.number) {
                *all.entry(&fault.words).or_default() += one.weight;
            }
        }
        all.into_iter().map(|(words, weight)| (spoken(words, self.grounds.world), weight)).collect()
    }

    /// The short question of a check.
    fn short_question(&self, check: &Check, crossing: &Crossing) -> Result<String, ProveError> {
        let step = check.asked().step();
        let scope = scope_at(self.grounds.world, &check.spot, &crossing.seen)?;
        Ok(render(step.brief.as_ref().unwrap_or(&step.say), &scope)?)
    }

    /// The words of each answer that a check can have, as in [`crate::diagnose::belief::fit::forecast`].
    fn answer_words(&self, check: &Check, crossing: &Crossing) -> Result<Vec<String>, ProveError> {
        let asked = check.asked();
        let vocabulary = &self.grounds.world.vocabulary;
        if !asked.choices().is_empty() {
            let scope = scope_at(self.grounds.world, &check.spot, &crossing.seen)?;
            let first = |phrase: Option<&_>| phrase.map_or(Ok(String::new()), |phrase| render(phrase, &scope));
            return Ok(asked.choices().iter().map(|choice| first(choice.phrases.first())).collect::<Result<_, _>>()?);
        }
        let number = |value: f64| match asked.unit() {
            Some((unit, resolution)) if value.is_finite() => vocabulary.say_number(value, unit, resolution),
            _ => String::new(),
        };
        let words = |key: &str, from: f64, below: f64| {
            vocabulary.sentence(key, &json!({"from": number(from), "below": number(below)})).unwrap_or_default()
        };
        let bands = asked.question.limits().iter().map(|band| words("why-band", band.from, band.below));
        Ok(bands.chain([words("over-range-words", 0.0, 0.0)]).collect())
    }
}
