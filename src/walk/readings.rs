//! Readings: plausibility, bands, read-back, and later amendment.

use super::event::{SayKind, Tone};
use super::memory::{Frame, TakenReading, Told, round_of};
use super::phase::{After, Phase};
use super::walker::Walker;
use crate::expression;
use crate::expression::Scope;
use crate::phrase::{Answer, Escape, Hypothesis, Reading, ReadingKind};
use crate::procedure::{Ask, Band, Meaning, ReadingAsk, Step};
use crate::session::{Miss, Record};
use crate::units::Unit;
use serde_json::{Value, json};

/// What the user was asked about a number, and agreed to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Sure {
    /// Nothing.
    No,
    /// Whether it was heard right.
    OfTheWords,
    /// Whether an implausible value is right.
    OfTheValue,
}

impl Sure {
    pub(super) fn of_words(confirmed: bool) -> Self {
        if confirmed { Self::OfTheWords } else { Self::No }
    }
}

impl Walker {
    /// What templates and expressions see at another place in this walk.
    pub(super) fn scope_at(&self, frames: &[Frame]) -> Scope {
        let mut there = self.place.at.clone();
        there.frames = frames.to_vec();
        self.scope_of(&there)
    }

    /// Accepts a number for the current step, or for the reading that is being corrected.
    pub(super) fn take_reading(&mut self, heard: Hypothesis, clip: Option<String>, sure: Sure, told: Told) {
        let Answer::Reading(reading) = &heard.answer else { return };
        let world = self.world.clone();
        let amends = match self.phase {
            Phase::Correcting { index } => Some(index),
            _ => self.readings.correcting,
        };
        let (frames, number, told) = match amends.map(|index| &self.readings.all[index]) {
            Some(old) => (old.frames.clone(), old.number, old.told.clone()),
            None => (self.place.at.frames.clone(), self.readings.all.len() as u32 + 1, told),
        };
        let confirmed = sure != Sure::No;
        let frame = frames.last().expect("the stack of calls is never empty");
        let Some(step) = world.procedures[&frame.procedure].step(&frame.step) else { return };
        let Ask::Reading(ask) = &step.ask else { return self.not_understood(Miss::NoMatch, None, clip) };
        if let Some(said) = reading.said_unit
            && said.quantity() != ask.quantity
        {
            let unit = |u: Unit| world.vocabulary.unit_words(u);
            self.sentence("unit-doubt", json!({"asked": unit(ask.unit), "said": unit(said)}), SayKind::Question);
            return self.listen_when_quiet();
        }
        let scope = self.scope_at(&frames);
        match reading.kind {
            ReadingKind::NoReading => {
                let answer = Answer::Escape(Escape::NotSure);
                return self.take(Hypothesis { answer, ..heard.clone() }, clip, confirmed);
            }
            ReadingKind::OverRange if ask.over_range.is_none() => {
                self.sentence("over-range-unexpected", json!({}), SayKind::Question);
                return self.listen_when_quiet();
            }
            ReadingKind::OverRange => {}
            ReadingKind::Plain | ReadingKind::About => {
                let bounds = expression::evaluate_number(&ask.low, &scope)
                    .and_then(|low| Ok((low, expression::evaluate_number(&ask.high, &scope)?)));
                let (low, high) = match bounds {
                    Ok(bounds) => bounds,
                    Err(d) => return self.fault(&d.to_string()),
                };
                if sure != Sure::OfTheValue && !(low..=high).contains(&reading.value) {
                    let words = self.reading_words(reading, step);
                    self.sentence("reading-implausible", json!({"reading": words}), SayKind::Question);
                    let Hypothesis { answer, words, probability } = heard;
                    self.readings.correcting = amends;
                    self.phase = Phase::Doubting { answer, words, confidence: probability, clip, told };
                    return self.listen_when_quiet();
                }
            }
        }
        let band = match self.band(ask, reading, &scope) {
            Ok(band) => band,
            Err(why) => return self.fault(&why),
        };
        let verdict = band.map_or(Meaning::Bad, |at| ask.bands[at].means);
        let (low, high) = if self.mute { (None, None) } else { good_limits(ask, &scope) };
        let record = Record::Read {
            step: step.id.value.clone(),
            round: round_of(&frames),
            number,
            name: ask.name.value.clone(),
            quantity: ask.quantity,
            reading: reading.clone(),
            unit: ask.unit,
            band: band.map(|at| ask.bands[at].id.value.clone()),
            verdict: verdict.name().to_owned(),
            low,
            high,
            source: if self.mute { String::new() } else { expression::render(&ask.source, &scope).unwrap_or_default() },
            words: heard.words.clone(),
            confidence: heard.probability,
            confirmed,
            amends: amends.map(|_| number),
            clip,
            told: told.is_some(),
        };
        let taken = TakenReading {
            number,
            name: ask.name.value.clone(),
            step: step.id.value.clone(),
            frames,
            unit: ask.unit,
            resolution: ask.resolution,
            reading: reading.clone(),
            band,
            history: self.place.history.len(),
            told,
        };
        self.readings.correcting = None;
        self.talk.denied.clear();
        self.advice.was_confirmed = confirmed;
        self.write(record, After::Read { taken: Box::new(taken), amends: amends.is_some() });
    }

