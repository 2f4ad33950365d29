//! The bike's state in words: terminals, parts, and the changes to make before a step.

use super::sentence::SentenceError;
use super::vocabulary::{Vocabulary, named};
use crate::bike::{Bike, Change, Instrument, Side};
use serde_json::json;

/// Kinds of part that carry an id: `coil-left`.
const WITH_ID: &[&str] = &["coil", "points", "condenser", "plug", "lead", "cap"];

impl Vocabulary {
    /// A terminal in words, without article: `battery.live` -> "live battery terminal", `left-points.coil-side` -> "coil side of the left
    /// points connector". A name in the profile takes precedence. An unknown terminal is read as written, with spaces.
    ///
    /// # Errors
    /// A vocabulary template cannot be filled in.
    pub fn terminal_words(&self, terminal: &str, bike: &Bike) -> Result<String, SentenceError> {
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
                let given = json!({"part": self.part_words(part, bike)?});
                self.sentences.fill_source(terminal, template, &given)
            }
            None if end.is_empty() => self.part_words(part, bike),
            None => Ok(format!("{}, {}", self.part_words(part, bike)?, spaced(end))),
        }
    }

    /// A part, a connector or anything that unplugs in words, without article: `condenser-left` -> "left condenser".
    ///
    /// # Errors
    /// A vocabulary template cannot be filled in.
    pub(super) fn part_words(&self, part: &str, bike: &Bike) -> Result<String, SentenceError> {
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

    /// One change as a sentence: "Key on.", "Unplug the left points connector.", "Lamp clip on the live battery terminal, probe on the coil
    /// side of the left points connector."
    ///
    /// # Errors
    /// A vocabulary template cannot be filled in.
    pub fn change_words(&self, change: &Change, bike: &Bike) -> Result<String, SentenceError> {
        match change {
            Change::Switch { name, to } => {
                self.sentence("change-switch", &json!({"name": name, "words": self.switch(name), "to": to}))
            }
            Change::Unplug(id) => self.sentence("change-unplug", &self.thing(id, bike)?),
            Change::PlugIn(id) => self.sentence("change-plug-in", &self.thing(id, bike)?),
            Change::Points { set, to } => {
                let words = self.part_words(&format!("points-{set}"), bike)?;
                self.sentence("change-points", &json!({"words": words, "to": to.name()}))
            }
            Change::Engine(engine) => self.sentence("change-engine", &json!({"to": engine.name()})),
            Change::Fit { name, between: [first, second] } => {
                let (first, second) = (self.terminal_words(first, bike)?, self.terminal_words(second, bike)?);
                self.sentence("change-fit", &json!({"name": spaced(name), "first": first, "second": second}))
            }
            Change::Remove(name) => self.sentence("change-remove", &json!({"name": spaced(name)})),
            Change::Leads(Instrument { kind, first, second }) => {
                let (first, second) = (self.terminal_words(first, bike)?, self.terminal_words(second, bike)?);
                let words = self.instrument(*kind);
                let given = json!({"kind": kind.name(), "words": words, "first": first, "second": second});
                self.sentence("change-leads", &given)
            }
            Change::LayDown => self.sentence("change-lay-down", &json!({})),
        }
    }

    /// The data for `change-unplug`.
    fn thing(&self, id: &str, bike: &Bike) -> Result<serde_json::Value, SentenceError> {
        let kind = match kind_and_id(id).0 {
            _ if bike.connectors.iter().any(|c| *c.id == id) => "connector",
            kind if ["condenser", "coil", "lead", "plug", "fuse"].contains(&kind) => kind,
            _ => "other",
        };
        Ok(json!({"kind": kind, "words": self.part_words(id, bike)?}))
    }

    /// What distinguishes a coil, points set, condenser or plug from the others of its kind: its spoken side if it is the only one there,
    /// otherwise its id. Nothing if it is the only one of its kind.
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

/// Templates get the names of a bike's parts from the vocabulary.
impl crate::bike::Words for Vocabulary {
    fn colour(&self, code: &str) -> Option<String> {
        Vocabulary::colour(self, code)
    }
    fn wire(&self, code: &str) -> Option<String> {
        Vocabulary::wire(self, code)
    }
    fn side(&self, side: crate::bike::Side) -> String {
        match side {
            crate::bike::Side::Centre => String::new(),
            side => Vocabulary::side(self, side).to_owned(),
        }
    }
    fn part(&self, part: &str, bike: &Bike) -> String {
        self.part_words(part, bike).unwrap_or_else(|_| spaced(part))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bike::*;
    use crate::source::{Place, Written};
    use std::collections::BTreeMap;

    fn w<T>(value: T) -> Written<T> {
        Written { value, place: place() }
    }

    fn place() -> Place {
        Place { file: "bike.yaml".into(), line: 1, column: 1 }
    }

    /// An invented twin, or a single with just one of its sides.
    fn bike(sides: &[(&str, Side)]) -> Bike {
        let positions = vec![SwitchPosition { name: w("off".into()), connects: false }];
        let key = Switch { positions, action: KillAction::OpensFeed, location: "on the headlamp".into() };
        let coil = |(id, side): &(&str, Side)| Coil {
            id: w((*id).into()),
            side: *side,
            plugs: vec![w((*id).into())],
            primary_ohm: 4.5,
        };
        let points = |(id, side): &(&str, Side)| PointsSet {
            id: w((*id).into()),
            side: *side,
            coil: w((*id).into()),
            connector: w(format!("{id}-points")),
        };
        let condenser = |(id, _): &(&str, Side)| Condenser {
            id: w((*id).into()),
            points: w((*id).into()),
            half: w("points-side".into()),
            microfarad: 0.24,
        };
        let connector = |(id, _): &(&str, Side)| Connector {
            id: w(format!("{id}-points")),
            words: format!("{id} points connector"),
            halves: ["coil-side".into(), "points-side".into()],
            location: "under the tank".into(),
        };
        Bike {
            name: "Invented".into(),
            maker: "Invented".into(),
            volt: 12.0,
            ground: Polarity::Negative,
            starter: Starter::Kick,
            ballast_ohm: None,
            fuse: None,
            key,
            kill: None,
            points: sides.iter().map(points).collect(),
            coils: sides.iter().map(coil).collect(),
            condensers: sides.iter().map(condenser).collect(),
            plugs: sides.iter().map(|(id, side)| Plug { id: w((*id).into()), side: *side }).collect(),
            connectors: sides.iter().map(connector).collect(),
            wires: Vec::new(),
            terminals: BTreeMap::from([("coil-right.points".into(), w("right coil's black wire".into()))]),
            specified: BTreeMap::new(),
            electric: Electric::default(),
            place: place(),
        }
    }

    fn twin() -> Bike {
        bike(&[("left", Side::Left), ("right", Side::Right)])
    }

    #[test]
    fn terminals_in_words() {
        let say = |t: &str| Vocabulary::english().terminal_words(t, &twin()).unwrap();
        assert_eq!(say("battery.live"), "live battery terminal");
        assert_eq!(say("coil-left.points"), "left coil, points side");
        assert_eq!(say("coil-right.points"), "right coil's black wire");
        assert_eq!(say("left-points.coil-side"), "coil side of the left points connector");
        assert_eq!(say("points-left.wire"), "wire of the left points");
        assert_eq!(say("engine"), "engine case");
        assert_eq!(say("horn.feed"), "horn, feed");
    }

    #[test]
    fn only_ones_have_no_side_and_crowded_sides_have_names() {
        let words = Vocabulary::english();
        assert_eq!(words.part_words("coil-main", &bike(&[("main", Side::Centre)])).unwrap(), "coil");
        assert_eq!(
            words.terminal_words("points-main.wire", &bike(&[("main", Side::Centre)])).unwrap(),
            "wire of the points"
        );
        let crowded = bike(&[("front", Side::Left), ("rear", Side::Left)]);
        assert_eq!(words.part_words("lead-rear", &crowded).unwrap(), "rear plug cap");
    }

    #[test]
    fn every_change_in_words() {
        let say = |change: Change| Vocabulary::english().change_words(&change, &twin()).unwrap();
        let switch = |name: &str, to: &str| Change::Switch { name: name.into(), to: to.into() };
        assert_eq!(say(switch("key", "on")), "Key on.");
        assert_eq!(say(switch("fuel", "off")), "Fuel tap off.");
        assert_eq!(say(switch("kill", "run")), "Kill switch to run.");
        assert_eq!(say(Change::Unplug("left-points".into())), "Unplug the left points connector.");
        assert_eq!(say(Change::Unplug("condenser-left".into())), "Lift the lead of the left condenser off.");
        assert_eq!(say(Change::Unplug("lead-right".into())), "Pull the right plug cap off.");
        assert_eq!(say(Change::PlugIn("plug-left".into())), "Put the left spark plug back in.");
        assert_eq!(say(Change::PlugIn("fuse".into())), "Put the fuse back in.");
        let points = Change::Points { set: "left".into(), to: PointsAt::Closed };
        assert_eq!(say(points), "Turn the engine until the left points are closed.");
        assert_eq!(say(Change::Engine(Engine::Turned)), "Turn the engine slowly.");
        let between = ["coil-left.points".to_owned(), "engine".to_owned()];
        let fit = Change::Fit { name: "jumper".into(), between };
        assert_eq!(
            say(fit),
            "Clip the jumper to the left coil, points side and leave its other end free; it will touch the engine case."
        );
        assert_eq!(say(Change::Remove("jumper".into())), "Take the jumper off.");
        let leads = |kind| Instrument { kind, first: "battery.live".into(), second: "left-points.points-side".into() };
        assert_eq!(
            say(Change::Leads(leads(InstrumentKind::Lamp))),
            "Lamp clip on the live battery terminal, probe on the points side of the left points connector."
        );
        assert_eq!(
            say(Change::Leads(leads(InstrumentKind::Voltmeter))),
            "Voltmeter: red lead on the live battery terminal, black lead on the points side of the left points connector."
        );
        assert_eq!(say(Change::LayDown), "Lay the instrument down.");
    }
}
