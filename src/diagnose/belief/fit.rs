//! How probable an answer is where something is expected.

use crate::circuit::{Expected, Limits, Reading};
use crate::diagnose::weights::ABOUT;
use crate::diagnose::{Asked, Seen};
use crate::walk::Saw;

/// Probability of an answer where this is expected, nobody erring; `share` is a reading's least spread, `at_random` the answer's probability
/// where nothing tells what would be seen.
pub(in crate::diagnose) fn fit(expected: &Expected, saw: &Saw, at_random: f64, share: f64) -> f64 {
    match (expected, saw) {
        // Where nothing tells what would be seen, the answer tells nothing.
        (Expected::Unknown(_) | Expected::Nothing, _) => at_random,
        // Of several possible answers the typical bike's counts twice.
        (Expected::Choices(choices), Saw::Choice(seen)) => {
            let share = 1.0 / (choices.len() + 1) as f64;
            match choices.iter().position(|choice| choice == seen) {
                Some(0) => 2.0 * share,
                Some(_) => share,
                None => 0.0,
            }
        }
        (Expected::Reading(reading), Saw::OverRange) => over_range(reading),
        (Expected::Reading(reading), Saw::Number { value, resolution, about }) => {
            let Some(typical) = reading.typical else { return 0.0 };
            let spread = spread(reading, typical, share).max(*resolution);
            let spread = if *about { spread * ABOUT } else { spread };
            let off = (value - typical) / spread;
            let density = (-0.5 * off * off).exp() / (spread * std::f64::consts::TAU.sqrt());
            (density * resolution).min(1.0)
        }
        _ => 0.0,
    }
}

fn over_range(reading: &Reading) -> f64 {
    match (reading.typical, reading.over_range) {
        (None, _) => 1.0,
        (Some(_), true) => 0.5,
        (Some(_), false) => 0.0,
    }
}

fn spread(reading: &Reading, typical: f64, share: f64) -> f64 {
    ((reading.high - reading.low) / 2.0).max(share * typical.abs())
}

/// Probability of each answer that a question can have, nobody erring: its choices, or its bands and then the meter's end. `share` and
/// `resolution` are a reading's least spread.
pub(in crate::diagnose) fn forecast(expected: &Expected, asked: &Asked, share: f64) -> Vec<f64> {
    let count = answers(asked);
    let evenly = || vec![1.0 / count as f64; count];
    match expected {
        Expected::Unknown(_) | Expected::Nothing => evenly(),
        Expected::Choices(choices) => {
            let each = 1.0 / (choices.len() + 1) as f64;
            let mut all = vec![0.0; count];
            for (number, id) in choices.iter().enumerate() {
                if let Some(at) = asked.choices().iter().position(|choice| choice.id.value == *id) {
                    all[at] += if number == 0 { 2.0 * each } else { each };
                }
            }
            all
        }
        Expected::Reading(reading) => {
            let over = over_range(reading);
            let Some(typical) = reading.typical else {
                let mut all = vec![0.0; count];
                all[count - 1] = 1.0;
                return all;
            };
            let resolution = asked.unit().map_or(0.0, |(_, resolution)| resolution);
            let spread = spread(reading, typical, share).max(resolution);
            let below = |edge: f64| {
                if edge.is_infinite() {
                    return if edge > 0.0 { 1.0 } else { 0.0 };
                }
                0.5 * (1.0 + libm::erf((edge - typical) / (spread * std::f64::consts::SQRT_2)))
            };
            let within = |band: &Limits| (below(band.below) - below(band.from)).max(0.0) * (1.0 - over);
            asked.question.limits().iter().map(within).chain([over]).collect()
        }
    }
}

/// How many answers a question can have.
pub(in crate::diagnose) fn answers(asked: &Asked) -> usize {
    match asked.choices().len() {
        0 => asked.question.limits().len() + 1,
        choices => choices,
    }
}

/// What was seen in a simulated walk, as an adviser takes it.
pub(in crate::diagnose) fn saw(asked: &Asked, seen: Seen) -> Saw {
    let resolution = asked.unit().map_or(0.0, |(_, resolution)| resolution);
    match seen {
        Seen::Choice(at) => asked.choices().get(at).map_or(Saw::Done, |choice| Saw::Choice(choice.id.value.clone())),
        Seen::Value(value) => Saw::Number { value, resolution, about: false },
        Seen::OverRange => Saw::OverRange,
        Seen::Done | Seen::Sometimes | Seen::Nothing => Saw::Done,
    }
}
