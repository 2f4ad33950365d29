//! A bike as a value for templates and expressions: `bike.points[0].wire_words`.

use super::{Bike, Coil, Condenser, Connector, KillAction, Plug, PointsSet, Polarity, Side, Starter, Wire};
use serde_json::{Map, Value, json};

/// Spoken names of a bike's parts. The vocabulary provides them; [`EnglishWords`] is the fallback.
pub trait Words {
    /// A colour by its IEC 60757 code: "green", "green and white". `None` if the code is unknown.
    fn colour(&self, code: &str) -> Option<String>;
    /// A wire by its colour code: "green wire", "green wire with white tracer".
    fn wire(&self, code: &str) -> Option<String>;
    /// "left", "right", or empty for the middle.
    fn side(&self, side: Side) -> String;
    /// A part, connector or terminal of `bike` by its id, without article: "key switch", "main connector".
    fn part(&self, part: &str, bike: &Bike) -> String;
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
        let connector = bike.connectors.iter().find(|connector| *connector.id == part);
        connector.map_or_else(|| part.replace(['-', '.'], " "), |connector| connector.words.clone())
    }
}

/// The value named `bike` in templates and expressions. Numbers are doubles. Missing parts are `0.0`, `false`, empty text or `null`.
/// `procedures/FORMAT.md` lists the names.
pub fn as_value(bike: &Bike, words: &dyn Words) -> Value {
    let says = Says { bike, words };
    let kill_action = match bike.kill.as_ref().map(|kill| kill.action) {
        Some(KillAction::OpensFeed) => "opens-feed",
        Some(KillAction::GroundsPoints) => "grounds-points",
        None => "none",
    };
    let specified: Map<String, Value> = bike
        .specified
        .iter()
        .map(|(name, of)| {
            let value = json!({"low": of.low, "high": of.high, "unit": of.unit.name(), "source": of.source});
            (name.replace('-', "_"), value)
        })
        .collect();
    json!({
        "name": bike.name,
        "maker": bike.maker,
        "volt": bike.volt,
        "ground": if bike.ground == Polarity::Positive { "positive" } else { "negative" },
        "starter": match bike.starter { Starter::Kick => "kick", Starter::Electric => "electric", Starter::Both => "both" },
        "ballast_ohm": bike.ballast_ohm.unwrap_or(0.0),
        "has_ballast": bike.ballast_ohm.is_some(),
        "has_fuse": bike.fuse.is_some(),
        "fuse_ampere": bike.fuse.as_ref().map_or(0.0, |fuse| fuse.ampere),
        "fuse_where": bike.fuse.as_ref().map_or("", |fuse| &fuse.location),
        "key_where": bike.key.location,
        "has_kill": bike.kill.is_some(),
        "kill_action": kill_action,
        "kill_where": bike.kill.as_ref().map_or("", |kill| &kill.location),
        "points": bike.points.iter().map(|set| says.points(set)).collect::<Vec<_>>(),
        "coils": bike.coils.iter().map(|coil| says.coil(coil, true)).collect::<Vec<_>>(),
        "condensers": bike.condensers.iter().map(|condenser| says.condenser(condenser)).collect::<Vec<_>>(),
        "plugs": bike.plugs.iter().map(|plug| says.plug(plug)).collect::<Vec<_>>(),
        "cylinders": bike.plugs.iter().filter_map(|plug| says.cylinder(plug)).collect::<Vec<_>>(),
        "feed": says.feed(false),
        "feed_back": says.feed(true),
        "connectors": bike.connectors.iter().map(|connector| says.connector(connector)).collect::<Vec<_>>(),
        "wires": bike.wires.iter().map(|wire| says.wire(wire)).collect::<Vec<_>>(),
        "specified": specified,
    })
}

struct Says<'a> {
    bike: &'a Bike,
    words: &'a dyn Words,
}

