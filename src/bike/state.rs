//! The bike's state during a walk: switches, unplugged parts, points, fitted items, and the instrument's leads. Steps request it, the
//! walker tracks it, and the circuit model reads it.

use super::Bike;
use crate::units::names;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

names! {
    /// The position of a points set.
    PointsAt {
        /// Contacts apart.
        Open = "open",
        /// Contacts together.
        Closed = "closed",
        /// Opening and closing as the engine turns.
        Turning = "turning",
    }
}

names! {
    /// What the engine is doing.
    Engine {
        /// At rest.
        Still = "still",
        /// Turned slowly, by hand or with the kickstarter's lever.
        Turned = "turned",
        /// Kicked or cranked at starting speed.
        Kicked = "kicked",
        /// Running.
        Running = "running",
    }
}

names! {
    /// An instrument with two leads.
    InstrumentKind {
        /// Incandescent test lamp.
        Lamp = "lamp",
        /// Voltmeter.
        Voltmeter = "voltmeter",
        /// Ohmmeter.
        Ohmmeter = "ohmmeter",
        /// Ammeter.
        Ammeter = "ammeter",
        /// Feeler gauge. Both leads are on the same terminal, the part to measure.
        Feeler = "feeler",
        /// Fixed-gap spark tester, or a plug clamped to ground. The first lead is on the plug lead, the second on ground.
        SparkTester = "spark-tester",
    }
}

impl InstrumentKind {
    /// Kinds that are missing too if this one is. A multimeter is voltmeter, ohmmeter and ammeter; an ohmmeter can be missing by itself.
    pub fn comes_with(self) -> &'static [Self] {
        match self {
            Self::Voltmeter => &[Self::Ohmmeter, Self::Ammeter],
            _ => &[],
        }
    }
}

/// An instrument and the terminals its leads are connected to.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Instrument {
    /// The kind of instrument.
    pub kind: InstrumentKind,
    /// First lead (the clip of a lamp, the red lead of a meter).
    pub first: String,
    /// Second lead (the probe of a lamp, the black lead of a meter).
    pub second: String,
}

/// The state of the bike, as far as it is known.
#[derive(Debug, Clone, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct BikeState {
    /// Positions of switches and taps, by name (`key`, `kill`, `fuel`).
    pub switches: BTreeMap<String, String>,
    /// Ids of connectors, leads and parts that are unplugged or removed.
    pub unplugged: BTreeSet<String>,
    /// Positions of points sets, by id.
    pub points: BTreeMap<String, PointsAt>,
    /// What the engine is doing.
    pub engine: Option<Engine>,
    /// The crank angle, degree, counted as in the profile's `opens-at`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crank: Option<u16>,
    /// Items fitted in addition to the bike's own parts (a jumper, a test condenser), by name, with the two terminals each joins.
    pub fitted: BTreeMap<String, [String; 2]>,
    /// The instrument in use.
    pub instrument: Option<Instrument>,
}

/// The state that a step needs. Anything it does not mention may be in any state.
///
/// In a procedure the strings are templates. Rendered for the current bike and loop item they are plain.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct StateNeed {
    /// Positions of switches, by name. `connects` and `disconnects` stand for whichever position of the bike's switch does that.
    pub switches: BTreeMap<String, String>,
    /// To unplug or remove.
    pub unplugged: BTreeSet<String>,
    /// To plug in or put back.
    pub plugged: BTreeSet<String>,
    /// Positions of points sets, by id.
    pub points: BTreeMap<String, PointsAt>,
    /// What the engine does.
    pub engine: Option<Engine>,
    /// The crank angle, degree. The prompt says how to find it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crank: Option<u16>,
    /// To fit.
    pub fitted: BTreeMap<String, [String; 2]>,
    /// To remove again.
    pub removed: BTreeSet<String>,
    /// The instrument and its leads. The walker removes it when a step names another instrument, or none and `lay-down: true`.
    pub instrument: Option<Instrument>,
    /// Lay the instrument down.
    pub lay_down: bool,
}

/// One difference between the actual and the needed state.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Change {
    /// Move a switch.
    Switch {
        /// `key`, `kill`, `fuel`.
        name: String,
        /// Position.
        to: String,
    },
    /// Unplug or remove.
    Unplug(String),
    /// Plug in or put back.
    PlugIn(String),
    /// Set the points.
    Points {
        /// The set.
        set: String,
        /// Its new position.
        to: PointsAt,
    },
    /// The engine.
    Engine(Engine),
    /// Connect something between two terminals.
    Fit {
        /// The item.
        name: String,
        /// The terminals.
        between: [String; 2],
    },
    /// Remove a fitted item.
    Remove(String),
    /// Connect an instrument's leads.
    Leads(Instrument),
    /// Lay the instrument down.
    LayDown,
}

