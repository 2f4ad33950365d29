//! A bike in a state, with alterations applied, as named branches between terminals, and the netlist built from them.
//!
//! A branch is named like its part (`fuse`, `condenser-left`), or `PART.NAME` where the part has several (`battery.emf`, `coil-left.primary`,
//! `coil-left.secondary`). A switch with several contacts has a branch for each, `kill left`. Wires are `FROM to TO`; fitted items go by name.
//! The reference is the battery's ground terminal.

use super::network::{Kind, Network};
use super::plan::{self, Plan, Planned, What};
use super::{Alteration, CircuitError, Diode, Figures, Lamp, Name};
use crate::bike::{Bike, BikeState, Engine, InstrumentKind, Polarity, Starter, SwitchAction, Wire};
use crate::parts::{PrimitiveKind, Unplugs};
use crate::sums::conductor;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Resistance of a jumper with its clips, ohm (common practice, no source).
const JUMPER_OHM: f64 = 0.02;
/// Resistance of the spark from a distributor's arm to the terminal that it faces, ohm (common practice, no source).
const ARM_OHM: f64 = 1000.0;
/// Capacitance of a condenser that is clipped on where the bike has none, farad, and its insulation, ohm (common practice, no source).
const TEST_FARAD: f64 = 0.22e-6;
const TEST_LEAK_OHM: f64 = 50e6;

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
    /// A diode with its anode on `a`, or on `b` where it is turned round.
    Diode {
        /// The diode.
        diode: Diode,
        /// Its anode is on `b`.
        turned: bool,
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
    /// One of two coupled windings.
    pub(super) is_winding: bool,
    /// A wire, or parts that touch.
    pub(super) is_wire: bool,
    /// A gap inside a distributor, which carries sparks and no current at rest.
    pub(super) is_arm: bool,
}

impl Branch {
    /// Whether it is one of two coupled windings.
    pub(super) fn is_winding(&self) -> bool {
        self.is_winding
    }

    /// Whether a spark passes it though no current does at rest: a distributor's arm.
    pub(super) fn sparks_over(&self) -> bool {
        self.is_arm && !self.parted
    }

    /// Whether it is a path that a fault adds between two terminals.
    pub(super) fn is_joint(&self) -> bool {
        self.part.contains(" and ")
    }

    /// Its resistance at rest, ohm. `None` for an open circuit and for sources. A lamp counts as hot.
    pub(super) fn ohm(&self) -> Option<f64> {
        match &self.kind {
            _ if self.parted => None,
            BranchKind::Ohm(ohm) => Some(*ohm),
            BranchKind::Capacitor { leak_ohm, .. } => Some(*leak_ohm),
            BranchKind::Lamp(lamp) => Some(lamp.hot_ohm()),
            BranchKind::Open | BranchKind::Emf(_) | BranchKind::Diode { .. } => None,
        }
    }
}

/// The branches of a bike in a state.
#[derive(Debug, Clone, PartialEq)]
pub struct Wiring {
    pub(super) branches: Vec<Branch>,
    /// The reference: the battery's grounded terminal, or any grounded one of a bike without a battery.
    pub ground: Name,
    /// The figures it was built with, alterations included.
    pub figures: Arc<Figures>,
}

fn unknown(what: &'static str, name: &str) -> CircuitError {
    CircuitError::Unknown { what, name: name.to_owned() }
}

/// The position of every switch in a state, by its number. A switch that nobody set is where the engine runs, but a key is off, and a
/// switch that cranks is pressed while the starter turns the engine.
fn positions(bike: &Bike, state: &BikeState) -> Result<Vec<usize>, CircuitError> {
    let position = |switch: &crate::bike::Switch| {
        let works = |is: bool| switch.positions.iter().position(|position| position.works == is);
        let set = state.switches.get(&switch.name).or_else(|| state.switches.get(&switch.part));
        let cranked = state.engine == Some(Engine::Kicked) && bike.starter == Some(Starter::Electric);
        let none = switch.positions.len();
        match set.map(String::as_str) {
            _ if switch.cranks => Ok(works(cranked).unwrap_or(none)),
            None if switch.name == "key" => Ok(works(false).unwrap_or(none)),
            None if switch.action == SwitchAction::Apart => Ok(works(false).unwrap_or(none)),
            None | Some("connects") => Ok(works(true).unwrap_or(none)),
            Some("disconnects") => Ok(works(false).unwrap_or(none)),
            Some(name) => {
                let found = switch.positions.iter().position(|position| *position.name == name);
                found.ok_or_else(|| unknown("position of a switch", name))
            }
        }
    };
    bike.switches.iter().map(position).collect()
}

