//! A bike in a state, with alterations applied, as named branches between terminals, and the netlist built from them.
//!
//! Branches: `battery.emf`, `battery`, `fuse`, `key`, `kill` (`kill SET` if it grounds several points wires), `ballast`, connectors by
//! their ids, `points-ID`, `coil-ID.primary`, `coil-ID.secondary`, `condenser-ID`, `plug-ID` (its gap, open until fouled), `cap-ID`, wires
//! as `FROM to TO` (a high-tension lead ends in its cap), and fitted items by name. The reference is the battery's ground terminal.

use super::network::{Kind, Network};
use super::{Alteration, CircuitError, Figures, Lamp, Name};
use crate::bike::{Bike, BikeState, InstrumentKind, KillAction, Polarity, Switch, WireRole};
use crate::sums::conductor;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// The reference node.
pub(super) const GROUND: &str = "battery.ground";
/// The node inside the battery.
const INSIDE: &str = "battery (inside)";
/// The two ends of a part in the feed.
const SUPPLY_LOAD: [&str; 2] = ["supply", "load"];
/// Resistance of a jumper with its clips, ohm (common practice, no source).
const JUMPER_OHM: f64 = 0.02;

/// A branch's kind.
#[derive(Debug, Clone, PartialEq)]
pub enum BranchKind {
    /// A resistance, ohm.
    Ohm(f64),
    /// Open circuit.
    Open,
    /// A voltage source, volt, with plus on `a`.
    Emf(f64),
    /// A lamp.
    Lamp(Lamp),
    /// A condenser. At rest only its leak conducts.
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
    pub id: Name,
    /// The part it belongs to: `coil-left`.
    pub part: Name,
    /// Terminal at one end.
    pub a: Name,
    /// Terminal at the other end.
    pub b: Name,
    /// Its kind.
    pub kind: BranchKind,
    /// Unplugged or removed.
    pub parted: bool,
}

impl Branch {
    /// Whether it is a coil's primary or secondary.
    pub(super) fn is_winding(&self) -> bool {
        self.id.starts_with("coil-") && (self.id.ends_with(".primary") || self.id.ends_with(".secondary"))
    }

    /// Its resistance at rest, ohm. `None` for an open circuit and for sources. A lamp counts as hot.
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
    /// The figures it was built with, alterations included.
    pub figures: Arc<Figures>,
}

/// The names of a bike's own branches in the order of construction: id, part, and both ends.
pub(super) type Names = Vec<[Name; 4]>;

/// A wiring under construction. Names known from another wiring of the same bike are reused.
struct Laying<'n> {
    wiring: Wiring,
    known: &'n Names,
}

fn unknown(what: &'static str, name: &str) -> CircuitError {
    CircuitError::Unknown { what, name: name.to_owned() }
}

