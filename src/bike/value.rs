//! A bike as a value for templates and expressions: `bike.points[0].wire_words`.

use super::limits::usual;
use super::{Bike, Coil, Condenser, Connector, Part, Plug, PointsSet, Side, SwitchAction, Wire};
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;

/// Spoken names of a bike's parts. The vocabulary provides them; [`EnglishWords`] is the fallback.
pub trait Words {
    /// A colour by its IEC 60757 code: "green", "green and white". `None` if the code is unknown.
    fn colour(&self, code: &str) -> Option<String>;
    /// A wire by its colour code: "green wire", "green wire with white tracer".
    fn wire(&self, code: &str) -> Option<String>;
    /// "left", "right", or empty for the middle.
    fn side(&self, side: Side) -> String;
    /// A part or connector of `bike` by its id, without article: "key switch", "main connector".
    fn part(&self, part: &str, bike: &Bike) -> String;
    /// A terminal of `bike`, without article: "left coil, feed side".
    fn terminal(&self, terminal: &str, bike: &Bike) -> String;
}

/// Built-in English names.
#[derive(Debug, Clone, Copy, Default)]
pub struct EnglishWords;

/// IEC 60757 letter codes of colours and their English names.
pub const COLOURS: [(&str, &str); 14] = [
    ("BK", "black"),
    ("BN", "brown"),
    ("RD", "red"),
    ("OG", "orange"),
    ("YE", "yellow"),
    ("GN", "green"),
    ("BU", "blue"),
    ("VT", "violet"),
    ("GY", "grey"),
    ("WH", "white"),
    ("PK", "pink"),
    ("GD", "gold"),
    ("TQ", "turquoise"),
    ("SR", "silver"),
];

impl Words for EnglishWords {
    fn colour(&self, code: &str) -> Option<String> {
        match code.split_once('-') {
            None => COLOURS.iter().find(|(known, _)| *known == code).map(|(_, name)| (*name).to_owned()),
            Some((main, tracer)) => Some(format!("{} and {}", self.colour(main)?, self.colour(tracer)?)),
        }
    }
    fn wire(&self, code: &str) -> Option<String> {
        match code.split_once('-') {
            None => Some(format!("{} wire", self.colour(code)?)),
            Some((main, tracer)) => Some(format!("{} wire with {} tracer", self.colour(main)?, self.colour(tracer)?)),
        }
    }
    fn side(&self, side: Side) -> String {
        match side {
            Side::Left => "left".to_owned(),
            Side::Right => "right".to_owned(),
            Side::Centre => String::new(),
        }
    }
    fn part(&self, part: &str, bike: &Bike) -> String {
        let own = bike.part(part).and_then(|part| part.words.clone());
        own.unwrap_or_else(|| part.replace(['-', '.'], " "))
    }
    fn terminal(&self, terminal: &str, bike: &Bike) -> String {
        let own = bike.terminals.get(terminal).map(|words| words.value.clone());
        own.unwrap_or_else(|| terminal.replace(['-', '.'], " "))
    }
}

