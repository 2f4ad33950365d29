//! A bike in a state, with changes laid over it, as named branches between terminals; and the netlist they make.
//!
//! Branches: `battery.emf`, `battery`, `fuse`, `key`, `kill` (`kill SET` where it grounds several points wires), `ballast`,
//! connectors by their ids, `points-ID`, `coil-ID.primary`, `coil-ID.secondary`, `condenser-ID`, `plug-ID` (its gap, open
//! until fouled), `cap-ID`, wires as `FROM to TO` (a high-tension lead ends in its cap), and what is fitted by its name. The reference is the battery's ground terminal.

use super::network::{Kind, Network};
use super::{Alteration, CircuitError, Figures, Lamp};
use crate::bike::{Bike, BikeState, InstrumentKind, KillAction, Polarity, Switch, WireRole};
use crate::trade::conductor;
use std::collections::{BTreeMap, BTreeSet};

/// The reference node.
pub(super) const GROUND: &str = "battery.ground";
/// Inside the battery.
const INSIDE: &str = "battery (inside)";
/// Resistance of a jumper with its clips, ohm (common practice, no source).
const JUMPER_OHM: f64 = 0.02;

/// What a branch is.
#[derive(Debug, Clone, PartialEq)]
pub enum BranchKind {
    /// A resistance, ohm.
    Ohm(f64),
    /// No way.
    Open,
    /// A source, volt, plus on `a`.
    Emf(f64),
    /// A lamp.
    Lamp(Lamp),
    /// A condenser: at rest only its leak conducts.
    Capacitor {
        /// Capacitance, farad.
        farad: f64,
        /// Leak, ohm.
        leak_ohm: f64,
    },
}

/// One branch.
#[derive(Debug, Clone, PartialEq)]
pub struct Branch {
    /// Its id.
    pub id: String,
    /// The part it belongs to: `coil-left`.
    pub part: String,
    /// Terminal at one end.
    pub a: String,
    /// Terminal at the other.
    pub b: String,
    /// What it is.
    pub kind: BranchKind,
    /// Unplugged or taken out.
    pub parted: bool,
}

impl Branch {
    /// Whether it is a coil's primary or secondary.
    pub(super) fn is_winding(&self) -> bool {
        self.id.starts_with("coil-") && (self.id.ends_with(".primary") || self.id.ends_with(".secondary"))
    }

    /// Its resistance at rest, ohm; `None` for no way and for sources. A lamp counts hot.
    pub(super) fn ohm(&self) -> Option<f64> {
        match &self.kind {
            _ if self.parted => None,
            BranchKind::Ohm(ohm) => Some(*ohm),
            BranchKind::Capacitor { leak_ohm, .. } => Some(*leak_ohm),
            BranchKind::Lamp(lamp) => Some(lamp.hot_ohm()),
            BranchKind::Open | BranchKind::Emf(_) => None,
        }
    }
}

/// The branches of a bike in a state.
#[derive(Debug, Clone, PartialEq)]
pub struct Wiring {
    pub(super) branches: Vec<Branch>,
    /// The figures it was made with, changes included.
    pub figures: Figures,
}

fn unknown(what: &'static str, name: &str) -> CircuitError {
    CircuitError::Unknown { what, name: name.to_owned() }
}

/// Whether a switch's contact is closed. `connects` is the position in which the ignition works, whatever the contact does
/// there. Unset, a kill switch stands where the engine runs and a key in a position that opens.
fn connects(switch: &Switch, at: Option<&String>, unset: bool) -> Result<bool, CircuitError> {
    match at.map(String::as_str) {
        None => Ok(unset),
        Some("connects") => Ok(switch.action == KillAction::OpensFeed),
        Some("disconnects") => Ok(switch.action != KillAction::OpensFeed),
        Some(name) => {
            let found = switch.positions.iter().find(|p| p.name.value == name);
            found.map(|p| p.connects).ok_or_else(|| unknown("position of a switch", name))
        }
    }
}