    /// The band that a reading falls in. `None` for over range. A value outside the plausible range falls in the nearest band.
    fn band(&self, ask: &ReadingAsk, reading: &Reading, scope: &Scope) -> Result<Option<usize>, String> {
        if reading.kind == ReadingKind::OverRange {
            return Ok(None);
        }
        for (at, band) in ask.bands.iter().enumerate() {
            let Some(below) = &band.below else { return Ok(Some(at)) };
            let below = expression::evaluate_number(below, scope).map_err(|d| d.to_string())?;
            if reading.value < below {
                return Ok(Some(at));
            }
        }
        Ok(ask.bands.len().checked_sub(1))
    }

    /// Called once a reading is on disk: says it back and goes where it leads.
    pub(super) fn read(&mut self, taken: TakenReading, amends: bool) {
        let world = self.world.clone();
        let frame = taken.frames.last().expect("the stack of calls is never empty");
        let Some(step) = world.procedures[&frame.procedure].step(&taken.step) else { return };
        let Ask::Reading(ask) = &step.ask else { return };
        self.tone(Tone::Accepted);
        self.say_as_told(taken.told.is_some());
        self.read_back(&taken);
        if amends {
            return self.amended(taken, ask);
        }
        self.remember();
        self.observe();
        if let Some(position) = self.place.history.last_mut().filter(|_| !self.mute) {
            position.reading = Some(taken.number);
        }
        self.answered(step, taken.told.as_deref(), &self.named_reading(&taken, step));
        self.see_reading(&taken, ask);
        self.readings.all.push(taken.clone());
        self.lead_on_from(&taken, ask);
    }

    fn see_reading(&mut self, taken: &TakenReading, ask: &ReadingAsk) {
        if taken.reading.kind != ReadingKind::OverRange {
            self.see(&taken.name.replace('-', "_"), json!(taken.reading.value));
        }
        let step = taken.step.replace('-', "_");
        let band = taken.band.map_or("over-range", |at| ask.bands[at].id.as_str());
        self.see(&format!("{step}_band"), Value::String(band.to_owned()));
    }

    fn lead_on_from(&mut self, taken: &TakenReading, ask: &ReadingAsk) {
        match taken.band.map(|at| &ask.bands[at]) {
            Some(Band { id, say, doubt, go, means, .. }) => {
                if let Some(say) = say {
                    match self.worded(say) {
                        Ok(text) => self.say(text, SayKind::Echo),
                        Err(d) => return self.fault(&d.to_string()),
                    }
                }
                self.lead_on(&id.value, doubt.as_ref(), go, *means);
            }
            None => match &ask.over_range {
                Some(route) => self.lead_on("over-range", None, route, Meaning::Bad),
                None => self.fault("an over-range reading was taken where none is foreseen"),
            },
        }
    }

