//! The profile of one bike: its parts, the wires between them, and the roles that parts have by their place in the wiring.
//! `procedures/FORMAT.md` documents the format.

use crate::parts::{Ends, PartKind, Terminals, Unplugs};
use crate::source::{Place, Written};
use crate::units::names;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

names! {
    /// The battery terminal that is wired to the frame.
    Polarity {
        /// Negative terminal to ground.
        Negative = "negative",
        /// Positive terminal to ground.
        Positive = "positive",
    }
}

names! {
    /// How the engine is turned.
    Starter {
        /// Kickstarter only.
        Kick = "kick",
        /// Electric starter only.
        Electric = "electric",
        /// Both.
        Both = "both",
    }
}

names! {
    /// A side of the bike, as the rider sits on it.
    Side {
        /// The rider's left.
        Left = "left",
        /// The rider's right.
        Right = "right",
        /// Neither: on the centre line, or the only one.
        Centre = "centre",
    }
}

names! {
    /// The shaft that the points cam turns with.
    Shaft {
        /// The crankshaft: one turn of the cam is 360 degrees of the crank.
        Crank = "crank",
        /// The camshaft: one turn of the cam is 720 degrees of the crank.
        Camshaft = "camshaft",
    }
}

/// One position of a switch.
#[derive(Debug, Clone, PartialEq)]
pub struct SwitchPosition {
    /// As marked on the switch: `off`, `on`, `run`, `park`.
    pub name: Written<String>,
    /// The terminals that it joins, by their full names.
    pub contacts: Vec<[String; 2]>,
    /// Whether the ignition works in this position; on a switch that the ignition does not need, whether it joins anything.
    pub works: bool,
}

/// What a switch does to the ignition.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SwitchAction {
    /// Opens the feed to the coils.
    OpensFeed,
    /// Grounds the points wires.
    GroundsPoints,
    /// Neither.
    Apart,
}

/// A switch, with what its positions do.
#[derive(Debug, Clone, PartialEq)]
pub struct Switch {
    /// The part's id.
    pub part: String,
    /// The name that a step's state uses: `key`, `kill`, or the part's id.
    pub name: String,
    /// Its positions, in order.
    pub positions: Vec<SwitchPosition>,
    /// How it stops the engine.
    pub action: SwitchAction,
    /// Where it is, in words.
    pub location: String,
    /// It is pressed while the engine is cranked, and only then.
    pub cranks: bool,
}

/// A fuse.
#[derive(Debug, Clone, PartialEq)]
pub struct Fuse {
    /// The part's id.
    pub part: String,
    /// Rating, ampere.
    pub ampere: f64,
    /// Where it is, in words.
    pub location: String,
}

/// One set of contact points, and what it fires.
#[derive(Debug, Clone, PartialEq)]
pub struct PointsSet {
    /// Its short name: `left`.
    pub id: String,
    /// The part's id: `points-left`.
    pub part: String,
    /// The side it serves, as spoken.
    pub side: Side,
    /// The short name of the coil it switches. Empty if the wiring shows none.
    pub coil: String,
    /// The id of the connector that separates its wire from the coil, if there is one.
    pub connector: Option<String>,
    /// Its terminal on the coil's side, and its grounded one.
    pub ends: [String; 2],
}

/// One ignition coil.
#[derive(Debug, Clone, PartialEq)]
pub struct Coil {
    /// Its short name.
    pub id: String,
    /// The part's id.
    pub part: String,
    /// The side it serves.
    pub side: Side,
    /// Short names of the plugs it fires, in the order of its towers.
    pub plugs: Vec<String>,
    /// The terminal that is fed, and the one that the points ground.
    pub ends: [String; 2],
    /// The terminals that its plug leads come from: one, or two with a wasted spark.
    pub towers: Vec<String>,
}

/// One condenser.
#[derive(Debug, Clone, PartialEq)]
pub struct Condenser {
    /// Its short name.
    pub id: String,
    /// The part's id.
    pub part: String,
    /// The side of its points set.
    pub side: Side,
    /// The short name of the points set that it is connected across.
    pub points: String,
    /// The terminal of the points connector on the side that it hangs on. Empty without a connector.
    pub half: String,
    /// Its live terminal, and its grounded one.
    pub ends: [String; 2],
}

