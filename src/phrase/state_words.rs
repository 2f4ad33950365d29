//! The bike's state in words: terminals, parts, and the changes to make before a step.

use super::sentence::SentenceError;
use super::vocabulary::Vocabulary;
use crate::bike::{Bike, Change, Instrument, Side};
use crate::parts::Terminals;
use serde_json::json;

impl Vocabulary {
    /// A terminal in words, without article: `battery.live` -> "live battery terminal", `left-points.coil-side` -> "coil side of the left
    /// points connector". A name in the profile takes precedence, then the vocabulary's own, then the catalogue's. An unknown terminal is
    /// read as written, with spaces.
    ///
    /// # Errors
    /// A template cannot be filled in.
    pub fn terminal_words(&self, terminal: &str, bike: &Bike) -> Result<String, SentenceError> {
        if let Some(own) = bike.terminals.get(terminal) {
            return Ok(own.value.clone());
        }
        let (part, end) = terminal.split_once('.').unwrap_or((terminal, ""));
        let words = self.part_words(part, bike)?;
        if end.is_empty() {
            return Ok(words);
        }
        let kind = bike.part(part).map(|part| &part.kind);
        if bike.connectors.iter().any(|connector| connector.id == part)
            && let Some(half) = self.halves.get(end)
        {
            return self.sentences.fill_source(end, half, &json!({"words": words}));
        }
        let own = kind.and_then(|kind| self.terminals.get(&format!("{}.{end}", *kind.id)));
        let of_catalogue = kind.and_then(|kind| match &kind.terminals {
            Terminals::Named(named) => named.iter().find(|(name, _)| name == end).map(|(_, words)| &words.value),
            _ => None,
        });
        match own.or(of_catalogue) {
            Some(template) => self.sentences.fill_source(terminal, template, &json!({"part": words})),
            None => self.sentence("terminal", &json!({"part": words, "end": spaced(end)})),
        }
    }

    /// A part, a connector or a plug lead in words, without article: `condenser-left` -> "left condenser".
    ///
    /// # Errors
    /// A template cannot be filled in.
    pub(super) fn part_words(&self, part: &str, bike: &Bike) -> Result<String, SentenceError> {
        if let Some(plug) = part.strip_prefix("lead-").and_then(|id| bike.plugs.iter().find(|plug| plug.id == id)) {
            let all: Vec<(&str, Side)> = bike.plugs.iter().map(|plug| (plug.id.as_str(), plug.side)).collect();
            let (side, id) = self.side_and_id(&plug.id, &all);
            return Ok(self.sentence("plug-lead", &json!({"side": side, "id": id}))?.trim().to_owned());
        }
        let Some(own) = bike.part(part) else { return Ok(spaced(part)) };
        if let Some(words) = &own.words {
            return Ok(words.clone());
        }
        let (side, id) = self.side_and_id(own.short_id(), &bike.alike(own));
        let template = self.parts.get(own.kind.id.as_str()).unwrap_or(&own.kind.words.value);
        // A part that is named after no side and is not the only one goes by its whole id.
        let id = if id.is_empty() && side.is_empty() { spaced(part) } else { id };
        // The only one of its kind needs no id, and one that is named after its kind has none: "points", not "points points".
        let kind = own.kind.id.as_str();
        let is_kind = part == kind || kind.split('-').next() == Some(part);
        let needs_none = bike.alike(own).len() == 1 && (own.short_id() != part || is_kind);
        let given = json!({"side": side, "id": if needs_none { String::new() } else { id }});
        let words = self.sentences.fill_source(part, template, &given)?.trim().to_owned();
        Ok(if words.is_empty() { spaced(part) } else { words })
    }