impl Says<'_> {
    fn points(&self, set: &PointsSet) -> Value {
        let bike = self.bike;
        let mut value = self.item_of("points", &set.id, set.side, &self.sides_of_sets());
        let coil = bike.coils.iter().find(|coil| *coil.id == *set.coil);
        let plugs = coil.map(|coil| self.plugs(coil)).unwrap_or_default();
        let connector = bike.connectors.iter().find(|connector| *connector.id == *set.connector);
        let condenser = bike.condensers.iter().find(|condenser| *condenser.points == *set.id);
        value["coil"] = coil.map_or(Value::Null, |coil| self.coil(coil, false));
        value["connector"] = connector.map_or(Value::Null, |connector| self.connector(connector));
        value["condenser"] = condenser.map_or(Value::Null, |condenser| self.condenser(condenser));
        value["plugs"] = Value::Array(plugs);
        let terminal = format!("points-{}.wire", *set.id);
        value["wire_words"] = json!(self.wire_at(&terminal));
        let wire = bike.wires.iter().find(|wire| *wire.from == terminal || *wire.to == terminal);
        value["wire"] = json!(wire.map(Wire::id).unwrap_or_default());
        let opening = bike.electric.openings.get(set.id.as_str());
        value["opens_at"] = json!(opening.and_then(|opening| opening.opens_at).unwrap_or_default());
        value
    }

    fn coil(&self, coil: &Coil, with_points: bool) -> Value {
        let sides: Vec<Side> = self.bike.coils.iter().map(|coil| coil.side).collect();
        let mut value = self.item_of("coil", &coil.id, coil.side, &sides);
        value["plugs"] = Value::Array(self.plugs(coil));
        value["feed_words"] = json!(self.wire_at(&format!("coil-{}.feed", *coil.id)));
        value["points_words"] = json!(self.wire_at(&format!("coil-{}.points", *coil.id)));
        value["primary_ohm"] = json!(coil.primary_ohm);
        if with_points {
            let sets = self.bike.points.iter().filter(|set| *set.coil == *coil.id);
            value["points"] = sets.map(|set| self.points(set)).next().unwrap_or(Value::Null);
        }
        value
    }

    fn plugs(&self, coil: &Coil) -> Vec<Value> {
        let of_coil = |plug: &&Plug| coil.plugs.iter().any(|id| **id == *plug.id);
        self.bike.plugs.iter().filter(of_coil).map(|plug| self.plug(plug)).collect()
    }

    fn plug(&self, plug: &Plug) -> Value {
        let sides: Vec<Side> = self.bike.plugs.iter().map(|plug| plug.side).collect();
        let mut value = self.item_of("plug", &plug.id, plug.side, &sides);
        let lead = self.bike.lead_of(&plug.id);
        value["tower"] = json!(lead.map(|wire| wire.from.value.as_str()).unwrap_or_default());
        value["lead"] = json!(lead.map(Wire::id).unwrap_or_default());
        let coil = self.bike.coils.iter().find(|coil| coil.plugs.iter().any(|id| **id == *plug.id));
        value["coil"] = json!(coil.map(|coil| coil.id.as_str()).unwrap_or_default());
        value
    }

    /// What fires a plug: its points set, named after the plug, with only that plug.
    fn cylinder(&self, plug: &Plug) -> Option<Value> {
        let coil = self.bike.coils.iter().find(|coil| coil.plugs.iter().any(|id| **id == *plug.id))?;
        let set = self.bike.points.iter().find(|set| *set.coil == *coil.id)?;
        let (mut value, own) = (self.points(set), self.plug(plug));
        for name in ["id", "side", "side_words", "which"] {
            value[name] = own[name].clone();
        }
        let towers = ["lead", "second-lead"].map(|end| format!("coil-{}.{end}", *coil.id));
        let other = towers.iter().find(|tower| coil.plugs.len() > 1 && own["tower"] != json!(tower));
        value["other_tower"] = json!(other.map_or("", String::as_str));
        value["set"] = json!(*set.id);
        value["plugs"] = json!([own]);
        Some(value)
    }

    fn wire(&self, wire: &Wire) -> Value {
        let colour = self.words.wire(&wire.colour).unwrap_or_default();
        json!({"id": wire.id(), "from": *wire.from, "to": *wire.to, "role": wire.role().name(), "words": colour})
    }

    fn condenser(&self, condenser: &Condenser) -> Value {
        let side = self.side_of_set(&condenser.points);
        let mut value = self.item_of("condenser", &condenser.id, side, &self.sides_of_condensers());
        value["points"] = json!(*condenser.points);
        value["half"] = json!(*condenser.half);
        value["microfarad"] = json!(condenser.microfarad);
        value["wire_words"] = json!(self.wire_at(&format!("condenser-{}.lead", *condenser.id)));
        value
    }

    fn connector(&self, connector: &Connector) -> Value {
        let set = self.bike.points.iter().find(|set| *set.connector == *connector.id);
        let mut value = self.item(&connector.id, set.map_or(Side::Centre, |set| set.side), &[]);
        value["words"] = json!(connector.words);
        value["where"] = json!(connector.location);
        value["halves"] = json!(connector.halves);
        value
    }

    /// The parts in the feed from the battery to the first coil, in that order or from the coil back.
    fn feed(&self, back: bool) -> Value {
        let words = |terminal: &str| {
            let part = terminal.split('.').next().unwrap_or(terminal);
            self.words.part(part, self.bike)
        };
        let parts = self.bike.coils.first().map(|coil| self.bike.feed(&coil.id)).unwrap_or_default();
        let items = parts.iter().map(|part| {
            json!({
                "id": part.id, "words": self.words.part(&part.id, self.bike),
                "supply": part.supply, "load": part.load,
                "from": part.from, "from_words": words(&part.from),
                "toward": part.toward, "toward_words": words(&part.toward),
                "wire_words": self.wire_at(&part.supply),
            })
        });
        Value::Array(if back { items.rev().collect() } else { items.collect() })
    }

    /// An item of a kind whose items have the sides `all`. `which` distinguishes it from the others.
    fn item_of(&self, kind: &str, id: &str, side: Side, all: &[Side]) -> Value {
        let mut value = self.item(id, side, all);
        let which = if all.len() > 1 { self.words.part(&format!("{kind}-{id}"), self.bike) } else { String::new() };
        value["which"] = json!(which);
        value
    }

    fn sides_of_sets(&self) -> Vec<Side> {
        self.bike.points.iter().map(|set| set.side).collect()
    }

    fn sides_of_condensers(&self) -> Vec<Side> {
        self.bike.condensers.iter().map(|condenser| self.side_of_set(&condenser.points)).collect()
    }

    fn side_of_set(&self, id: &str) -> Side {
        self.bike.points.iter().find(|set| *set.id == id).map_or(Side::Centre, |set| set.side)
    }

    /// An item of a kind whose items have the sides `all`. If its side does not distinguish it, its id in words does.
    fn item(&self, id: &str, side: Side, all: &[Side]) -> Value {
        let name = match side {
            Side::Left => "left",
            Side::Right => "right",
            Side::Centre => "centre",
        };
        let side_words = match self.words.side(side) {
            words if all.len() < 2 => words.to_owned(),
            words if !words.is_empty() && all.iter().filter(|other| **other == side).count() == 1 => words.to_owned(),
            _ => id.replace('-', " "),
        };
        json!({"id": id, "side": name, "side_words": side_words})
    }

    /// The wire on a terminal, in words. Empty if there is none.
    fn wire_at(&self, terminal: &str) -> String {
        let wire = self.bike.wires.iter().find(|wire| *wire.from == terminal || *wire.to == terminal);
        wire.and_then(|wire| self.words.wire(&wire.colour)).unwrap_or_default()
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
