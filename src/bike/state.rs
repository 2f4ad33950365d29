//! The state a bike is in during a walk: switches, what is unplugged, points, what is fitted, where the instrument's leads
//! are. Steps ask for it, the walker tracks it, the circuit model reads it.

use crate::units::names;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

names! {
    /// Where a points set stands.
    PointsAt {
        /// Contacts apart.
        Open = "open",
        /// Contacts together.
        Closed = "closed",
        /// Turning with the engine: now open, now closed.
        Turning = "turning",
    }
}

names! {
    /// What the engine does.
    Engine {
        /// At rest.
        Still = "still",
        /// Turned slowly by hand or by the kickstarter's lever.
        Turned = "turned",
        /// Kicked or cranked at starting speed.
        Kicked = "kicked",
        /// Running.
        Running = "running",
    }
}

names! {
    /// What has two leads and is held to the bike.
    InstrumentKind {
        /// Incandescent test lamp.
        Lamp = "lamp",
        /// Voltmeter.
        Voltmeter = "voltmeter",
        /// Ohmmeter.
        Ohmmeter = "ohmmeter",
        /// Ammeter.
        Ammeter = "ammeter",
        /// Feeler gauge: its place is the part, both leads the same.
        Feeler = "feeler",
        /// Fixed-gap spark tester, or a plug clamped to ground: first lead the plug lead, second ground.
        SparkTester = "spark-tester",
    }
}

/// An instrument and the terminals its two leads are on.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Instrument {
    /// Which.
    pub kind: InstrumentKind,
    /// First lead (the clip of a lamp, the red lead of a meter).
    pub first: String,
    /// Second lead (the probe of a lamp, the black lead of a meter).
    pub second: String,
}

/// The state of the bike as far as it is known.
#[derive(Debug, Clone, Default, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct BikeState {
    /// Switches and taps by name (`key`, `kill`, `fuel`) and their position.
    pub switches: BTreeMap<String, String>,
    /// Ids of connectors, leads and parts that are unplugged or taken out.
    pub unplugged: BTreeSet<String>,
    /// Points sets by id.
    pub points: BTreeMap<String, PointsAt>,
    /// What the engine does.
    pub engine: Option<Engine>,
    /// Where the crank stands, degree, from the angle that the profile's `opens-at` counts from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crank: Option<u16>,
    /// What is fitted beside the bike's own parts (a jumper, a test condenser), by name, with the two terminals it joins.
    pub fitted: BTreeMap<String, [String; 2]>,
    /// The instrument in use.
    pub instrument: Option<Instrument>,
}

/// What a step needs the bike's state to be; what it does not mention may be anything.
///
/// In a procedure the strings are templates; rendered for the bike and the loop at hand they are plain.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct StateNeed {
    /// Switches by name and position. `connects` and `disconnects` stand for whichever position of the bike's switch does.
    pub switches: BTreeMap<String, String>,
    /// To be unplugged or taken out.
    pub unplugged: BTreeSet<String>,
    /// To be plugged in or put back.
    pub plugged: BTreeSet<String>,
    /// Points sets by id.
    pub points: BTreeMap<String, PointsAt>,
    /// What the engine does.
    pub engine: Option<Engine>,
    /// Where the crank stands, degree. The prompt says how to find it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crank: Option<u16>,
    /// To be fitted.
    pub fitted: BTreeMap<String, [String; 2]>,
    /// To be taken off again.
    pub removed: BTreeSet<String>,
    /// The instrument and its leads. The walker takes it away by itself when a step names another, or none and `lay-down: true`.
    pub instrument: Option<Instrument>,
    /// The instrument is laid down.
    pub lay_down: bool,
}

/// One difference between the state as it is and as it is needed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Change {
    /// A switch to a position.
    Switch {
        /// `key`, `kill`, `fuel`.
        name: String,
        /// Position.
        to: String,
    },
    /// Unplug or take out.
    Unplug(String),
    /// Plug in or put back.
    PlugIn(String),
    /// Points to a place.
    Points {
        /// Set.
        set: String,
        /// Place.
        to: PointsAt,
    },
    /// The engine.
    Engine(Engine),
    /// Fit something between two terminals.
    Fit {
        /// What.
        name: String,
        /// Between.
        between: [String; 2],
    },
    /// Take something fitted off.
    Remove(String),
    /// An instrument's leads.
    Leads(Instrument),
    /// Lay the instrument down.
    LayDown,
}

impl BikeState {
    /// What has to be changed so that `need` holds, in the order it is safe to do it: feed off first, feed on last.
    pub fn changes(&self, need: &StateNeed) -> Vec<Change> {
        let mut first = Vec::new();
        let mut last = Vec::new();
        for (name, to) in &need.switches {
            if self.switches.get(name) != Some(to) {
                let change = Change::Switch { name: name.clone(), to: to.clone() };
                if name == "key" && to != "off" { last.push(change) } else { first.push(change) }
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

    /// The state once `need` holds.
    pub fn after(&self, need: &StateNeed) -> BikeState {
        let mut next = self.clone();
        next.switches.extend(need.switches.clone());
        next.unplugged.extend(need.unplugged.iter().cloned());
        next.unplugged.retain(|id| !need.plugged.contains(id));
        next.points.extend(need.points.clone());
        next.fitted.extend(need.fitted.clone());
        next.fitted.retain(|name, _| !need.removed.contains(name));
        next.engine = need.engine.or(next.engine);
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

    #[test]
    fn feed_goes_off_first_and_on_last() {
        let mut need = StateNeed::default();
        need.switches.insert("key".into(), "on".into());
        need.switches.insert("fuel".into(), "off".into());
        need.unplugged.insert("left-points".into());
        let start = BikeState::default();
        let changes = start.changes(&need);
        assert_eq!(changes.last(), Some(&Change::Switch { name: "key".into(), to: "on".into() }));
        let then = start.after(&need);
        assert!(then.changes(&need).is_empty());
        let off = StateNeed {
            switches: [("key".to_owned(), "off".to_owned())].into(),
            plugged: ["left-points".to_owned()].into(),
            ..Default::default()
        };
        assert_eq!(then.changes(&off)[0], Change::Switch { name: "key".into(), to: "off".into() });
    }
}