impl Wiring {
    /// The wiring of `bike` in `state`, with the points sets in `closed` closed and `changes` applied.
    ///
    /// # Errors
    /// [`CircuitError::Unknown`] if the state or an alteration names something the bike does not have.
    pub(super) fn new(
        bike: &Bike,
        plan: &Plan,
        figures: &Arc<Figures>,
        state: &BikeState,
        closed: &BTreeSet<String>,
        changes: &[Alteration],
    ) -> Result<Self, CircuitError> {
        let mut wiring = Self {
            branches: Vec::with_capacity(plan.branches.len() + 4),
            ground: plan.ground.clone(),
            figures: figures.clone(),
        };
        let positions = positions(bike, state)?;
        for planned in &plan.branches {
            let kind = wiring.kind(bike, planned, state, &positions, closed)?;
            let Planned { id, part, a, b, what } = planned;
            let is_winding = matches!(what, What::Primary(_) | What::Secondary(_));
            let (id, part, a, b) = (id.clone(), part.clone(), a.clone(), b.clone());
            wiring.branches.push(Branch {
                id,
                part,
                a,
                b,
                kind,
                parted: false,
                is_winding,
                is_wire: matches!(what, What::Wire(_)),
                is_arm: matches!(what, What::Plain(_, PrimitiveKind::Selector)),
            });
        }
        wiring.fitted(bike, state)?;
        for change in changes {
            wiring.alter(change)?;
        }
        wiring.part(bike, state)?;
        Ok(wiring)
    }