/// Whether a switch's contact is closed. `connects` is the position in which the ignition works, whatever the contact does there. By
/// default a kill switch is where the engine runs, and a key is in a position that opens.
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
    /// The wiring of `bike` in `state`, with the points sets in `closed` closed and `changes` applied.
    ///
    /// # Errors
    /// [`CircuitError::Unknown`] if the state or an alteration names something the bike does not have.
    pub(super) fn new(
        bike: &Bike,
        figures: &Arc<Figures>,
        state: &BikeState,
        closed: &BTreeSet<String>,
        changes: &[Alteration],
        known: &Names,
    ) -> Result<Self, CircuitError> {
        let mut figures = figures.clone();
        for change in changes.iter().filter(|change| change.is_of_figures()) {
            change.on_figures(bike, Arc::make_mut(&mut figures))?;
        }
        let mut laying = Laying { wiring: Self { branches: Vec::with_capacity(known.len() + 4), figures }, known };
        laying.supply(bike, state)?;
        laying.ignition(bike, closed);
        laying.wires(bike);
        let mut wiring = laying.wiring;
        wiring.fitted(bike, state)?;
        for change in changes {
            wiring.alter(change)?;
        }
        wiring.part(bike, state)?;
        Ok(wiring)
    }

    /// The names of a bike's own branches.
    pub(super) fn names(bike: &Bike, figures: &Arc<Figures>) -> Names {
        let made = Self::new(bike, figures, &BikeState::default(), &BTreeSet::new(), &[], &Vec::new());
        let branches = made.map(|wiring| wiring.branches).unwrap_or_default();
        branches.into_iter().map(|b| [b.id, b.part, b.a, b.b]).collect()
    }

    /// All branches.
    pub fn branches(&self) -> &[Branch] {
        &self.branches
    }

    /// The branch with this id.
    ///
    /// # Errors
    /// [`CircuitError::Unknown`].
    pub fn branch(&self, id: &str) -> Result<&Branch, CircuitError> {
        self.branches.iter().find(|b| b.id == id).ok_or_else(|| unknown("branch", id))
    }

    pub(super) fn branch_mut(&mut self, id: &str) -> Result<&mut Branch, CircuitError> {
        self.branches.iter_mut().find(|b| b.id == id).ok_or_else(|| unknown("branch", id))
    }

    /// Whether a branch is a resistance in series with the branch of this id.
    fn in_series(branch: &Branch, id: &str) -> bool {
        branch.id.strip_prefix(id).is_some_and(|rest| rest.starts_with(" (series "))
    }

    /// The last piece of a branch with its resistances in series: the one whose `b` is the far end.
    fn far_piece(&mut self, id: &str) -> Result<&mut Branch, CircuitError> {
        let last = self.branches.iter().rposition(|b| Self::in_series(b, id));
        match last {
            Some(last) => Ok(&mut self.branches[last]),
            None => self.branch_mut(id),
        }
    }

    /// Rejects a terminal that no branch ends on.
    pub(super) fn terminal(&self, name: &str) -> Result<(), CircuitError> {
        let found = self.branches.iter().any(|b| b.a == name || b.b == name);
        if found { Ok(()) } else { Err(unknown("terminal", name)) }
    }

    pub(super) fn push(&mut self, id: &str, part: &str, a: &str, b: &str, kind: BranchKind) {
        let [id, part, a, b] = [id, part, a, b].map(Name::from);
        self.branches.push(Branch { id, part, a, b, kind, parted: false });
    }

    /// Applies an alteration to the branches, if it is one of branches.
    fn alter(&mut self, by: &Alteration) -> Result<(), CircuitError> {
        match by {
            Alteration::Open { branch } => self.branch_mut(branch)?.kind = BranchKind::Open,
            Alteration::Ohm { branch, ohm } => self.branch_mut(branch)?.kind = BranchKind::Ohm(*ohm),
            Alteration::Series { branch, ohm } => {
                let nth = self.branches.iter().filter(|b| Self::in_series(b, branch)).count();
                let b = self.far_piece(branch)?;
                // Names of its own for each: the battery has an inner node already, and two faults can be at one branch.
                let (id, inner) =
                    (format!("{branch} (series {nth})"), Name::from(format!("{branch} (series {nth}).in")));
                let end = std::mem::replace(&mut b.b, inner.clone());
                let (id, part) = (Name::from(id), b.part.clone());
                self.branches.push(Branch { id, part, a: inner, b: end, kind: BranchKind::Ohm(*ohm), parted: false });
            }
            Alteration::Leak { condenser, ohm } => {
                let branch = self.branch_mut(&format!("condenser-{condenser}"))?;
                if let BranchKind::Capacitor { leak_ohm, .. } = &mut branch.kind {
                    *leak_ohm = *ohm;
                }
            }
            Alteration::Join { a, b, ohm } => {
                self.terminal(a)?;
                self.terminal(b)?;
                let id = format!("{a} and {b}");
                self.push(&id, &id, a, b, BranchKind::Ohm(*ohm));
            }
            Alteration::Swap { first, second } => {
                let end = self.far_piece(first)?.b.clone();
                let other = std::mem::replace(&mut self.far_piece(second)?.b, end);
                self.far_piece(first)?.b = other;
            }
            _ => {}
        }
        Ok(())
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

    /// Disconnects what is unplugged.
    fn part(&mut self, bike: &Bike, state: &BikeState) -> Result<(), CircuitError> {
        for id in &state.unplugged {
            let mut thin_wire = None;
            let (ends_on, part) = match id.split_once('-') {
                Some(("lead", plug)) if bike.plugs.iter().any(|p| p.id.value == plug) => {
                    (format!("plug-{plug}.top"), None)
                }
                Some(("plug", plug)) if bike.plugs.iter().any(|p| p.id.value == plug) => {
                    (format!("plug-{plug}.thread"), None)
                }
                // A coil is isolated by removing its two thin wires.
                Some(("coil", coil)) if bike.coils.iter().any(|c| c.id.value == coil) => {
                    thin_wire = Some(format!("{id}.points"));
                    (format!("{id}.feed"), None)
                }
                // A condenser is isolated by lifting its lead, so that it can be measured alone.
                Some(("condenser", _)) if self.wire_on(&format!("{id}.lead")) => (format!("{id}.lead"), None),
                _ => (String::new(), Some(id.clone())),
            };
            let mut found = false;
            for branch in &mut self.branches {
                let hit = match &part {
                    Some(part) => branch.part == *part,
                    None => {
                        let leads_on = branch.part.contains(" to ")
                            || (branch.part.starts_with("cap-") && !branch.part.contains(" and "));
                        let at = |end: &String| branch.a == *end || branch.b == *end;
                        // A short at a coil's feed terminal stays with the removed wire. A short at the points end stays with the winding.
                        let touched = thin_wire.is_some() && branch.part.contains(" and ") && at(&ends_on);
                        touched || (leads_on && (at(&ends_on) || thin_wire.as_ref().is_some_and(at)))
                    }
                };
                branch.parted |= hit;
                found |= hit;
            }
            if !found {
                return Err(unknown("part that unplugs", id));
            }
        }
        // A meter across both ends of a cap measures the cap alone.
        let cap = state.instrument.as_ref().filter(|tool| tool.kind == InstrumentKind::Ohmmeter);
        let cap = cap.and_then(|tool| Some((tool, tool.first.strip_prefix("cap-")?.strip_suffix(".lead")?)));
        if let Some((tool, plug)) = cap.filter(|(tool, plug)| tool.second == format!("plug-{plug}.top")) {
            let ends = [&tool.first, &tool.second];
            for branch in &mut self.branches {
                if branch.part == format!("cap-{plug}") {
                    branch.parted = false;
                } else if ends.iter().any(|end| branch.a == **end || branch.b == **end) {
                    branch.parted = true;
                }
            }
        }
        // A tester on the lead's end replaces the cap; one on the coil's tower replaces the lead.
        if let Some(tool) = state.instrument.as_ref().filter(|tool| tool.kind == InstrumentKind::SparkTester) {
            let at = &tool.first;
            let off = |b: &Branch| {
                (at.starts_with("cap-") && b.part.starts_with("cap-") && !b.part.contains(" and ") && b.a == *at)
                    || (at.ends_with("lead") && b.part.contains(" to ") && b.a == *at)
            };
            // A plug watched at its own gap sits in its cap, with its thread clamped to the engine.
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

    /// The netlist, and the element index of each branch.
    ///
    /// # Errors
    /// [`CircuitError::Value`] for an impossible figure.
    pub fn network(&self) -> Result<(Network, BTreeMap<String, usize>), CircuitError> {
        let network = self.netlist()?;
        let elements = network.elements().iter().enumerate().map(|(n, e)| (e.name.to_string(), n)).collect();
        Ok((network, elements))
    }

    /// The netlist.
    pub(super) fn netlist(&self) -> Result<Network, CircuitError> {
        let mut network = Network::sized(GROUND, self.branches.len() + 1);
        for branch in &self.branches {
            let (a, b) = (network.node_named(&branch.a), network.node_named(&branch.b));
            let kind = match (&branch.kind, branch.ohm()) {
                (BranchKind::Emf(volt), _) if !branch.parted => Kind::Voltage(*volt),
                (BranchKind::Lamp(lamp), Some(_)) => Kind::Lamp(*lamp),
                (_, Some(ohm)) => Kind::Resistor(ohm),
                _ => continue,
            };
            network.add_named(branch.id.clone(), a, b, kind)?;
        }
        Ok(network)
    }

    /// The terminals connected to `from` through branches of at most `ohm` each, excluding sources and `without`.
    pub(super) fn reach(&self, from: &str, ohm: f64, without: impl Fn(&Branch) -> bool) -> BTreeSet<Name> {
        let mut ways: Vec<&Branch> =
            self.branches.iter().filter(|b| b.ohm().is_some_and(|o| o <= ohm) && !without(b)).collect();
        let mut seen = BTreeSet::from([Name::from(from)]);
        // Repeat until nothing new is reached.
        loop {
            let before = seen.len();
            ways.retain(|b| match (seen.contains(&b.a), seen.contains(&b.b)) {
                (false, false) => true,
                (true, true) => false,
                (true, false) => !seen.insert(b.b.clone()),
                (false, true) => !seen.insert(b.a.clone()),
            });
            if seen.len() == before {
                return seen;
            }
        }
    }
}

impl Laying<'_> {
    /// Adds a branch. Its names are only built if they are not known yet.
    fn lay(&mut self, kind: BranchKind, names: impl FnOnce() -> [String; 4]) {
        let branches = &mut self.wiring.branches;
        let [id, part, a, b] = match self.known.get(branches.len()) {
            Some(known) => known.clone(),
            None => names().map(Name::from),
        };
        branches.push(Branch { id, part, a, b, kind, parted: false });
    }

    /// A contact that is a part of its own, between two of its own terminals.
    fn contact(&mut self, id: &str, ends: [&str; 2], ohm: Option<f64>) {
        let names = || [id.to_owned(), id.to_owned(), format!("{id}.{}", ends[0]), format!("{id}.{}", ends[1])];
        self.lay(ohm.map_or(BranchKind::Open, BranchKind::Ohm), names);
    }

    fn supply(&mut self, bike: &Bike, state: &BikeState) -> Result<(), CircuitError> {
        let f = self.wiring.figures.clone();
        let sign = if bike.ground == Polarity::Negative { 1.0 } else { -1.0 };
        self.lay(BranchKind::Emf(sign * f.battery_volt), || {
            ["battery.emf", "battery", INSIDE, GROUND].map(String::from)
        });
        self.lay(BranchKind::Ohm(f.battery_ohm), || ["battery", "battery", INSIDE, "battery.live"].map(String::from));
        if bike.fuse.is_some() {
            self.contact("fuse", SUPPLY_LOAD, Some(f.contact_ohm("fuse", f.fuse_ohm)));
        }
        if bike.ballast_ohm.is_some() {
            self.contact("ballast", SUPPLY_LOAD, Some(f.ballast_ohm));
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

    /// A switch in the feed is one contact. One that grounds the points wires is a contact for every set it has a terminal for (`kill.SET`
    /// against `kill.ground`), or, with none wired, one at every points connector's coil side.
    fn switch(&mut self, bike: &Bike, name: &str, switch: &Switch, ohm: Option<f64>) {
        let wired = |t: &str| bike.wires.iter().any(|w| w.from.value == t || w.to.value == t);
        if switch.action == KillAction::OpensFeed || wired(&format!("{name}.supply")) {
            return self.contact(name, SUPPLY_LOAD, ohm);
        }
        for set in &bike.points {
            let names = || {
                let (id, own) = (format!("{name} {}", set.id.value), format!("{name}.{}", set.id.value));
                let (a, b) = match wired(&own) {
                    true => (own, format!("{name}.ground")),
                    false => (format!("{}.coil-side", set.connector.value), "frame".to_owned()),
                };
                [id, name.to_owned(), a, b]
            };
            self.lay(ohm.map_or(BranchKind::Open, BranchKind::Ohm), names);
        }
    }

    fn ignition(&mut self, bike: &Bike, closed: &BTreeSet<String>) {
        let f = self.wiring.figures.clone();
        for c in &bike.connectors {
            self.contact(&c.id, [&c.halves[0], &c.halves[1]], Some(f.contact_ohm(&c.id, f.connector_ohm)));
        }
        for p in &bike.points {
            let part = format!("points-{}", p.id.value);
            let ohm = closed.contains(&p.id.value).then_some(f.contact_ohm(&part, f.points_ohm));
            self.contact(&part, ["wire", "plate"], ohm);
        }
        for c in &bike.coils {
            let part = || format!("coil-{}", c.id.value);
            let at = |what: &str| format!("coil-{}.{what}", c.id.value);
            let Some(figures) = f.coils.get(&c.id.value) else { continue };
            let primary = conductor::at_temperature(figures.primary_ohm, f.celsius);
            self.lay(BranchKind::Ohm(primary), || [at("primary"), part(), at("feed"), at("points")]);
            let secondary = BranchKind::Ohm(conductor::at_temperature(figures.secondary_ohm, f.celsius));
            let home = if c.plugs.len() > 1 { "second-lead" } else { "points" };
            self.lay(secondary, || [at("secondary"), part(), at("lead"), at(home)]);
        }
        for c in &bike.condensers {
            let part = || format!("condenser-{}", c.id.value);
            let farad = f.condenser_farad.get(&c.id.value).copied().unwrap_or(0.0);
            let kind = BranchKind::Capacitor { farad, leak_ohm: f.condenser_leak_ohm };
            self.lay(kind, || [part(), part(), format!("{}.lead", part()), format!("{}.case", part())]);
        }
        for p in &bike.plugs {
            let part = || format!("plug-{}", p.id.value);
            self.lay(BranchKind::Open, || [part(), part(), format!("{}.top", part()), format!("{}.thread", part())]);
        }
    }

    fn wires(&mut self, bike: &Bike) {
        let f = self.wiring.figures.clone();
        for w in &bike.wires {
            let ohm = match (w.metre, w.mm2) {
                (Some(metre), Some(mm2)) => conductor::wire_ohm(metre, mm2, f.celsius),
                _ => f.wire_ohm,
            };
            let (from, to) = (|| w.from.value.clone(), || w.to.value.clone());
            let plug = w.to.value.strip_prefix("plug-").and_then(|to| to.strip_suffix(".top"));
            match plug.filter(|_| w.role() == WireRole::Lead) {
                Some(plug) => {
                    let cap = format!("cap-{plug}");
                    let cap_ohm = f.contact_ohm(&cap, f.cap_ohm);
                    self.lay(BranchKind::Ohm(ohm), || [w.id(), w.id(), from(), format!("{cap}.lead")]);
                    self.lay(BranchKind::Ohm(cap_ohm), || [cap.clone(), cap.clone(), format!("{cap}.lead"), to()]);
                }
                None => self.lay(BranchKind::Ohm(ohm), || [w.id(), w.id(), from(), to()]),
            }
        }
    }
}