/// The value named `bike` in templates and expressions. Numbers are doubles. Missing parts are `0.0`, `false`, empty text or `null`.
/// `procedures/FORMAT.md` lists the names.
pub fn as_value(bike: &Bike, words: &dyn Words) -> Value {
    let says = Says { bike, words };
    let key = bike.switch("key");
    let kill = bike.switch("kill");
    let kill_action = match kill.map(|kill| kill.action) {
        Some(SwitchAction::OpensFeed) => "opens-feed",
        Some(SwitchAction::GroundsPoints) => "grounds-points",
        Some(SwitchAction::Apart) | None => "none",
    };
    let usual = usual(bike).into_iter().map(|of| {
        (of.name.to_owned(), json!({"low": of.low, "high": of.high, "unit": of.unit.name(), "source": of.source}))
    });
    let own = bike.specified.iter().map(|(name, of)| {
        let value = json!({"low": of.low, "high": of.high, "unit": of.unit.name(), "source": of.source});
        (name.replace('-', "_"), value)
    });
    let specified: Map<String, Value> = usual.chain(own).collect();
    let feed = bike.coils.first().map(|coil| bike.feed(&coil.id)).unwrap_or_default();
    let home = bike.way_home();
    let ballast = feed.iter().find(|part| bike.part(&part.id).is_some_and(|part| *part.kind.id == "ballast"));
    let ballast_ohm = ballast.and_then(|part| bike.part(&part.id)?.values.get("ohm").copied());
    let first_coil = bike.coils.first().and_then(|coil| bike.part(&coil.part)?.values.get("primary-ohm").copied());
    let primary_ohm = first_coil.unwrap_or(1.0);
    let fuse_in = |parts: &[super::FeedPart]| {
        parts.iter().find(|part| bike.fuse.as_ref().is_some_and(|fuse| fuse.part == part.id)).cloned()
    };
    let fuse = fuse_in(&feed).or_else(|| fuse_in(&home));
    // The battery's own wire, where it ends, and at which part.
    let live = feed
        .first()
        .map(|part| (part.wire_in.clone().unwrap_or_default(), part.supply.clone(), words.part(&part.id, bike)));
    let is_connector = |part: &&super::FeedPart| bike.connectors.iter().any(|connector| connector.id == part.id);
    let last_cut = feed.last().filter(is_connector);
    let before_key = feed.iter().take_while(|part| bike.switches.iter().all(|switch| switch.part != part.id));
    let first_cut = before_key.into_iter().find(is_connector);
    let mut value = json!({
        "name": bike.name,
        "maker": bike.maker,
        "volt": bike.volt,
        "ground": bike.ground.name(),
        "starter": bike.starter.map_or("none", super::Starter::name),
        "points_cam": bike.points_cam.map_or("none", super::Shaft::name),
        "ballast_ohm": ballast_ohm.unwrap_or(0.0),
        "has_ballast": ballast.is_some(),
        "ballast_share": ballast_ohm.map_or(0.0, |ohm| ohm / (ohm + primary_ohm)),
        "ballast": ballast.map_or("", |part| &part.id),
        "has_fuse": bike.fuse.is_some(),
        "fuse": bike.fuse.as_ref().map_or("", |fuse| &fuse.part),
        "fuse_supply": fuse.as_ref().map_or("", |fuse| &fuse.supply),
        "fuse_load": fuse.as_ref().map_or("", |fuse| &fuse.load),
        "fuse_ampere": bike.fuse.as_ref().map_or(0.0, |fuse| fuse.ampere),
        "fuse_where": bike.fuse.as_ref().map_or("", |fuse| &fuse.location),
        "fuse_in": if fuse_in(&feed).is_some() { "feed" } else if fuse.is_some() { "ground" } else { "none" },
        "live": bike.battery.as_ref().map_or("", |ends| &ends[0]),
        "earth": bike.battery.as_ref().map_or("", |ends| &ends[1]),
        "key": key.map_or("", |key| &key.part),
        "key_where": key.map_or("", |key| &key.location),
        "has_kill": kill.is_some(),
        "kill": kill.map_or("", |kill| &kill.part),
        "kill_action": kill_action,
        "kill_words": kill.map(|kill| words.part(&kill.part, bike)).unwrap_or_default(),
        "kill_where": kill.map_or("", |kill| &kill.location),
        "points": bike.points.iter().map(|set| says.points(set)).collect::<Vec<_>>(),
        "coils": bike.coils.iter().map(|coil| says.coil(coil, true)).collect::<Vec<_>>(),
        "condensers": bike.condensers.iter().map(|condenser| says.condenser(condenser)).collect::<Vec<_>>(),
        "plugs": bike.plugs.iter().map(|plug| says.plug(plug)).collect::<Vec<_>>(),
        "cylinders": bike.plugs.iter().filter_map(|plug| says.cylinder(plug)).collect::<Vec<_>>(),
        "feed": says.way(&feed),
        "feed_back": says.way(&feed.iter().rev().cloned().collect::<Vec<_>>()),
        "way_home": says.way(&home),
        "connectors": bike.connectors.iter().map(|connector| says.connector(connector)).collect::<Vec<_>>(),
        "wires": bike.wires.iter().map(|wire| says.wire(wire)).collect::<Vec<_>>(),
        "parts": bike.parts.iter().map(|part| says.part(part)).collect::<Vec<_>>(),
        "specified": specified,
    });
    let more = json!({
        "live_wire": live.as_ref().map_or("", |(wire, ..)| wire),
        "live_wire_end": live.as_ref().map_or("", |(_, end, _)| end),
        "live_wire_words": live.as_ref().map_or("", |(.., words)| words),
        "earth_wire": bike.battery.as_ref().map(|ends| says.wire_id(&ends[1])).unwrap_or_default(),
        "coil_cut": says.cut(last_cut),
        "first_cut": says.cut(first_cut),
        "battery": bike.battery.as_ref().and_then(|ends| bike.part_at(&ends[0])).map_or("", |part| part.id.as_str()),
        "engine_wire": bike.engine_wire().unwrap_or_default(),
        "ammeter": says.ammeter(&feed, first_cut.map(|part| part.id.as_str())),
        "feed_wires": feed_wires(bike, &feed, first_cut.map(|part| part.id.as_str())),
    });
    if let (Value::Object(value), Value::Object(more)) = (&mut value, more) {
        value.extend(more);
    }
    value
}