    /// Applies an amended reading. The journal keeps both values. If the new one leads elsewhere, the walk goes on from there.
    fn amended(&mut self, mut taken: TakenReading, ask: &ReadingAsk) {
        let Some(index) = self.readings.all.iter().position(|r| r.number == taken.number) else { return };
        let old = self.readings.all[index].clone();
        taken.history = old.history;
        let same_way = old.band == taken.band;
        self.advice.doubt = None;
        self.readings.all[index] = taken.clone();
        if same_way {
            // The observation's key is that step's place, not the current one.
            let here = std::mem::replace(&mut self.place.at.frames, taken.frames.clone());
            self.see_reading(&taken, ask);
            let world = self.world.clone();
            if let Some(step) = self.step(&world).filter(|step| self.is_told(&step.id.value)) {
                self.keep_told(step, &self.named_reading(&taken, step));
            }
            self.place.at.frames = here;
            self.observe_everywhere();
            return self.ask();
        }
        let Some(position) = self.place.history.get(old.history).cloned() else { return self.ask() };
        self.place.history.truncate(old.history + 1);
        self.place.at = position;
        self.observe();
        let world = self.world.clone();
        if let Some(step) = self.step(&world) {
            self.answered(step, taken.told.as_deref(), &self.named_reading(&taken, step));
        }
        self.sentence("amended-leads-elsewhere", json!({}), SayKind::Notice);
        self.see_reading(&taken, ask);
        self.lead_on_from(&taken, ask);
    }

    fn read_back(&mut self, taken: &TakenReading) {
        if self.mute {
            return;
        }
        let words = &self.world.vocabulary;
        match taken.reading.kind {
            ReadingKind::OverRange => self.sentence("reading-back-over-range", json!({}), SayKind::Echo),
            kind => {
                let number = words.say_number(taken.reading.value, taken.unit, taken.resolution);
                let digits = words.say_digits(taken.reading.value, taken.resolution);
                let about = kind == ReadingKind::About;
                self.sentence(
                    "reading-back",
                    json!({"words": number, "digits": digits, "about": about}),
                    SayKind::Echo,
                );
            }
        }
    }

    /// A reading with its name: "rest voltage 12.6 volts".
    pub(super) fn named_reading(&self, taken: &TakenReading, step: &Step) -> String {
        format!("{} {}", taken.name.replace(['_', '-'], " "), self.reading_words(&taken.reading, step))
    }

    /// A reading in words, for questions about it.
    pub(super) fn reading_words(&self, reading: &Reading, step: &Step) -> String {
        if self.mute {
            return String::new();
        }
        let resolution = match &step.ask {
            Ask::Reading(ask) => ask.resolution,
            _ => 0.01,
        };
        match reading.kind {
            ReadingKind::OverRange => self.words("over-range-words", json!({})),
            ReadingKind::NoReading => self.words("no-reading-words", json!({})),
            _ => self.world.vocabulary.say_number(reading.value, reading.unit, resolution),
        }
    }

    /// Handles "last reading".
    pub(super) fn say_last_reading(&mut self) {
        match self.readings.all.last().cloned() {
            Some(taken) => {
                let number = match taken.reading.kind {
                    ReadingKind::OverRange => self.words("over-range-words", json!({})),
                    _ => self.world.vocabulary.say_number(taken.reading.value, taken.unit, taken.resolution),
                };
                let name = taken.name.replace(['_', '-'], " ");
                let told = taken.told.is_some();
                self.sentence("last-reading", json!({"name": name, "reading": number, "told": told}), SayKind::Notice);
            }
            None => self.sentence("no-reading-yet", json!({}), SayKind::Notice),
        }
    }
}

/// The outer limits of the good bands, where they are bounded.
fn good_limits(ask: &ReadingAsk, scope: &Scope) -> (Option<f64>, Option<f64>) {
    let good: Vec<&Band> = ask.bands.iter().filter(|b| b.means == Meaning::Good).collect();
    let number =
        |e: &Option<expression::Expression>| e.as_ref().and_then(|e| expression::evaluate_number(e, scope).ok());
    (good.first().and_then(|b| number(&b.from)), good.last().and_then(|b| number(&b.below)))
}