/// One spark plug.
#[derive(Debug, Clone, PartialEq)]
pub struct Plug {
    /// Its short name.
    pub id: String,
    /// The part's id.
    pub part: String,
    /// The side of its cylinder.
    pub side: Side,
    /// The part that is pulled off it, if there is one: its cap.
    pub cap: Option<String>,
    /// The terminals of the cap where the lead ends, and on the plug. Both are the plug's own top without a cap.
    pub cap_ends: [String; 2],
    /// The plug's top, and its thread.
    pub ends: [String; 2],
    /// The lead that ends at it: a wire's id.
    pub lead: Option<String>,
    /// The coil terminal that its lead comes from.
    pub tower: Option<String>,
}

/// A connector that can be unplugged by hand.
#[derive(Debug, Clone, PartialEq)]
pub struct Connector {
    /// Its id.
    pub id: String,
    /// Spoken name: "left points connector".
    pub words: String,
    /// The names of its two halves, first the one nearer to the battery, or to the coil.
    pub halves: [String; 2],
    /// Where it is, in words.
    pub location: String,
}

/// A wire between two terminals, or, without a colour, two parts that touch. A terminal is written `part.terminal`.
#[derive(Debug, Clone, PartialEq)]
pub struct Wire {
    /// One end.
    pub from: Written<String>,
    /// The other end.
    pub to: Written<String>,
    /// IEC 60757 letter codes: `GN`, or `GN-WH` for a green wire with a white tracer. `None`: the two parts touch without a wire.
    pub colour: Option<Written<String>>,
    /// Length, metre, if known.
    pub metre: Option<f64>,
    /// Cross-section, square millimetre, if known.
    pub mm2: Option<f64>,
    /// Its purpose, found in the wiring.
    pub role: WireRole,
}

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
        /// Of the way from the engine to the battery's ground terminal.
        Ground = "ground",
        /// To a switch that grounds the points wires.
        Kill = "kill",
        /// From a coil to a plug: a high-tension lead.
        Lead = "lead",
        /// Where a plug's cap touches the plug.
        CapSeat = "cap-seat",
        /// From a plug's thread to the engine: its seat in the head.
        Seat = "seat",
        /// None of these: lamps, charging, starter.
        Other = "other",
    }
}

/// A value specified by the maker.
#[derive(Debug, Clone, PartialEq)]
pub struct Specified {
    /// Lowest good value.
    pub low: f64,
    /// Highest good value.
    pub high: f64,
    /// The unit of both.
    pub unit: crate::units::Unit,
    /// The source of the figure.
    pub source: String,
}

/// A part of the bike.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// Its id.
    pub id: Written<String>,
    /// What it is.
    pub kind: Arc<PartKind>,
    /// Its own words, if the profile gives them.
    pub words: Option<String>,
    /// Its side.
    pub side: Side,
    /// Where it is, in words.
    pub location: String,
    /// The values that the profile gives.
    pub values: BTreeMap<String, f64>,
    /// The names of its two halves, if it is a connector.
    pub halves: Option<[String; 2]>,
    /// Its positions, if it is a switch: each with the full names of the terminals that it joins.
    pub positions: Vec<(Written<String>, Vec<[String; 2]>)>,
}

impl Part {
    /// The id without its kind: `coil-left` is `left`. Without the kind in front it is the whole id.
    pub fn short_id(&self) -> &str {
        short_id(&self.id, &self.kind.id)
    }

    /// The full name of one of its terminals.
    pub fn terminal(&self, name: &str) -> String {
        format!("{}.{name}", *self.id)
    }

    /// The full names of its terminals.
    pub fn terminals(&self) -> Vec<String> {
        match &self.kind.terminals {
            Terminals::Itself => vec![self.id.value.clone()],
            Terminals::Named(named) => named.iter().map(|(name, _)| self.terminal(name)).collect(),
            Terminals::Given => {
                let halves = self.halves.iter().flatten().map(|half| self.terminal(half));
                let contacts = self.positions.iter().flat_map(|(_, contacts)| contacts.iter().flatten().cloned());
                halves.chain(contacts).collect::<BTreeSet<_>>().into_iter().collect()
            }
        }
    }

