//! A bike's parts by name: which can be at fault, and the purpose of each wire.
//!
//! Parts are named as they are unplugged (`condenser-left`, `lead-left`, `plug-left`, `fuse`, connectors by their ids). Others are
//! `battery`, `key`, `kill`, `ballast`, `coil-ID`, `points-ID`, `cap-PLUG`, `cam`, `advancer`, and wires as `FROM to TO`.

use super::{Bike, Wire};
use crate::units::names;
use std::collections::BTreeSet;

names! {
    /// The purpose of a wire.
    WireRole {
        /// From the battery to the coils.
        Feed = "feed",
        /// From a coil to its points.
        Points = "points",
        /// To a condenser's lead.
        Condenser = "condenser",
        /// From a condenser's case to ground.
        CondenserGround = "condenser-ground",
        /// From a points plate to ground.
        Plate = "plate",
        /// Between engine, frame and the battery's ground terminal.
        Ground = "ground",
        /// To a switch that grounds the points wires.
        Kill = "kill",
        /// From a coil to a plug: a high-tension lead.
        Lead = "lead",
        /// From a plug's thread to the engine: its seat in the head.
        Seat = "seat",
    }
}

/// Terminals of the ground path.
const GROUNDS: [&str; 3] = ["engine", "frame", "battery.ground"];

impl Wire {
    /// Its name as a part and as a branch of the circuit: `key.load to kill.supply`.
    pub fn id(&self) -> String {
        format!("{} to {}", *self.from, *self.to)
    }

    /// Its purpose, derived from the terminals that it joins.
    pub fn role(&self) -> WireRole {
        let ends = [self.from.as_str(), self.to.as_str()];
        let any = |test: &dyn Fn(&str, &str) -> bool| {
            ends.iter().any(|end| end.split_once('.').is_some_and(|(part, terminal)| test(part, terminal)))
        };
        let is = |kind: &'static str, name: &'static str| {
            move |part: &str, terminal: &str| part.starts_with(kind) && terminal == name
        };
        let ground = |end: &&str| GROUNDS.contains(end) || *end == "kill.ground";
        if any(&|part, terminal| part.starts_with("coil-") && terminal.ends_with("lead")) {
            WireRole::Lead
        } else if any(&is("plug-", "thread")) {
            WireRole::Seat
        } else if any(&is("condenser-", "lead")) {
            WireRole::Condenser
        } else if any(&is("condenser-", "case")) {
            WireRole::CondenserGround
        } else if any(&is("points-", "plate")) {
            WireRole::Plate
        } else if any(&|part, terminal| part == "kill" && terminal != "supply" && terminal != "load") {
            WireRole::Kill
        } else if ends.iter().all(ground) {
            WireRole::Ground
        } else if any(&|part, terminal| {
            is("coil-", "points")(part, terminal)
                || is("points-", "wire")(part, terminal)
                || terminal == "coil-side"
                || terminal == "points-side"
        }) {
            WireRole::Points
        } else {
            WireRole::Feed
        }
    }
}

impl Bike {
    /// The high-tension lead that ends in a plug's cap.
    pub fn lead_of(&self, plug: &str) -> Option<&Wire> {
        let top = format!("plug-{plug}.top");
        self.wires.iter().find(|wire| *wire.to == top && wire.role() == WireRole::Lead)
    }

    /// All parts that can be at fault, by name.
    pub fn parts(&self) -> BTreeSet<String> {
        let mut names: BTreeSet<String> = ["battery", "key", "cam", "advancer"].map(String::from).into();
        let there =
            [("fuse", self.fuse.is_some()), ("kill", self.kill.is_some()), ("ballast", self.ballast_ohm.is_some())];
        names.extend(there.into_iter().filter(|(_, there)| *there).map(|(name, _)| name.to_owned()));
        names.extend(self.connectors.iter().map(|connector| connector.id.value.clone()));
        names.extend(self.points.iter().map(|set| format!("points-{}", *set.id)));
        names.extend(self.coils.iter().map(|coil| format!("coil-{}", *coil.id)));
        names.extend(self.condensers.iter().map(|condenser| format!("condenser-{}", *condenser.id)));
        names.extend(self.plugs.iter().map(|plug| format!("plug-{}", *plug.id)));
        for plug in self.plugs.iter().filter(|plug| self.lead_of(&plug.id).is_some()) {
            names.extend(["cap", "lead"].map(|kind| format!("{kind}-{}", *plug.id)));
        }
        let wires = self.wires.iter().filter(|wire| !matches!(wire.role(), WireRole::Lead | WireRole::Seat));
        names.extend(wires.map(Wire::id));
        names
    }
}