impl Wiring {
    /// The wiring of `bike` in `state`, with the sets of `closed` points closed and `changes` laid over it.
    ///
    /// # Errors
    /// [`CircuitError::Unknown`] when the state or a change names what the bike has not.
    pub fn new(
        bike: &Bike,
        figures: &Figures,
        state: &BikeState,
        closed: &BTreeSet<String>,
        changes: &[Alteration],
    ) -> Result<Self, CircuitError> {
        let mut figures = figures.clone();
        for change in changes {
            change.on_figures(bike, &mut figures)?;
        }
        let mut wiring = Self { branches: Vec::new(), figures };
        wiring.supply(bike, state)?;
        wiring.ignition(bike, closed);
        wiring.wires(bike);
        wiring.fitted(bike, state)?;
        for change in changes {
            change.on_wiring(&mut wiring)?;
        }
        wiring.part(bike, state)?;
        Ok(wiring)
    }

    /// All branches.
    pub fn branches(&self) -> &[Branch] {
        &self.branches
    }

    /// The branch of this id.
    ///
    /// # Errors
    /// [`CircuitError::Unknown`].
    pub fn branch(&self, id: &str) -> Result<&Branch, CircuitError> {
        self.branches.iter().find(|b| b.id == id).ok_or_else(|| unknown("branch", id))
    }

    pub(super) fn branch_mut(&mut self, id: &str) -> Result<&mut Branch, CircuitError> {
        self.branches.iter_mut().find(|b| b.id == id).ok_or_else(|| unknown("branch", id))
    }

    /// Refuses a terminal that no branch ends on.
    pub(super) fn terminal(&self, name: &str) -> Result<(), CircuitError> {
        let found = self.branches.iter().any(|b| b.a == name || b.b == name);
        if found { Ok(()) } else { Err(unknown("terminal", name)) }
    }

    pub(super) fn push(&mut self, id: &str, part: &str, a: &str, b: &str, kind: BranchKind) {
        let text = str::to_owned;
        self.branches.push(Branch { id: text(id), part: text(part), a: text(a), b: text(b), kind, parted: false });
    }

    fn contact(&mut self, id: &str, a: &str, b: &str, ohm: Option<f64>) {
        self.push(id, id, a, b, ohm.map_or(BranchKind::Open, BranchKind::Ohm));
    }

    fn supply(&mut self, bike: &Bike, state: &BikeState) -> Result<(), CircuitError> {
        let f = self.figures.clone();
        let sign = if bike.ground == Polarity::Negative { 1.0 } else { -1.0 };
        self.push("battery.emf", "battery", INSIDE, GROUND, BranchKind::Emf(sign * f.battery_volt));
        self.push("battery", "battery", INSIDE, "battery.live", BranchKind::Ohm(f.battery_ohm));
        if bike.fuse.is_some() {
            self.contact("fuse", "fuse.supply", "fuse.load", Some(f.contact_ohm("fuse", f.fuse_ohm)));
        }
        if bike.ballast_ohm.is_some() {
            self.contact("ballast", "ballast.supply", "ballast.load", Some(f.ballast_ohm));
        }
        let key = connects(&bike.key, state.switches.get("key"), false)?;
        let key = key.then_some(f.contact_ohm("key", f.switch_ohm));
        self.switch(bike, "key", &bike.key, key);
        if let Some(kill) = &bike.kill {
            let runs = kill.action == KillAction::OpensFeed;
            let ohm = connects(kill, state.switches.get("kill"), runs)?;
            let ohm = ohm.then_some(f.contact_ohm("kill", f.switch_ohm));
            self.switch(bike, "kill", kill, ohm);
        }
        Ok(())
    }

    /// A switch in the feed is one contact; one that grounds the points wires is a contact for every set it has a terminal
    /// for (`kill.SET` against `kill.ground`), or, with none wired, one at every points connector's coil side.
    fn switch(&mut self, bike: &Bike, name: &str, switch: &Switch, ohm: Option<f64>) {
        let (supply, load) = (format!("{name}.supply"), format!("{name}.load"));
        let wired = |t: &str| bike.wires.iter().any(|w| w.from.value == t || w.to.value == t);
        if switch.action == KillAction::OpensFeed || wired(&supply) {
            return self.contact(name, &supply, &load, ohm);
        }
        for set in &bike.points {
            let own = format!("{name}.{}", set.id.value);
            let id = format!("{name} {}", set.id.value);
            if wired(&own) {
                self.push(&id, name, &own, &format!("{name}.ground"), ohm.map_or(BranchKind::Open, BranchKind::Ohm));
            } else {
                let at = format!("{}.coil-side", set.connector.value);
                self.push(&id, name, &at, "frame", ohm.map_or(BranchKind::Open, BranchKind::Ohm));
            }
        }
    }