/// The wires of the feed, each with the last place before it where the feed can be parted: nothing yet, the fuse, a connector before the key,
/// the key, the kill switch.
fn feed_wires(bike: &Bike, feed: &[super::FeedPart], first_cut: Option<&str>) -> Value {
    let named = |name: &str| bike.switch(name).map(|switch| switch.part.as_str());
    let places = [
        (bike.fuse.as_ref().map(|fuse| fuse.part.as_str()), "fuse"),
        (first_cut, "first-cut"),
        (named("key"), "key"),
        (named("kill"), "kill"),
    ];
    let mut behind = "nothing";
    let mut wires = Vec::new();
    let ammeter = ammeter_in(bike, feed).map(|part| part.id.as_str());
    for part in feed {
        wires.extend(part.wire_in.as_ref().map(|wire| json!({"id": wire, "behind": behind})));
        behind = places.iter().find(|(id, _)| *id == Some(part.id.as_str())).map_or(behind, |(_, name)| name);
        if ammeter == Some(part.id.as_str()) {
            behind = "ammeter";
        }
    }
    let last = feed.last().filter(|part| !bike.connectors.iter().any(|connector| connector.id == part.id));
    wires.extend(last.and_then(|part| part.wire_out.as_ref()).map(|wire| json!({"id": wire, "behind": behind})));
    Value::Array(wires)
}

/// The bike's own ammeter between battery and key.
fn ammeter_in<'a>(bike: &Bike, feed: &'a [super::FeedPart]) -> Option<&'a super::FeedPart> {
    let key = bike.switch("key").map(|key| &key.part);
    let mut before_key = feed.iter().take_while(|part| Some(&part.id) != key);
    before_key.find(|way| bike.part(&way.id).is_some_and(|part| *part.kind.id == *"ammeter"))
}

struct Says<'a> {
    bike: &'a Bike,
    words: &'a dyn Words,
}