    /// What a planned branch is in a state.
    fn kind(
        &self,
        bike: &Bike,
        planned: &Planned,
        state: &BikeState,
        positions: &[usize],
        closed: &BTreeSet<String>,
    ) -> Result<BranchKind, CircuitError> {
        let f = &self.figures;
        let figure = |at: usize, name: &str| plan::one(&f.numbers, at, name);
        let closed_ohm = |is: bool, ohm: f64| if is { BranchKind::Ohm(ohm) } else { BranchKind::Open };
        let cranked = state.engine == Some(Engine::Kicked) && bike.starter == Some(Starter::Electric);
        Ok(match &planned.what {
            What::Wire(n) => match &bike.wires[*n] {
                Wire { metre: Some(metre), mm2: Some(mm2), .. } => {
                    BranchKind::Ohm(conductor::wire_ohm(*metre, *mm2, f.celsius))
                }
                _ => BranchKind::Ohm(f.wire_ohm),
            },
            What::Emf(at) => {
                let sign = if bike.ground == Polarity::Negative { 1.0 } else { -1.0 };
                BranchKind::Emf(sign * plan::by_charge(&f.numbers[*at], "volt"))
            }
            What::Generated(at) => {
                let sign = if bike.ground == Polarity::Negative { 1.0 } else { -1.0 };
                let running = state.engine == Some(Engine::Running);
                BranchKind::Emf(if running { sign * figure(*at, "volt")? } else { 0.0 })
            }
            What::Primary(at) => BranchKind::Ohm(conductor::at_temperature(figure(*at, "primary-ohm")?, f.celsius)),
            What::Secondary(at) => BranchKind::Ohm(conductor::at_temperature(figure(*at, "secondary-ohm")?, f.celsius)),
            What::Contact { figures, switch, positions: closed } => {
                closed_ohm(closed.contains(&positions[*switch]), figure(*figures, "ohm")?)
            }
            What::Breaker { figures, set } => closed_ohm(closed.contains(set), figure(*figures, "ohm")?),
            What::Plain(at, PrimitiveKind::Source) => BranchKind::Ohm(plan::by_charge(&f.numbers[*at], "ohm")),
            What::Plain(at, PrimitiveKind::Capacitance) => {
                BranchKind::Capacitor { farad: figure(*at, "microfarad")? * 1e-6, leak_ohm: figure(*at, "leak-ohm")? }
            }
            What::Plain(at, PrimitiveKind::Filament) => {
                BranchKind::Lamp(Lamp { volt: figure(*at, "volt")?, watt: figure(*at, "watt")? })
            }
            What::Plain(at, PrimitiveKind::Diode) => {
                let diode = Diode { saturation: figure(*at, "saturation")?, emission: figure(*at, "emission")? };
                let turned = plan::one(&f.numbers, *at, "sign").is_ok_and(|sign| sign < 0.0);
                BranchKind::Diode { diode, turned }
            }
            What::Plain(at, PrimitiveKind::Motor) => closed_ohm(cranked, figure(*at, "ohm")?),
            What::Plain(_, PrimitiveKind::Gap | PrimitiveKind::Selector) => BranchKind::Open,
            What::Plain(at, _) => BranchKind::Ohm(figure(*at, "ohm")?),
        })
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

    /// A branch, or all the contacts of a switch that goes by this name.
    fn contacts_of(&self, name: &str) -> Vec<String> {
        if self.branch(name).is_ok() {
            return vec![name.to_owned()];
        }
        let own: Vec<String> = self.branches.iter().filter(|b| b.part == name).map(|b| b.id.to_string()).collect();
        if own.is_empty() { vec![name.to_owned()] } else { own }
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
        self.branches.push(Branch {
            id,
            part,
            a,
            b,
            kind,
            parted: false,
            is_winding: false,
            is_wire: false,
            is_arm: false,
        });
    }

    /// Applies an alteration to the branches, if it is one of branches.
    fn alter(&mut self, by: &Alteration) -> Result<(), CircuitError> {
        match by {
            Alteration::Open { branch } => {
                for id in self.contacts_of(branch) {
                    let branch = self.branch_mut(&id)?;
                    branch.kind = BranchKind::Open;
                    // An arm conducts nothing at rest: what is open then carries no spark either.
                    branch.parted |= branch.is_arm;
                }
            }
            Alteration::Ohm { branch, ohm } => {
                for id in self.contacts_of(branch) {
                    self.branch_mut(&id)?.kind = BranchKind::Ohm(*ohm);
                }
            }
            Alteration::Series { branch, ohm } if self.branch(branch).is_err() => {
                for id in self.contacts_of(branch) {
                    self.alter(&Alteration::Series { branch: id, ohm: *ohm })?;
                }
            }
            Alteration::Series { branch, ohm } => {
                let nth = self.branches.iter().filter(|b| Self::in_series(b, branch)).count();
                let b = self.far_piece(branch)?;
                // Names of its own for each: two faults can be at one branch.
                let (id, inner) =
                    (format!("{branch} (series {nth})"), Name::from(format!("{branch} (series {nth}).in")));
                let end = std::mem::replace(&mut b.b, inner.clone());
                let (part, is_wire) = (b.part.clone(), b.is_wire);
                let (id, kind) = (Name::from(id), BranchKind::Ohm(*ohm));
                self.branches.push(Branch {
                    id,
                    part,
                    a: inner,
                    b: end,
                    kind,
                    parted: false,
                    is_winding: false,
                    is_wire,
                    is_arm: false,
                });
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
                    let farad = self.figures.condenser_farad.values().next().copied().unwrap_or(TEST_FARAD);
                    BranchKind::Capacitor { farad, leak_ohm: TEST_LEAK_OHM }
                }
                n if n.contains("jumper") || n.contains("clip") => BranchKind::Ohm(JUMPER_OHM),
                n => return Err(unknown("fitted thing (jumper, clip, bulb, condenser)", n)),
            };
            self.push(name, name, a, b, kind);
        }
        Ok(())
    }

    /// Turns a distributor's arm to one of its outer terminals.
    pub(super) fn face(&mut self, outer: &str) {
        for branch in self.branches.iter_mut().filter(|branch| branch.sparks_over() && branch.b == outer) {
            branch.kind = BranchKind::Ohm(ARM_OHM);
        }
    }

