//! Names of the terminals that can be probed on a bike, of the parts that can be unplugged, and of all that can be at fault.

use super::{Bike, WireRole};
use std::collections::BTreeSet;

impl Bike {
    /// The terminals for a lead, a wire or a jumper: `battery.live`, `coil-left.feed`, `left-points.coil-side`, `engine`.
    pub fn terminals(&self) -> BTreeSet<String> {
        self.parts.iter().flat_map(super::Part::terminals).collect()
    }

    /// The parts that can be unplugged or removed, by id.
    pub fn unpluggable(&self) -> BTreeSet<String> {
        self.parts.iter().filter(|part| part.unplugs()).map(|part| part.id.value.clone()).collect()
    }

    /// All that can be at fault, by name: parts, wires as `FROM to TO`, plug leads as `lead-PLUG`, and the points cam's drive.
    pub fn fault_places(&self) -> BTreeSet<String> {
        let parts = self.parts.iter().filter(|part| !part.kind.model.is_empty()).map(|part| part.id.value.clone());
        let leads = self.plugs.iter().filter(|plug| plug.lead.is_some()).map(|plug| format!("lead-{}", plug.id));
        let wires =
            self.wires.iter().filter(|wire| !matches!(wire.role, WireRole::Lead | WireRole::Seat | WireRole::CapSeat));
        let cam = ["cam", "advancer"].map(String::from).into_iter().filter(|_| !self.points.is_empty());
        parts.chain(leads).chain(cam).chain(wires.map(super::Wire::id)).collect()
    }

    /// Whether a part is named as one of its kind, so that its words are told apart by side: the ids and sides of all of the kind.
    pub fn alike(&self, part: &super::Part) -> Vec<(&str, super::Side)> {
        let family = |kind: &str| kind.split("-two-").next().unwrap_or(kind).to_owned();
        let own = family(&part.kind.id);
        let alike = self.parts.iter().filter(|other| family(&other.kind.id) == own);
        alike.map(|other| (other.short_id(), self.side_of(other))).collect()
    }

    /// A part's side. A condenser is on the side of its points set, a cap on that of its plug.
    pub(super) fn side_of(&self, part: &super::Part) -> super::Side {
        let condenser =
            self.condensers.iter().find(|condenser| condenser.part == *part.id).map(|condenser| condenser.side);
        let plug = self.plugs.iter().find(|plug| plug.cap.as_ref() == Some(&part.id.value)).map(|plug| plug.side);
        condenser.or(plug).unwrap_or(part.side)
    }
}