impl BikeState {
    /// Names of what the user needs at hand: the instrument, and what is fitted for a test.
    pub fn at_hand(&self) -> impl Iterator<Item = &str> {
        self.instrument.iter().map(|one| one.kind.name()).chain(self.fitted.keys().map(String::as_str))
    }

    /// The changes that make `need` hold, in a safe order: feed off first, feed on last.
    pub fn changes(&self, need: &StateNeed, bike: &Bike) -> Vec<Change> {
        // The key on comes last; a position that the bike does not have counts as on.
        let feeds = |name: &str, to: &str| {
            let positions = bike.switch("key").filter(|key| key.name == name).map(|key| &key.positions);
            positions.is_some_and(|all| {
                all.iter().find(|position| *position.name == *to).is_none_or(|position| position.works)
            })
        };
        let mut first = Vec::new();
        let mut last = Vec::new();
        for (name, to) in &need.switches {
            if self.switches.get(name) != Some(to) {
                let change = Change::Switch { name: name.clone(), to: to.clone() };
                if feeds(name, to) { last.push(change) } else { first.push(change) }
            }
        }
        first.extend(need.removed.iter().filter(|n| self.fitted.contains_key(*n)).cloned().map(Change::Remove));
        first.extend(need.plugged.intersection(&self.unplugged).cloned().map(Change::PlugIn));
        first.extend(need.unplugged.difference(&self.unplugged).cloned().map(Change::Unplug));
        for (name, between) in &need.fitted {
            if self.fitted.get(name) != Some(between) {
                first.push(Change::Fit { name: name.clone(), between: between.clone() });
            }
        }
        for (set, to) in &need.points {
            if self.points.get(set) != Some(to) {
                first.push(Change::Points { set: set.clone(), to: *to });
            }
        }
        match (&need.instrument, need.lay_down) {
            (Some(tool), _) if self.instrument.as_ref() != Some(tool) => first.push(Change::Leads(tool.clone())),
            (None, true) if self.instrument.is_some() => first.push(Change::LayDown),
            _ => {}
        }
        first.append(&mut last);
        if let Some(engine) = need.engine
            && self.engine != Some(engine)
        {
            first.push(Change::Engine(engine));
        }
        first
    }

    /// The state after `need` was met.
    pub fn after(&self, need: &StateNeed) -> BikeState {
        let mut next = self.clone();
        next.switches.extend(need.switches.clone());
        next.unplugged.extend(need.unplugged.iter().cloned());
        next.unplugged.retain(|id| !need.plugged.contains(id));
        next.points.extend(need.points.clone());
        next.fitted.extend(need.fitted.clone());
        next.fitted.retain(|name, _| !need.removed.contains(name));
        // A kick is over when its step is.
        let left = next.engine.map(|engine| if engine == Engine::Kicked { Engine::Still } else { engine });
        next.engine = need.engine.or(left);
        let turns = matches!(need.engine, Some(Engine::Turned | Engine::Kicked | Engine::Running));
        next.crank = need.crank.or(next.crank.filter(|_| !turns && need.points.is_empty()));
        if need.lay_down {
            next.instrument = None;
        }
        if need.instrument.is_some() {
            next.instrument.clone_from(&need.instrument);
        }
        if matches!(need.engine, Some(Engine::Turned | Engine::Kicked | Engine::Running)) && need.points.is_empty() {
            next.points.clear();
        }
        next
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bike::load;
    use std::path::Path;

    #[test]
    fn feed_goes_off_first_and_on_last() {
        let mut need = StateNeed::default();
        need.switches.insert("key".into(), "on".into());
        need.switches.insert("fuel".into(), "off".into());
        need.unplugged.insert("left-points".into());
        let bike =
            load(&Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures/bikes/borage-twin.yaml")).expect("a bike");
        let start = BikeState::default();
        let changes = start.changes(&need, &bike);
        assert_eq!(changes.last(), Some(&Change::Switch { name: "key".into(), to: "on".into() }));
        let then = start.after(&need);
        assert!(then.changes(&need, &bike).is_empty());
        let off = StateNeed {
            switches: [("key".to_owned(), "off".to_owned())].into(),
            plugged: ["left-points".to_owned()].into(),
            ..Default::default()
        };
        assert_eq!(then.changes(&off, &bike)[0], Change::Switch { name: "key".into(), to: "off".into() });
    }
}