    /// The full names of the terminals that a primitive is joined to. Empty for a switch, whose contacts are in its positions.
    pub fn ends(&self, ends: &Ends) -> Vec<String> {
        match ends {
            Ends::Named(named) => named.iter().map(|name| self.terminal(name)).collect(),
            Ends::Halves => self.halves.iter().flatten().map(|half| self.terminal(half)).collect(),
            Ends::Positions => Vec::new(),
        }
    }

    /// Whether it can be unplugged or removed.
    pub fn unplugs(&self) -> bool {
        self.kind.unplugs != Unplugs::Never
    }
}

/// `coil-left` of the kind `coil` is `left`, also where the kind is `coil-two-leads`.
fn short_id<'i>(id: &'i str, kind: &str) -> &'i str {
    let family = kind.split('-').next().unwrap_or(kind);
    let without = |prefix: &str| id.strip_prefix(prefix)?.strip_prefix('-').filter(|rest| !rest.is_empty());
    without(kind).or_else(|| without(family)).unwrap_or(id)
}

/// A bike's profile.
#[derive(Debug, Clone, PartialEq)]
pub struct Bike {
    /// Spoken name: "Borage Twin".
    pub name: String,
    /// Its (invented) maker.
    pub maker: String,
    /// System voltage, volt: 6 or 12.
    pub volt: f64,
    /// The grounded terminal.
    pub ground: Polarity,
    /// How the engine is started. `None` for what has no engine.
    pub starter: Option<Starter>,
    /// What the points cam turns with.
    pub points_cam: Option<Shaft>,
    /// Rated power of the test lamp that is used with it, watt.
    pub lamp_watt: Option<f64>,
    /// All parts, in the profile's order.
    pub parts: Vec<Part>,
    /// Wires.
    pub wires: Vec<Wire>,
    /// Spoken names of terminals that need a better name than their part's: `coil-left.points` -> "left coil, points side".
    pub terminals: BTreeMap<String, Written<String>>,
    /// Specified values by name: `points-gap`, `plug-gap`, `coil-primary`, `dwell`, `timing`.
    pub specified: BTreeMap<String, Specified>,
    /// The fuse of the feed or of the way home, if there is one.
    pub fuse: Option<Fuse>,
    /// The switches.
    pub switches: Vec<Switch>,
    /// Contact-points sets.
    pub points: Vec<PointsSet>,
    /// Ignition coils.
    pub coils: Vec<Coil>,
    /// Condensers.
    pub condensers: Vec<Condenser>,
    /// Spark plugs.
    pub plugs: Vec<Plug>,
    /// Connectors.
    pub connectors: Vec<Connector>,
    /// The terminals of the battery: live, grounded. `None` without a battery.
    pub battery: Option<[String; 2]>,
    /// The terminals that hang together with the battery's grounded one, through no load.
    pub grounded: BTreeSet<String>,
    /// The profile's place.
    pub place: Place,
}

impl Bike {
    /// The part with this id.
    pub fn part(&self, id: &str) -> Option<&Part> {
        self.parts.iter().find(|part| *part.id == id)
    }

    /// The part that has this terminal.
    pub fn part_at(&self, terminal: &str) -> Option<&Part> {
        self.part(terminal.split_once('.').map_or(terminal, |(part, _)| part))
    }

    /// The switch with this name in a step's state (`key`, `kill`, or a part's id), if the bike has it.
    pub fn switch(&self, name: &str) -> Option<&Switch> {
        self.switches.iter().find(|switch| switch.name == name || switch.part == name)
    }
}

impl Switch {
    /// The first position in which the ignition works (`true`), or does not.
    pub fn position(&self, works: bool) -> Option<&str> {
        self.positions.iter().find(|p| p.works == works).map(|p| p.name.as_str())
    }
}

impl Wire {
    /// Its name as a part and as a branch of the circuit: `key.load to kill.supply`.
    pub fn id(&self) -> String {
        format!("{} to {}", *self.from, *self.to)
    }
}
