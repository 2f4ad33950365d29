//! The bike's own bulbs, seen with the eye: how each looks, and whether one glows that should be dark.

use super::wiring::BranchKind;
use super::{CircuitError, Glow, Model};
use crate::bike::BikeState;
use crate::parts::PrimitiveKind;
use std::collections::{BTreeMap, BTreeSet};

/// The word for a bulb that glows and is dark on a sound bike.
const ANOTHER: &str = "another";

impl Model<'_> {
    /// How every bulb of the bike's own looks, by its part's id, with the points open.
    ///
    /// # Errors
    /// A circuit without an operating point.
    pub fn glows(&self, state: &BikeState) -> Result<BTreeMap<String, Glow>, CircuitError> {
        let wiring = self.wiring(state, &BTreeSet::new())?;
        let network = wiring.netlist()?;
        let point = network.operating_point()?;
        // What has burnt through, or is out of its holder, is no lamp of the circuit's.
        let bulbs = self.bike.parts.iter().filter(|part| part.kind.has(PrimitiveKind::Filament));
        let mut glows: BTreeMap<_, _> = bulbs.map(|part| (part.id.value.clone(), Glow::Dark)).collect();
        for branch in wiring.branches().iter().filter(|branch| !branch.parted) {
            let BranchKind::Lamp(lamp) = branch.kind else { continue };
            let Some(glow) = glows.get_mut(branch.part.as_str()) else { continue };
            if let [Some(a), Some(b)] = [&branch.a, &branch.b].map(|end| network.find(end)) {
                *glow = Glow::of(lamp.light(point.voltage(a, b).unwrap_or(0.0)));
            }
        }
        Ok(glows)
    }

    /// How a bulb of the bike's own looks, with the points open.
    ///
    /// # Errors
    /// A part that is no bulb, or a circuit without an operating point.
    pub fn glow(&self, state: &BikeState, bulb: &str) -> Result<Glow, CircuitError> {
        let found = self.glows(state)?.get(bulb).copied();
        found.ok_or_else(|| CircuitError::Unknown { what: "bulb", name: bulb.to_owned() })
    }

    /// What a look at a bulb shows, in words, the most specific first: `another` where some other bulb glows that stays dark on a sound bike,
    /// then how the bulb itself looks.
    pub(super) fn look_at_bulb(&self, state: &BikeState, bulb: &str) -> Result<Vec<&'static str>, CircuitError> {
        let own = self.glow(state, bulb)?;
        let sound = Model::new(self.bike).glows(state)?;
        let stray = self.glows(state)?.iter().any(|(other, glow)| {
            other != bulb && *glow != Glow::Dark && sound.get(other).is_some_and(|glow| *glow == Glow::Dark)
        });
        Ok(stray.then_some(ANOTHER).into_iter().chain(own.words().iter().copied()).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bike::{Bike, parse};
    use crate::circuit::Alteration;

    /// Two bulbs on one common joint to ground, each with a switch; beside the second hangs a third, with a ground of its own.
    fn bike() -> Bike {
        let switch = "kind: switch, positions: {\"off\": [], \"on\": [[in, out]]}";
        let wires = "battery.ground frame, battery.live first.in, battery.live second.in, first.out one.live, second.out two.live, \
             two.live three.live, one.case joint.bulbs, two.case joint.bulbs, joint.ground frame, three.case frame";
        let wire = |ends: &str| ends.split_once(' ').map(|(from, to)| format!("  - {{from: {from}, to: {to}}}\n"));
        let text = format!(
            "bike: Invented\nmaker: Invented\nvolt: 12\nground: negative\nparts:\n  battery: {{kind: battery}}\n  first: {{{switch}}}\n  \
             second: {{{switch}}}\n  one: {{kind: bulb, watt: 21}}\n  two: {{kind: bulb, watt: 21}}\n  three: {{kind: bulb, watt: 21}}\n  \
             joint: {{kind: connector, words: joint, halves: [bulbs, ground]}}\n  frame: {{kind: frame}}\nwires:\n{}",
            wires.split(", ").filter_map(wire).collect::<String>()
        );
        parse(&text, "bike.yaml").unwrap_or_else(|wrong| panic!("{}", wrong[0]))
    }

    #[test]
    fn a_look_at_a_bulb_of_a_sound_bike_and_under_faults() {
        let bike = bike();
        let on = |switch: &str| BikeState { switches: [(switch.into(), "on".into())].into(), ..BikeState::default() };
        let open = |branch: &str| vec![Alteration::Open { branch: branch.into() }];
        let sees = |faults: Vec<Alteration>, switch, bulb| Model::with(&bike, faults).look_at_bulb(&on(switch), bulb);
        let is = |words: &[&'static str]| Ok(words.to_vec());
        assert_eq!(sees(vec![], "first", "one"), is(&["bright", "lit"]));
        assert_eq!(sees(vec![], "first", "two"), is(&["dark"]), "one is no other that glows: it should");
        assert_eq!(sees(open("one"), "first", "one"), is(&["dark"]));
        let lossy = Alteration::Series { branch: "one".into(), ohm: 7.0 };
        assert_eq!(sees(vec![lossy], "first", "one"), is(&["dim", "lit"]));
        // Without the joint three equal bulbs in series share the battery's voltage.
        assert_eq!(sees(open("joint"), "first", "one"), is(&["another", "dim", "lit"]));
        let floating = Model::with(&bike, open("joint"));
        assert_eq!(floating.glow(&on("second"), "three"), Ok(Glow::Bright), "it has a ground of its own");
        let out = BikeState { unplugged: ["one".into()].into(), ..on("first") };
        assert_eq!(Model::new(&bike).glow(&out, "one"), Ok(Glow::Dark), "out of its holder");
        let unknown = CircuitError::Unknown { what: "bulb", name: "frame".into() };
        assert_eq!(sees(vec![], "first", "frame"), Err(unknown));
    }
}
