//! A sum requested in the middle of a step: asks for its inputs one by one, stores and says the result, then returns to the step.

use super::enter::How;
use super::event::{SayKind, Tone};
use super::phase::{After, Phase};
use super::walker::Walker;
use crate::phrase::{NumberSlot, Reading, ReadingKind};
use crate::session::Record;
use crate::sums::{Input, Sum, sum};
use crate::units::Unit;
use serde_json::json;

/// The grammar allows values up to this many steps from zero.
const MOST_STEPS: f64 = 1e6;

/// The smallest step in which users say values in this unit.
fn step(unit: Unit) -> f64 {
    match unit {
        Unit::One | Unit::Percent | Unit::EachMinute => 1.0,
        Unit::PerMinute => 10.0,
        Unit::Microfarad | Unit::Nanofarad => 0.001,
        Unit::Volt | Unit::Ohm | Unit::Millimetre | Unit::SquareMillimetre | Unit::Millisecond => 0.01,
        _ => 0.1,
    }
}

/// The numbers that the grammar allows for `input`.
pub(super) fn slot(input: &Input) -> NumberSlot {
    let resolution = step(input.unit);
    let reach = resolution * MOST_STEPS;
    let (low, high) = (input.low.max(-reach), input.high.min(reach));
    NumberSlot { quantity: input.quantity(), unit: input.unit, low, high, resolution }
}

impl Walker {
    /// Handles "reckon dwell" and the like.
    pub(super) fn begin_sum(&mut self, name: &str) {
        match sum(name) {
            Ok(sum) => self.ask_input(sum, Vec::new()),
            Err(why) => self.fault(&why.to_string()),
        }
    }

    fn ask_input(&mut self, sum: &'static Sum, given: Vec<f64>) {
        let Some(input) = sum.inputs.get(given.len()) else { return self.reckon(sum, given) };
        let usual = input.usual.map(|value| self.world.vocabulary.say_number(value, input.unit, step(input.unit)));
        self.phase = Phase::Reckoning { sum, given };
        self.talk.last_said.clear();
        self.sentence("sum-ask", json!({"ask": input.ask, "usual": usual.unwrap_or_default()}), SayKind::Question);
        self.listen_when_quiet();
    }

    pub(super) fn take_usual_input(&mut self, sum: &'static Sum, mut given: Vec<f64>) {
        match sum.inputs.get(given.len()).and_then(|input| input.usual) {
            Some(usual) => {
                given.push(usual);
                self.ask_input(sum, given);
            }
            None => self.ask_input(sum, given),
        }
    }

    /// Takes a number for the requested input. Asks again if the sum does not accept it.
    pub(super) fn take_input(&mut self, sum: &'static Sum, mut given: Vec<f64>, reading: &Reading) {
        let Some(input) = sum.inputs.get(given.len()) else { return };
        let unit = |unit: Unit| self.world.vocabulary.unit_words(unit).to_owned();
        match reading.said_unit.filter(|said| said.quantity() != input.quantity()) {
            Some(said) => {
                let values = json!({"asked": unit(input.unit), "said": unit(said)});
                self.sentence("unit-doubt", values, SayKind::Question);
                return self.listen_when_quiet();
            }
            None if matches!(reading.kind, ReadingKind::OverRange | ReadingKind::NoReading) => {
                return self.ask_input(sum, given);
            }
            None => {}
        }
        match input.in_range(reading.value) {
            Ok(value) => {
                self.tone(Tone::Accepted);
                given.push(value);
                self.ask_input(sum, given);
            }
            Err(_) => {
                let words = self.world.vocabulary.say_number(reading.value, input.unit, step(input.unit));
                let low = self.world.vocabulary.say_number(input.low, input.unit, step(input.unit));
                let high = self.world.vocabulary.say_number(input.high, input.unit, step(input.unit));
                self.sentence("sum-range", json!({"value": words, "low": low, "high": high}), SayKind::Notice);
                self.ask_input(sum, given);
            }
        }
    }

    fn reckon(&mut self, sum: &'static Sum, given: Vec<f64>) {
        let value = match sum.reckon(&given) {
            Ok(value) => value,
            Err(why) => {
                self.sentence("sum-refused", json!({"why": why.to_string()}), SayKind::Notice);
                return self.ask_the_step_again();
            }
        };
        let words = |value: f64, unit: Unit, resolution: f64| self.world.vocabulary.say_number(value, unit, resolution);
        let inputs = sum.inputs.iter().zip(&given);
        let spoken: Vec<String> =
            inputs.clone().map(|(input, value)| words(*value, input.unit, step(input.unit))).collect();
        let values = json!({
            "name": sum.name.replace('-', " "),
            "given": spoken.join(", "),
            "result": words(value, sum.unit, sum.resolution),
            "of": sum.of,
        });
        let said = self.words("sum-result", values);
        let record = Record::Reckoned {
            step: self.step_id(),
            round: self.round(),
            sum: sum.name.to_owned(),
            inputs: inputs.map(|(input, value)| (input.name.to_owned(), *value, input.unit)).collect(),
            value,
            unit: sum.unit,
            source: sum.source.to_owned(),
        };
        self.write(record, After::Reckoned { said });
    }

    /// Called once the result is on disk: says it and returns to the step's question.
    pub(super) fn reckoned(&mut self, said: String) {
        self.say(said, SayKind::Echo);
        self.ask_the_step_again();
    }

    pub(super) fn ask_the_step_again(&mut self) {
        let step = self.step_id();
        self.enter(&step, How::Again);
    }
}
