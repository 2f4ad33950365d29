//! Names of the terminals that can be probed on a bike, and of the parts that can be unplugged.

use super::{Bike, KillAction, Switch};
use std::collections::BTreeSet;

impl Bike {
    /// The terminals for a lead, a wire or a jumper: `battery.live`, `coil-left.feed`, `left-points.coil-side`, `engine`.
    pub fn terminals(&self) -> BTreeSet<String> {
        let mut names: BTreeSet<String> =
            ["battery.live", "battery.ground", "key.supply", "key.load", "engine", "frame"].map(String::from).into();
        let mut part = |part: &str, ends: [&str; 2]| names.extend(ends.map(|end| format!("{part}.{end}")));
        let opens = self.kill.as_ref().is_some_and(|kill| kill.action == KillAction::OpensFeed);
        for (name, there) in [("fuse", self.fuse.is_some()), ("kill", opens), ("ballast", self.ballast_ohm.is_some())] {
            if there {
                part(name, ["supply", "load"]);
            }
        }
        for coil in &self.coils {
            part(&format!("coil-{}", *coil.id), ["feed", "points"]);
        }
        for points in &self.points {
            part(&format!("points-{}", *points.id), ["wire", "plate"]);
        }
        for condenser in &self.condensers {
            part(&format!("condenser-{}", *condenser.id), ["lead", "case"]);
        }
        for plug in &self.plugs {
            part(&format!("plug-{}", *plug.id), ["top", "thread"]);
        }
        let caps = self.plugs.iter().filter(|plug| self.lead_of(&plug.id).is_some());
        let caps: Vec<String> = caps.map(|plug| format!("cap-{}.lead", *plug.id)).collect();
        for connector in &self.connectors {
            part(&connector.id, [&connector.halves[0], &connector.halves[1]]);
        }
        if self.kill.is_some() && !opens {
            names.insert("kill.ground".to_owned());
            names.extend(self.points.iter().map(|set| format!("kill.{}", *set.id)));
        }
        names.extend(caps);
        names.extend(self.coils.iter().map(|coil| format!("coil-{}.lead", *coil.id)));
        let two = self.coils.iter().filter(|coil| coil.plugs.len() > 1);
        names.extend(two.map(|coil| format!("coil-{}.second-lead", *coil.id)));
        names
    }

    /// The parts that can be unplugged or removed: connectors, `condenser-ID`, `coil-ID` (its thin wires), `lead-PLUG`, `plug-ID`, `fuse`.
    pub fn unpluggable(&self) -> BTreeSet<String> {
        let connectors = self.connectors.iter().map(|c| c.id.value.clone());
        let condensers = self.condensers.iter().map(|c| format!("condenser-{}", *c.id));
        let coils = self.coils.iter().map(|c| format!("coil-{}", *c.id));
        let plugs = self.plugs.iter().flat_map(|p| [format!("lead-{}", *p.id), format!("plug-{}", *p.id)]);
        let fuse = self.fuse.iter().map(|_| "fuse".to_owned());
        connectors.chain(condensers).chain(coils).chain(plugs).chain(fuse).collect()
    }

    /// The switch with this name (`key`, `kill`), if the bike has it.
    pub fn switch(&self, name: &str) -> Option<&Switch> {
        match name {
            "key" => Some(&self.key),
            "kill" => self.kill.as_ref(),
            _ => None,
        }
    }
}

impl Switch {
    /// The first position that connects (`true`) or does not connect.
    pub fn position(&self, connects: bool) -> Option<&str> {
        self.positions.iter().find(|p| p.connects == connects).map(|p| p.name.as_str())
    }
}