    fn ignition(&mut self, bike: &Bike, closed: &BTreeSet<String>) {
        let f = self.figures.clone();
        for c in &bike.connectors {
            let half = |n: usize| format!("{}.{}", c.id.value, c.halves[n]);
            self.contact(&c.id.value, &half(0), &half(1), Some(f.contact_ohm(&c.id, f.connector_ohm)));
        }
        for p in &bike.points {
            let part = format!("points-{}", p.id.value);
            let ohm = closed.contains(&p.id.value).then_some(f.contact_ohm(&part, f.points_ohm));
            self.contact(&part, &format!("{part}.wire"), &format!("{part}.plate"), ohm);
        }
        for c in &bike.coils {
            let part = format!("coil-{}", c.id.value);
            let Some(figures) = f.coils.get(&c.id.value) else { continue };
            let (feed, points, lead) = (format!("{part}.feed"), format!("{part}.points"), format!("{part}.lead"));
            let primary = conductor::at_temperature(figures.primary_ohm, f.celsius);
            self.push(&format!("{part}.primary"), &part, &feed, &points, BranchKind::Ohm(primary));
            let secondary = BranchKind::Ohm(conductor::at_temperature(figures.secondary_ohm, f.celsius));
            let home = if c.plugs.len() > 1 { format!("{part}.second-lead") } else { points };
            self.push(&format!("{part}.secondary"), &part, &lead, &home, secondary);
        }
        for c in &bike.condensers {
            let part = format!("condenser-{}", c.id.value);
            let farad = f.condenser_farad.get(&c.id.value).copied().unwrap_or(0.0);
            let kind = BranchKind::Capacitor { farad, leak_ohm: f.condenser_leak_ohm };
            self.push(&part, &part, &format!("{part}.lead"), &format!("{part}.case"), kind);
        }
        for p in &bike.plugs {
            let part = format!("plug-{}", p.id.value);
            self.push(&part, &part, &format!("{part}.top"), &format!("{part}.thread"), BranchKind::Open);
        }
    }

    fn wires(&mut self, bike: &Bike) {
        for w in &bike.wires {
            let ohm = match (w.metre, w.mm2) {
                (Some(metre), Some(mm2)) => conductor::wire_ohm(metre, mm2, self.figures.celsius),
                _ => self.figures.wire_ohm,
            };
            let id = w.id();
            let plug = w.to.value.strip_prefix("plug-").and_then(|to| to.strip_suffix(".top"));
            match plug.filter(|_| w.role() == WireRole::Lead) {
                Some(plug) => {
                    let (cap, top) = (format!("cap-{plug}"), &w.to.value);
                    let end = format!("{cap}.lead");
                    let cap_ohm = self.figures.contact_ohm(&cap, self.figures.cap_ohm);
                    self.push(&id, &id, &w.from.value, &end, BranchKind::Ohm(ohm));
                    self.push(&cap, &cap, &end, top, BranchKind::Ohm(cap_ohm));
                }
                None => self.push(&id, &id, &w.from.value, &w.to.value, BranchKind::Ohm(ohm)),
            }
        }
    }

    fn fitted(&mut self, bike: &Bike, state: &BikeState) -> Result<(), CircuitError> {
        for (name, [a, b]) in &state.fitted {
            self.terminal(a)?;
            self.terminal(b)?;
            let kind = match name {
                n if n.contains("bulb") || n.contains("lamp") => {
                    BranchKind::Lamp(Lamp { volt: bike.volt, watt: self.figures.load_bulb_watt })
                }
                n if n.contains("condenser") => {
                    let farad = bike.condensers.first().map_or(0.22e-6, |c| c.microfarad * 1e-6);
                    BranchKind::Capacitor { farad, leak_ohm: self.figures.condenser_leak_ohm }
                }
                n if n.contains("jumper") || n.contains("clip") => BranchKind::Ohm(JUMPER_OHM),
                n => return Err(unknown("fitted thing (jumper, clip, bulb, condenser)", n)),
            };
            self.push(name, name, a, b, kind);
        }
        Ok(())
    }

    /// Whether a wire ends on a terminal.
    fn wire_on(&self, terminal: &str) -> bool {
        self.branches.iter().any(|b| b.part.contains(" to ") && (b.a == terminal || b.b == terminal))
    }