    /// One change as a sentence: "Key on.", "Unplug the left points connector.", "Lamp clip on the live battery terminal, probe on the coil
    /// side of the left points connector."
    ///
    /// # Errors
    /// A vocabulary template cannot be filled in.
    pub fn change_words(&self, change: &Change, bike: &Bike) -> Result<String, SentenceError> {
        match change {
            Change::Switch { name, to } => {
                // The vocabulary names the switches that every procedure knows; any other goes by the bike's own words.
                let words = match self.switch(name) {
                    same if same == name && bike.part(name).is_some() => self.part_words(name, bike)?,
                    words => words.to_owned(),
                };
                self.sentence("change-switch", &json!({"name": name, "words": words, "to": to}))
            }
            Change::Unplug(id) => self.sentence("change-unplug", &self.thing(id, bike)?),
            Change::PlugIn(id) => self.sentence("change-plug-in", &self.thing(id, bike)?),
            Change::Points { set, to } => {
                let part = bike.points.iter().find(|one| one.id == *set).map_or(set, |one| &one.part);
                let words = self.part_words(part, bike)?;
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
        let kind = bike.part(id).map_or("other", |part| part.kind.id.as_str());
        Ok(json!({"kind": kind, "words": self.part_words(id, bike)?}))
    }

    /// What distinguishes a part from the others of its kind: its spoken side if it is the only one there, otherwise its id. Nothing if it is
    /// the only one of its kind.
    fn side_and_id(&self, id: &str, all: &[(&str, Side)]) -> (&str, String) {
        let side = all.iter().find(|(other, _)| *other == id).map(|(_, side)| *side);
        match side {
            Some(_) if all.len() == 1 => ("", String::new()),
            Some(side) if all.iter().filter(|(_, s)| *s == side).count() == 1 => (self.side(side), spaced(id)),
            _ => ("", spaced(id)),
        }
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
    fn terminal(&self, terminal: &str, bike: &Bike) -> String {
        self.terminal_words(terminal, bike).unwrap_or_else(|_| spaced(terminal))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bike::*;

    /// An invented twin, or a single with just one of its sides.
    fn bike(sides: &[(&str, Side)]) -> Bike {
        let mut parts =
            String::from("  battery: {kind: battery}\n  engine: {kind: engine}\n  fuse: {kind: fuse, ampere: 10}\n");
        for (id, side) in sides {
            let side = side.name();
            parts += &format!(
                "  coil-{id}: {{kind: coil, side: {side}, primary-ohm: 4.5}}\n  points-{id}: {{kind: points, side: {side}}}\n  \
                 condenser-{id}: {{kind: condenser, side: {side}, microfarad: 0.24}}\n  plug-{id}: {{kind: plug, side: {side}}}\n  \
                 cap-{id}: {{kind: cap, side: {side}}}\n  \
                 {id}-points: {{kind: connector, words: \"{id} points connector\", halves: [coil-side, points-side]}}\n"
            );
        }
        let text = format!(
            "bike: Invented\nmaker: Invented\nvolt: 12\nground: negative\nstarter: kick\npoints-cam: camshaft\nparts:\n{parts}wires:\n  \
             - {{from: battery.ground, to: engine, colour: BN}}\nterminals: {{coil-right.points: \"right coil's black wire\"}}\n"
        );
        parse(&text, "bike.yaml").unwrap_or_else(|wrong| panic!("{}", wrong[0]))
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
        assert_eq!(say("horn.feed"), "feed side of the horn");
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
        assert_eq!(words.part_words("cap-rear", &crowded).unwrap(), "rear plug cap");
    }

    #[test]
    fn a_switch_that_the_vocabulary_does_not_name_goes_by_the_bikes_words() {
        let text = "bike: Invented\nmaker: Invented\nvolt: 12\nground: negative\nparts:\n  \
             fan-1: {kind: switch, words: \"left fan switch\", positions: {\"off\": [], \"on\": [[in, out]]}}\nwires:\n  \
             - {from: fan-1.in, to: fan-1.out, colour: BN}\n";
        let bike = parse(text, "bike.yaml").unwrap_or_else(|wrong| panic!("{}", wrong[0]));
        let say = |name: &str| {
            let change = Change::Switch { name: name.into(), to: "on".into() };
            Vocabulary::english().change_words(&change, &bike).unwrap()
        };
        assert_eq!(say("fan-1"), "Left fan switch to on.");
        assert_eq!(say("kill"), "Kill switch to on.", "the vocabulary's words go first");
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
        assert_eq!(say(Change::Unplug("cap-right".into())), "Pull the right plug cap off.");
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
            "Voltmeter: red on the live battery terminal, black on the points side of the left points connector."
        );
        assert_eq!(say(Change::LayDown), "Lay the instrument down.");
    }
}
