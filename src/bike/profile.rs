//! The profile of one bike, decoded from its YAML file. `procedures/FORMAT.md` documents the format.

use crate::source::{Place, Written};
use std::collections::BTreeMap;

/// The battery terminal that is wired to the frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Polarity {
    /// Negative terminal to ground.
    Negative,
    /// Positive terminal to ground.
    Positive,
}

/// How the engine is turned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Starter {
    /// Kickstarter only.
    Kick,
    /// Electric starter only.
    Electric,
    /// Both.
    Both,
}

/// A side of the bike, as the rider sits on it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// The rider's left.
    Left,
    /// The rider's right.
    Right,
    /// Neither: on the centre line, or the only one.
    Centre,
}

/// One position of a switch.
#[derive(Debug, Clone, PartialEq)]
pub struct SwitchPosition {
    /// As marked on the switch: `off`, `on`, `run`, `park`.
    pub name: Written<String>,
    /// Whether the switch's contact is closed in this position, so that it passes the feed or, if it grounds the points, connects them to
    /// ground. (`kill: connects` in a step's state means something else: the position in which the ignition works.)
    pub connects: bool,
}

/// What a kill switch does in its off positions.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum KillAction {
    /// Opens the feed to the coils. The engine runs in the positions that connect.
    OpensFeed,
    /// Grounds the points wires. The engine runs in the positions that do not connect.
    GroundsPoints,
}

/// A key switch or a kill switch.
#[derive(Debug, Clone, PartialEq)]
pub struct Switch {
    /// Its positions, in order.
    pub positions: Vec<SwitchPosition>,
    /// How it stops the engine.
    pub action: KillAction,
    /// Where it is, in words.
    pub location: String,
}

/// The fuse of the main feed.
#[derive(Debug, Clone, PartialEq)]
pub struct Fuse {
    /// Rating, ampere.
    pub ampere: f64,
    /// Where it is, in words.
    pub location: String,
}

/// One set of contact points.
#[derive(Debug, Clone, PartialEq)]
pub struct PointsSet {
    /// Its id: `left`.
    pub id: Written<String>,
    /// The side it serves, as spoken.
    pub side: Side,
    /// The id of the coil it switches.
    pub coil: Written<String>,
    /// The id of the connector that separates its wire from the coil.
    pub connector: Written<String>,
}

/// One ignition coil.
#[derive(Debug, Clone, PartialEq)]
pub struct Coil {
    /// Its id.
    pub id: Written<String>,
    /// The side it serves.
    pub side: Side,
    /// Ids of the plugs it fires: one, or two with wasted spark.
    pub plugs: Vec<Written<String>>,
    /// Primary resistance at 20 degrees Celsius, ohm.
    pub primary_ohm: f64,
}

/// One condenser.
#[derive(Debug, Clone, PartialEq)]
pub struct Condenser {
    /// Its id.
    pub id: Written<String>,
    /// The points set that it is connected across.
    pub points: Written<String>,
    /// The half of the points connector it is connected to: `coil-side` or `points-side`.
    pub half: Written<String>,
    /// Capacitance, microfarad.
    pub microfarad: f64,
}

/// One spark plug.
#[derive(Debug, Clone, PartialEq)]
pub struct Plug {
    /// Its id.
    pub id: Written<String>,
    /// The side of its cylinder.
    pub side: Side,
}

/// A connector that can be unplugged by hand.
#[derive(Debug, Clone, PartialEq)]
pub struct Connector {
    /// Its id.
    pub id: Written<String>,
    /// Spoken name: "left points connector".
    pub words: String,
    /// Its two halves, first the one nearer to the battery along the feed: `supply-side`, `load-side`; for a points connector `coil-side`,
    /// `points-side`.
    pub halves: [String; 2],
    /// Where it is, in words.
    pub location: String,
}

/// A wire between two terminals. A terminal is written `part.terminal`: `battery.live`, `coil-left.feed`, `left-points.coil-side`.
#[derive(Debug, Clone, PartialEq)]
pub struct Wire {
    /// One end.
    pub from: Written<String>,
    /// The other end.
    pub to: Written<String>,
    /// IEC 60757 letter codes: `GN`, or `GN-WH` for a green wire with a white tracer.
    pub colour: Written<String>,
    /// Length, metre, if known.
    pub metre: Option<f64>,
    /// Cross-section, square millimetre, if known.
    pub mm2: Option<f64>,
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
    /// How the engine is started.
    pub starter: Starter,
    /// Resistance of the ballast resistor, ohm, if there is one.
    pub ballast_ohm: Option<f64>,
    /// The main fuse, if there is one.
    pub fuse: Option<Fuse>,
    /// The key switch.
    pub key: Switch,
    /// The kill switch, if there is one.
    pub kill: Option<Switch>,
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
    /// Wires.
    pub wires: Vec<Wire>,
    /// Spoken names of terminals that need a better name than their part's: `coil-left.points` -> "left coil, points side".
    pub terminals: BTreeMap<String, Written<String>>,
    /// Specified values by name: `points-gap`, `plug-gap`, `coil-primary`, `dwell`, `timing`.
    pub specified: BTreeMap<String, Specified>,
    /// Optional electrical data.
    pub electric: super::Electric,
    /// The profile's place.
    pub place: Place,
}