    /// Takes out of the way what is unplugged.
    fn part(&mut self, bike: &Bike, state: &BikeState) -> Result<(), CircuitError> {
        for id in &state.unplugged {
            let (ends_on, part) = match id.split_once('-') {
                Some(("lead", plug)) if bike.plugs.iter().any(|p| p.id.value == plug) => {
                    (format!("plug-{plug}.top"), None)
                }
                Some(("plug", plug)) if bike.plugs.iter().any(|p| p.id.value == plug) => {
                    (format!("plug-{plug}.thread"), None)
                }
                // A condenser is lifted by its lead, so that it can be measured alone.
                Some(("condenser", _)) if self.wire_on(&format!("{id}.lead")) => (format!("{id}.lead"), None),
                _ => (String::new(), Some(id.clone())),
            };
            let mut found = false;
            for branch in &mut self.branches {
                let hit = match &part {
                    Some(part) => branch.part == *part || branch.id == format!("{part} (series)"),
                    None => {
                        let leads_on = branch.part.contains(" to ")
                            || (branch.part.starts_with("cap-") && !branch.part.contains(" and "));
                        leads_on && (branch.a == ends_on || branch.b == ends_on)
                    }
                };
                branch.parted |= hit;
                found |= hit;
            }
            if !found {
                return Err(unknown("part that unplugs", id));
            }
        }
        // A tester on the lead's end stands in for the cap, one on the coil's tower for the lead.
        if let Some(tool) = state.instrument.as_ref().filter(|tool| tool.kind == InstrumentKind::SparkTester) {
            let at = &tool.first;
            let off = |b: &Branch| {
                (at.starts_with("cap-") && b.part.starts_with("cap-") && !b.part.contains(" and ") && b.a == *at)
                    || (at.ends_with("lead") && b.part.contains(" to ") && b.a == *at)
            };
            // A plug that is watched at its own gap sits in its cap, its thread clamped to the engine.
            let plug = at.strip_prefix("plug-").and_then(|at| at.strip_suffix(".top"));
            let own = plug.filter(|plug| tool.second == format!("plug-{plug}.thread"));
            let on = |b: &Branch| {
                own.is_some_and(|plug| {
                    let seat = b.part.contains(" to ") && (b.a == tool.second || b.b == tool.second);
                    seat || b.part == format!("cap-{plug}")
                })
            };
            self.branches.iter_mut().filter(|b| off(b)).for_each(|b| b.parted = true);
            self.branches.iter_mut().filter(|b| on(b)).for_each(|b| b.parted = false);
        }
        Ok(())
    }

    /// The netlist, and for each branch the element that it became.
    ///
    /// # Errors
    /// [`CircuitError::Value`] for an impossible figure.
    pub fn network(&self) -> Result<(Network, BTreeMap<String, usize>), CircuitError> {
        let mut network = Network::new(GROUND);
        let mut elements = BTreeMap::new();
        for branch in &self.branches {
            let (a, b) = (network.node(&branch.a), network.node(&branch.b));
            let kind = match (&branch.kind, branch.ohm()) {
                (BranchKind::Emf(volt), _) if !branch.parted => Kind::Voltage(*volt),
                (BranchKind::Lamp(lamp), Some(_)) => Kind::Lamp(*lamp),
                (_, Some(ohm)) => Kind::Resistor(ohm),
                _ => continue,
            };
            elements.insert(branch.id.clone(), network.add(&branch.id, a, b, kind)?);
        }
        Ok((network, elements))
    }

    /// The terminals that conduct to `from` through branches of at most `ohm` each, sources and `without` left out.
    pub(super) fn reach(&self, from: &str, ohm: f64, without: impl Fn(&Branch) -> bool) -> BTreeSet<String> {
        let mut seen = BTreeSet::from([from.to_owned()]);
        let mut next = vec![from.to_owned()];
        while let Some(at) = next.pop() {
            for b in self.branches.iter().filter(|b| b.ohm().is_some_and(|o| o <= ohm) && !without(b)) {
                let other = if b.a == at {
                    &b.b
                } else if b.b == at {
                    &b.a
                } else {
                    continue;
                };
                if seen.insert(other.clone()) {
                    next.push(other.clone());
                }
            }
        }
        seen
    }
}