impl Says<'_> {
    fn points(&self, set: &PointsSet) -> Value {
        let bike = self.bike;
        let mut value = self.item_of(&set.part, &set.id, set.side, &self.sides_of_sets());
        let coil = bike.coils.iter().find(|coil| coil.id == set.coil);
        let plugs = coil.map(|coil| self.plugs(coil)).unwrap_or_default();
        let connector = bike.connectors.iter().find(|connector| set.connector.as_ref() == Some(&connector.id));
        let condenser = bike.condensers.iter().find(|condenser| condenser.points == set.id);
        value["coil"] = coil.map_or(Value::Null, |coil| self.coil(coil, false));
        value["connector"] = connector.map_or(Value::Null, |connector| self.connector(connector));
        value["condenser"] = condenser.map_or(Value::Null, |condenser| self.condenser(condenser));
        value["plugs"] = Value::Array(plugs);
        value["wire_words"] = json!(self.wire_at(&set.ends[0]));
        let wire = bike.wires.iter().find(|wire| *wire.from == set.ends[0] || *wire.to == set.ends[0]);
        value["wire"] = json!(wire.map(Wire::id).unwrap_or_default());
        let opening = bike.part(&set.part).and_then(|part| bike.values(part, &BTreeMap::new()).ok());
        value["opens_at"] = json!(opening.and_then(|values| values.get("opens-at").copied()).unwrap_or_default());
        (value["live_end"], value["plate_end"]) = (json!(set.ends[0]), json!(set.ends[1]));
        value["plate_wire"] = json!(self.wire_id(&set.ends[1]));
        value["kill_ends"] = json!(bike.kill_contact(set).map(Vec::from).unwrap_or_default());
        let hand = bike.kill_contact(set).map(|[end, _]| self.kill_way(set, &end));
        let (cut, wire) = hand.unwrap_or_default();
        let cut_words = cut.as_ref().map(|id| self.words.part(id, bike)).unwrap_or_default();
        value["kill_cut"] = json!({"part": cut.unwrap_or_default(), "words": cut_words});
        value["kill_wire"] = json!(wire);
        value
    }

    /// The connector that parts the kill switch's `end` from a points wire, if there is one, and the wire that leads there from the points wire.
    fn kill_way(&self, set: &PointsSet, end: &str) -> (Option<String>, String) {
        let bike = self.bike;
        let nearest = bike.wires.iter().find(|wire| *wire.from == end || *wire.to == end);
        let Some(nearest) = nearest else { return Default::default() };
        let far = if *nearest.from == end { &nearest.to } else { &nearest.from };
        let part = far.split('.').next().unwrap_or_default();
        let cut = bike.connectors.iter().find(|cut| cut.id == part && set.connector.as_ref() != Some(&cut.id));
        let Some(cut) = cut else { return (None, nearest.id()) };
        let other = cut.halves.iter().map(|half| format!("{}.{half}", cut.id)).find(|half| half != &**far);
        (Some(cut.id.to_string()), other.map(|half| self.wire_id(&half)).unwrap_or_default())
    }

    /// The bike's own ammeter and the last place before it where the feed can be parted.
    fn ammeter(&self, feed: &[super::FeedPart], first_cut: Option<&str>) -> Value {
        let found = ammeter_in(self.bike, feed);
        let behind = found.map_or("nothing", |found| {
            let before: Vec<&str> =
                feed.iter().take_while(|part| part.id != found.id).map(|part| part.id.as_str()).collect();
            let fuse = self.bike.fuse.as_ref().map(|fuse| fuse.part.as_str());
            match (first_cut, fuse) {
                (Some(cut), _) if before.contains(&cut) => "first-cut",
                (_, Some(fuse)) if before.contains(&fuse) => "fuse",
                _ => "nothing",
            }
        });
        json!({"part": found.map_or("", |found| &found.id), "behind": behind,
               "words": found.map(|found| self.words.part(&found.id, self.bike)).unwrap_or_default()})
    }

    fn coil(&self, coil: &Coil, with_points: bool) -> Value {
        let sides: Vec<Side> = self.bike.coils.iter().map(|coil| coil.side).collect();
        let mut value = self.item_of(&coil.part, &coil.id, coil.side, &sides);
        value["plugs"] = Value::Array(self.plugs(coil));
        value["feed_words"] = json!(self.wire_at(&coil.ends[0]));
        value["points_words"] = json!(self.wire_at(&coil.ends[1]));
        value["primary_ohm"] =
            json!(self.bike.part(&coil.part).and_then(|part| part.values.get("primary-ohm")).unwrap_or(&0.0));
        (value["feed_end"], value["points_end"]) = (json!(coil.ends[0]), json!(coil.ends[1]));
        (value["feed_wire"], value["points_wire"]) =
            (json!(self.wire_id(&coil.ends[0])), json!(self.wire_id(&coil.ends[1])));
        value["towers"] = json!(coil.towers);
        value["leads"] = json!(coil.towers.len() as f64);
        if with_points {
            let sets = self.bike.points.iter().filter(|set| set.coil == coil.id);
            value["points"] = sets.map(|set| self.points(set)).next().unwrap_or(Value::Null);
        }
        value
    }

    fn plugs(&self, coil: &Coil) -> Vec<Value> {
        coil.plugs
            .iter()
            .filter_map(|id| self.bike.plugs.iter().find(|plug| plug.id == *id))
            .map(|plug| self.plug(plug))
            .collect()
    }

    fn plug(&self, plug: &Plug) -> Value {
        let sides: Vec<Side> = self.bike.plugs.iter().map(|plug| plug.side).collect();
        let mut value = self.item_of(&plug.part, &plug.id, plug.side, &sides);
        let first = self.bike.plugs.iter().find(|one| one.tower == plug.tower);
        value["first_of_tower"] = json!(first.is_some_and(|one| one.id == plug.id));
        value["tower"] = json!(plug.tower.as_deref().unwrap_or_default());
        value["lead"] = json!(plug.lead.as_deref().unwrap_or_default());
        value["cap"] = json!(plug.cap.as_deref().unwrap_or_default());
        // Where a distributor stands between, the lead begins there and not at the coil.
        let wire = self.bike.wires.iter().find(|wire| plug.lead.as_ref() == Some(&wire.id()));
        let start = wire.map(|wire| if *wire.from == plug.cap_ends[0] { &*wire.to } else { &*wire.from });
        value["lead_start"] = json!(start.or(plug.tower.as_ref()).map_or("", |start| start.as_str()));
        (value["lead_end"], value["cap_end"]) = (json!(plug.cap_ends[0]), json!(plug.cap_ends[1]));
        (value["top_end"], value["thread_end"]) = (json!(plug.ends[0]), json!(plug.ends[1]));
        let coil = self.bike.coils.iter().find(|coil| coil.plugs.contains(&plug.id));
        value["coil"] = json!(coil.map(|coil| coil.id.as_str()).unwrap_or_default());
        value["coil_part"] = json!(coil.map(|coil| coil.part.as_str()).unwrap_or_default());
        value
    }

    /// What fires a plug: its points set, named after the plug, with only that plug.
    fn cylinder(&self, plug: &Plug) -> Option<Value> {
        let coil = self.bike.coils.iter().find(|coil| coil.plugs.contains(&plug.id))?;
        let set = self.bike.points.iter().find(|set| set.coil == coil.id)?;
        let (mut value, own) = (self.points(set), self.plug(plug));
        for name in ["id", "side", "side_words", "which"] {
            value[name] = own[name].clone();
        }
        let other = coil.towers.iter().find(|tower| coil.towers.len() > 1 && plug.tower.as_ref() != Some(tower));
        value["other_tower"] = json!(other.map_or("", String::as_str));
        value["set"] = json!(set.id);
        value["plugs"] = json!([own]);
        Some(value)
    }

    fn wire(&self, wire: &Wire) -> Value {
        let colour = wire.colour.as_ref().and_then(|colour| self.words.wire(colour)).unwrap_or_default();
        json!({"id": wire.id(), "from": *wire.from, "to": *wire.to, "role": wire.role.name(), "words": colour,
               "from_words": self.words.terminal(&wire.from, self.bike), "to_words": self.words.terminal(&wire.to, self.bike)})
    }

    fn part(&self, part: &Part) -> Value {
        json!({"id": *part.id, "kind": *part.kind.id, "words": self.words.part(&part.id, self.bike), "where": part.location,
               "side": self.bike.side_of(part).name(), "terminals": part.terminals(), "values": part.values})
    }

    fn condenser(&self, condenser: &Condenser) -> Value {
        let sides: Vec<Side> = self.bike.condensers.iter().map(|condenser| condenser.side).collect();
        let mut value = self.item_of(&condenser.part, &condenser.id, condenser.side, &sides);
        value["points"] = json!(condenser.points);
        let set = self.bike.points.iter().find(|set| set.id == condenser.points);
        value["points_part"] = json!(set.map_or("", |set| &set.part));
        value["half"] = json!(condenser.half);
        value["microfarad"] =
            json!(self.bike.part(&condenser.part).and_then(|part| part.values.get("microfarad")).unwrap_or(&0.0));
        value["wire_words"] = json!(self.wire_at(&condenser.ends[0]));
        (value["lead_end"], value["case_end"]) = (json!(condenser.ends[0]), json!(condenser.ends[1]));
        (value["lead_wire"], value["ground_wire"]) =
            (json!(self.wire_id(&condenser.ends[0])), json!(self.wire_id(&condenser.ends[1])));
        value
    }

    fn connector(&self, connector: &Connector) -> Value {
        let set = self.bike.points.iter().find(|set| set.connector.as_ref() == Some(&connector.id));
        let mut value = self.item(&connector.id, set.map_or(Side::Centre, |set| set.side), &[]);
        value["part"] = json!(connector.id);
        value["words"] = json!(connector.words);
        value["where"] = json!(connector.location);
        value["halves"] = json!(connector.halves);
        value["ends"] = json!(connector.halves.clone().map(|half| format!("{}.{half}", connector.id)));
        value
    }

    /// The parts of the feed or of the way home, in their order.
    fn way(&self, parts: &[super::FeedPart]) -> Value {
        let words = |terminal: &str| {
            let part = terminal.split('.').next().unwrap_or(terminal);
            self.words.part(part, self.bike)
        };
        let unplugs = self.bike.unpluggable();
        let items = parts.iter().map(|part| {
            let kind = self.bike.part(&part.id).map_or("", |part| part.kind.id.as_str());
            json!({
                "id": part.id, "kind": kind, "unplugs": unplugs.contains(&part.id), "words": self.words.part(&part.id, self.bike),
                "where": self.bike.part(&part.id).map_or("", |part| &part.location),
                "supply": part.supply, "load": part.load,
                "from": part.from, "from_words": words(&part.from),
                "toward": part.toward, "toward_words": words(&part.toward),
                "wire_in": part.wire_in.as_deref().unwrap_or_default(), "wire_out": part.wire_out.as_deref().unwrap_or_default(),
                "wire_words": self.wire_at(&part.supply),
            })
        });
        Value::Array(items.collect())
    }

    /// An item of a kind whose items have the sides `all`. `which` distinguishes it from the others.
    fn item_of(&self, part: &str, id: &str, side: Side, all: &[Side]) -> Value {
        let mut value = self.item(id, side, all);
        let which = if all.len() > 1 { self.words.part(part, self.bike) } else { String::new() };
        value["which"] = json!(which);
        value["part"] = json!(part);
        value
    }

    fn sides_of_sets(&self) -> Vec<Side> {
        self.bike.points.iter().map(|set| set.side).collect()
    }

    /// An item of a kind whose items have the sides `all`. If its side does not distinguish it, its id in words does.
    fn item(&self, id: &str, side: Side, all: &[Side]) -> Value {
        let side_words = match self.words.side(side) {
            words if all.len() < 2 => words.to_owned(),
            words if !words.is_empty() && all.iter().filter(|other| **other == side).count() == 1 => words.to_owned(),
            _ => id.replace('-', " "),
        };
        json!({"id": id, "side": side.name(), "side_words": side_words})
    }

    /// The wire on a terminal, by its id. Empty if there is none.
    fn wire_id(&self, terminal: &str) -> String {
        let wire = self.bike.wires.iter().find(|wire| *wire.from == terminal || *wire.to == terminal);
        wire.map(Wire::id).unwrap_or_default()
    }

    /// Where the feed can be parted by hand: a part of it, or nothing, with the terminal at which it then ends as seen from the coils.
    fn cut(&self, part: Option<&super::FeedPart>) -> Value {
        let otherwise = || self.bike.coils.first().map(|coil| coil.ends[0].clone()).unwrap_or_default();
        json!({
            "part": part.map_or("", |part| &part.id),
            "words": part.map(|part| self.words.part(&part.id, self.bike)).unwrap_or_default(),
            "supply": part.map_or("", |part| &part.supply),
            "load": part.map_or_else(otherwise, |part| part.load.clone()),
        })
    }

    /// The wire on a terminal, in words. Empty if there is none.
    fn wire_at(&self, terminal: &str) -> String {
        let wire = self.bike.wires.iter().find(|wire| *wire.from == terminal || *wire.to == terminal);
        wire.and_then(|wire| self.words.wire(wire.colour.as_ref()?)).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wires_in_words() {
        assert_eq!(EnglishWords.wire("GN-WH").as_deref(), Some("green wire with white tracer"));
        assert_eq!(EnglishWords.wire("VT").as_deref(), Some("violet wire"));
        assert_eq!(EnglishWords.wire("VT-XX"), None);
    }
}