    /// Disconnects what is unplugged.
    fn part(&mut self, bike: &Bike, state: &BikeState) -> Result<(), CircuitError> {
        for id in &state.unplugged {
            let Some(part) = bike.part(id) else { return Err(unknown("part that unplugs", id)) };
            let ends: Vec<String> = match &part.kind.unplugs {
                Unplugs::At(ends) => ends.iter().map(|end| part.terminal(end)).collect(),
                _ => Vec::new(),
            };
            // What takes both its wires off at one terminal only leaves the rest where it is; without wires there, the part itself is off.
            let at = |branch: &Branch| ends.iter().any(|end| branch.a == *end || branch.b == *end);
            let mut found = false;
            for branch in &mut self.branches {
                let hit = match ends.as_slice() {
                    [] => branch.part == *id,
                    // A short at the first of several terminals stays with the removed wire; one at the last stays with the part.
                    [first, _, ..] => {
                        (branch.is_wire && at(branch))
                            || (branch.is_joint() && (branch.a == *first || branch.b == *first))
                    }
                    [_] => branch.is_wire && at(branch),
                };
                branch.parted |= hit;
                found |= hit;
            }
            if !found && !ends.is_empty() {
                for branch in self.branches.iter_mut().filter(|branch| branch.part == *id) {
                    branch.parted = true;
                    found = true;
                }
            }
            if !found {
                return Err(unknown("part that unplugs", id));
            }
        }
        // A tester on a lead's end or on the coil's tower takes the place of all that hangs there; what is measured stays.
        if let Some(tool) = state.instrument.as_ref().filter(|tool| tool.kind == InstrumentKind::SparkTester) {
            let first = tool.first.as_str();
            let plug = bike.plugs.iter().find(|plug| plug.ends[0] == first);
            // A plug watched at its own gap sits in its cap, with its thread clamped to the engine.
            let own = plug.filter(|plug| plug.ends[1] == tool.second);
            let bare = bike.plugs.iter().find(|plug| plug.cap_ends[0] == first && plug.cap_ends[0] != plug.ends[0]);
            let is_tower = bike.coils.iter().any(|coil| coil.towers.contains(&tool.first));
            for branch in &mut self.branches {
                let here = branch.a == first || branch.b == first;
                if let Some(plug) = own {
                    let seat = branch.is_wire && (branch.a == plug.ends[1] || branch.b == plug.ends[1]);
                    let top = branch.is_wire && (branch.a == plug.ends[0] || branch.b == plug.ends[0]);
                    branch.parted &= !(seat || top);
                } else if is_tower {
                    branch.parted |= branch.is_wire && here;
                } else if let Some(plug) = bare {
                    branch.parted |= plug.cap.as_ref().is_some_and(|cap| branch.part == *cap);
                }
            }
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
        let mut network = Network::sized(&self.ground, self.branches.len() + 1);
        for branch in &self.branches {
            let (a, b) = (network.node_named(&branch.a), network.node_named(&branch.b));
            let kind = match (&branch.kind, branch.ohm()) {
                (BranchKind::Emf(volt), _) if !branch.parted => Kind::Voltage(*volt),
                (BranchKind::Lamp(lamp), Some(_)) => Kind::Lamp(*lamp),
                (BranchKind::Diode { diode, turned }, _) if !branch.parted => {
                    let (anode, cathode) = if *turned { (b, a) } else { (a, b) };
                    network.add_named(branch.id.clone(), anode, cathode, Kind::Diode(*diode))?;
                    continue;
                }
                (_, Some(ohm)) => Kind::Resistor(ohm),
                _ => continue,
            };
            network.add_named(branch.id.clone(), a, b, kind)?;
        }
        Ok(network)
    }

    /// The terminals connected to `from` through branches of at most `ohm` each, excluding sources and `without`.
    pub(super) fn reach(&self, from: &str, ohm: f64, without: impl Fn(&Branch) -> bool) -> BTreeSet<Name> {
        self.connected(from, |b| b.ohm().is_some_and(|o| o <= ohm) && !without(b))
    }

    /// The same for a spark from a coil's tower: not through windings, but over a distributor's arm.
    pub(super) fn reach_by_spark(&self, from: &str, ohm: f64) -> BTreeSet<Name> {
        self.connected(from, |b| b.sparks_over() || (!b.is_winding() && b.ohm().is_some_and(|o| o <= ohm)))
    }

    fn connected(&self, from: &str, conducts: impl Fn(&Branch) -> bool) -> BTreeSet<Name> {
        let mut ways: Vec<&Branch> = self.branches.iter().filter(|b| conducts(b)).collect();
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
