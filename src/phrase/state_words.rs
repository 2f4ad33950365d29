//! The bike's state in words: terminals, parts, and what the person is told to change before a step.

use super::sentence::SentenceError;
use super::vocabulary::{Vocabulary, named};
use crate::bike::{Bike, BikeState, Change, Instrument, Side};
use serde_json::json;

/// Kinds of parts that carry an id: `coil-left`.
const WITH_ID: &[&str] = &["coil", "points", "condenser", "plug", "lead"];

impl Vocabulary {
    /// A terminal in words, without article: `battery.live` -> "live battery terminal", `left-points.coil-side` -> "coil side of the left
    /// points connector". The profile's own name goes first; one that is not known is read as it is written, with spaces.
    ///
    /// # Errors
    /// A template of the vocabulary that cannot be filled in.
    pub fn terminal(&self, terminal: &str, bike: &Bike) -> Result<String, SentenceError> {
        if let Some(own) = bike.terminals.get(terminal) {
            return Ok(own.value.clone());
        }
        let (part, end) = terminal.split_once('.').unwrap_or((terminal, ""));
        if let Some(connector) = bike.connectors.iter().find(|c| *c.id == part) {
            let half = named(&self.halves, end);
            return self.sentences.fill_source(end, half, &json!({"words": connector.words}));
        }
        let (kind, _) = kind_and_id(part);
        match self.terminals.get(&format!("{kind}.{end}")) {
            Some(template) => {
                let given = json!({"part": self.part(part, bike)?});
                self.sentences.fill_source(terminal, template, &given)
            }
            None if end.is_empty() => self.part(part, bike),
            None => Ok(format!("{}, {}", self.part(part, bike)?, spaced(end))),
        }
    }

    /// A part, a connector or a thing that unplugs in words, without article: `condenser-left` -> "left condenser".
    ///
    /// # Errors
    /// A template of the vocabulary that cannot be filled in.
    pub fn part(&self, part: &str, bike: &Bike) -> Result<String, SentenceError> {
        if let Some(connector) = bike.connectors.iter().find(|c| *c.id == part) {
            return Ok(connector.words.clone());
        }
        let (kind, id) = kind_and_id(part);
        match self.parts.get(kind) {
            Some(template) => {
                let (side, id) = self.side_and_id(kind, id, bike);
                let given = json!({"side": side, "id": id});
                Ok(self.sentences.fill_source(part, template, &given)?.trim().to_owned())
            }
            None => Ok(spaced(part)),
        }
    }

    /// One change in words, a sentence: "Key on.", "Unplug the left points connector.", "Lamp clip on the live battery terminal, probe
    /// on the coil side of the left points connector."
    ///
    /// # Errors
    /// A template of the vocabulary that cannot be filled in.
    pub fn change(&self, change: &Change, bike: &Bike) -> Result<String, SentenceError> {
        match change {
            Change::Switch { name, to } => {
                self.sentence("change-switch", &json!({"name": name, "words": self.switch(name), "to": to}))
            }
            Change::Unplug(id) => self.sentence("change-unplug", &self.thing(id, bike)?),
            Change::PlugIn(id) => self.sentence("change-plug-in", &self.thing(id, bike)?),
            Change::Points { set, to } => {
                let words = self.part(&format!("points-{set}"), bike)?;
                self.sentence("change-points", &json!({"words": words, "to": to.name()}))
            }
            Change::Engine(engine) => self.sentence("change-engine", &json!({"to": engine.name()})),
            Change::Fit { name, between: [first, second] } => {
                let (first, second) = (self.terminal(first, bike)?, self.terminal(second, bike)?);
                self.sentence("change-fit", &json!({"name": spaced(name), "first": first, "second": second}))
            }
            Change::Remove(name) => self.sentence("change-remove", &json!({"name": spaced(name)})),
            Change::Leads(Instrument { kind, first, second }) => {
                let (first, second) = (self.terminal(first, bike)?, self.terminal(second, bike)?);
                let words = self.instrument(*kind);
                let given = json!({"kind": kind.name(), "words": words, "first": first, "second": second});
                self.sentence("change-leads", &given)
            }
            Change::LayDown => self.sentence("change-lay-down", &json!({})),
        }
    }

    /// How the bike should stand, a sentence for each thing known: what is told after an interruption.
    ///
    /// # Errors
    /// A template of the vocabulary that cannot be filled in.
    pub fn state_facts(&self, state: &BikeState, bike: &Bike) -> Result<Vec<String>, SentenceError> {
        let switches = state.switches.iter().map(|(name, to)| Change::Switch { name: name.clone(), to: to.clone() });
        let unplugged = state.unplugged.iter().cloned().map(Change::Unplug);
        let fitted =
            state.fitted.iter().map(|(name, between)| Change::Fit { name: name.clone(), between: between.clone() });
        let points = state.points.iter().map(|(set, to)| Change::Points { set: set.clone(), to: *to });
        let leads = state.instrument.iter().cloned().map(Change::Leads);
        let all = switches.chain(unplugged).chain(fitted).chain(points).chain(leads);
        all.map(|change| self.change(&change, bike)).collect()
    }

    /// What `change-unplug` is given.
    fn thing(&self, id: &str, bike: &Bike) -> Result<serde_json::Value, SentenceError> {
        let kind = match kind_and_id(id).0 {
            _ if bike.connectors.iter().any(|c| *c.id == id) => "connector",
            kind if ["condenser", "lead", "plug", "fuse"].contains(&kind) => kind,
            _ => "other",
        };
        Ok(json!({"kind": kind, "words": self.part(id, bike)?}))
    }

    /// What tells a coil, points set, condenser or plug from the others of its kind: its side as spoken, where it is alone there; else
    /// its id; nothing for the only one.
    fn side_and_id(&self, kind: &str, id: &str, bike: &Bike) -> (&str, String) {
        let side_of_set = |id: &str| bike.points.iter().find(|p| *p.id == id).map_or(Side::Centre, |p| p.side);
        let all: Vec<(&str, Side)> = match kind {
            "coil" => bike.coils.iter().map(|c| (c.id.as_str(), c.side)).collect(),
            "points" => bike.points.iter().map(|p| (p.id.as_str(), p.side)).collect(),
            "condenser" => bike.condensers.iter().map(|c| (c.id.as_str(), side_of_set(&c.points))).collect(),
            _ => bike.plugs.iter().map(|p| (p.id.as_str(), p.side)).collect(),
        };
        let side = all.iter().find(|(other, _)| *other == id).map(|(_, side)| *side);
        match side {
            Some(_) if all.len() == 1 => ("", String::new()),
            Some(side) if all.iter().filter(|(_, s)| *s == side).count() == 1 => (self.side(side), spaced(id)),
            _ => ("", spaced(id)),
        }
    }
}

/// `coil-left` -> (`coil`, `left`); `battery` -> (`battery`, nothing).
fn kind_and_id(part: &str) -> (&str, &str) {
    match part.split_once('-') {
        Some((kind, id)) if WITH_ID.contains(&kind) => (kind, id),
        _ => (part, ""),
    }
}

fn spaced(id: &str) -> String {
    id.replace('-', " ")
}
