//! The allowed shape of a bike file, as tables. Used for reading and for the JSON Schema.

use crate::source::shape::Shape::{Dict, List, Number, Object, OneOf, Text};
use crate::source::shape::TextFor::{Id, Words};
use crate::source::shape::{self, needed, optional};
use crate::units::Unit;

/// The only supported kind of ignition.
pub(super) const IGNITION: &str = "battery-and-coil-points";
/// System voltages, volt.
const VOLT: (f64, f64) = (4.0, 24.0);
/// Most wires. A four-cylinder bike has about thirty. The circuit's equations grow with the square of the number.
const MOST_WIRES: usize = 100;
/// Most parts of each kind.
pub(super) const MOST_PARTS: usize = 40;
/// Highest resistance of a primary or a ballast, ohm.
const OHM: f64 = 100.0;
/// A battery's state of charge, from empty to full.
pub(super) const CHARGE: (f64, f64) = (0.0, 1.0);
/// Two turns of the crank, degree: one turn of a camshaft.
pub(super) const TURN: f64 = 720.0;
/// Resistance of a closed contact, ohm.
static CONTACT: shape::Shape = Number(1e-6, OHM);

/// A bike.
pub static BIKE: shape::Object = shape::Object {
    what: "a bike",
    fields: &[
        needed("bike", Text(Words), "The spoken name."),
        needed("maker", Text(Words), "The (invented) maker."),
        needed("ignition", OneOf("ignition", || vec![IGNITION]), "battery-and-coil-points; anything else is refused."),
        needed("volt", Number(VOLT.0, VOLT.1), "System voltage, volt: 6 or 12."),
        needed(
            "ground",
            OneOf("polarity", || vec!["negative", "positive"]),
            "The battery terminal that is wired to the frame.",
        ),
        needed("starter", OneOf("starter", || vec!["kick", "electric", "both"]), "How the engine is turned."),
        optional("battery", Object(&BATTERY), "The battery by its state of charge."),
        optional("test-lamp", Object(&LAMP), "The test lamp that is used with it."),
        optional("ballast", Object(&BALLAST), "The ballast resistor in the feed, where there is one."),
        optional("fuse", Object(&FUSE), "The main fuse, where there is one."),
        needed("key", Object(&KEY), "The key switch."),
        optional("kill", Object(&KILL), "The kill switch, where there is one."),
        needed("points", Dict(1, Id, &Object(&POINTS)), "Contact-points sets by id."),
        needed("coils", Dict(1, Id, &Object(&COIL)), "Ignition coils by id."),
        needed("condensers", Dict(1, Id, &Object(&CONDENSER)), "Condensers by id."),
        needed("plugs", Dict(1, Id, &Object(&PLUG)), "Spark plugs by id."),
        needed("connectors", Dict(1, Id, &Object(&CONNECTOR)), "Connectors that can be parted by hand, by id."),
        needed("wires", List(1, MOST_WIRES, &Object(&WIRE)), "Wires, each between two terminals."),
        optional(
            "terminals",
            Dict(0, Words, &Text(Words)),
            "Spoken names of terminals, where the part's name does not say it.",
        ),
        optional(
            "specified",
            Dict(0, Id, &Object(&SPECIFIED)),
            "Values that the maker specifies: points-gap, plug-gap, coil-primary, dwell, timing.",
        ),
    ],
};

static CHARGES: shape::Shape = Number(CHARGE.0, CHARGE.1);
static VOLTS: shape::Shape = Number(0.1, 2.0 * VOLT.1);
static BATTERY: shape::Object = shape::Object {
    what: "a battery",
    fields: &[
        needed("charge", List(1, 50, &CHARGES), "States of charge, rising: 0 empty, 1 full."),
        needed("volt", List(1, 50, &VOLTS), "Open-circuit voltage at each, volt."),
        needed("ohm", List(1, 50, &CONTACT), "Internal resistance at each, ohm."),
    ],
};
static LAMP: shape::Object = shape::Object {
    what: "a test lamp",
    fields: &[needed("watt", Number(0.1, 100.0), "Rated power at the bike's voltage.")],
};
static BALLAST: shape::Object =
    shape::Object { what: "a ballast", fields: &[needed("ohm", Number(0.01, OHM), "Resistance, ohm.")] };
static FUSE: shape::Object = shape::Object {
    what: "a fuse",
    fields: &[
        needed("ampere", Number(0.1, 100.0), "Rating, ampere."),
        needed("where", Text(Words), "Where it is, in words."),
        optional("ohm", Number(1e-6, OHM), "Resistance with its holder, ohm."),
    ],
};
static POSITIONS: shape::Shape = OneOf("position", || vec!["connects", "opens"]);
static KEY: shape::Object = shape::Object {
    what: "a key switch",
    fields: &[
        needed("where", Text(Words), "Where it is, in words."),
        needed(
            "positions",
            Dict(2, Words, &POSITIONS),
            "Each position, in order, and whether it `connects` or `opens`.",
        ),
        optional("ohm", Number(1e-6, OHM), "Resistance of its closed contact, ohm."),
    ],
};
static KILL: shape::Object = shape::Object {
    what: "a kill switch",
    fields: &[
        needed("where", Text(Words), "Where it is, in words."),
        needed(
            "does",
            OneOf("kill switch's action", || vec!["opens-feed", "grounds-points"]),
            "What it does to stop the engine.",
        ),
        needed(
            "positions",
            Dict(2, Words, &POSITIONS),
            "Each position, in order, and whether its contact `connects` or `opens`.",
        ),
        optional("ohm", Number(1e-6, OHM), "Resistance of its closed contact, ohm."),
    ],
};
static SIDE: shape::Shape = OneOf("side", || vec!["left", "right", "centre"]);
static POINTS: shape::Object = shape::Object {
    what: "a points set",
    fields: &[
        needed("side", shape::Shape::Ref("side", &SIDE), "The rider's side that it serves."),
        needed("coil", Text(Id), "The id of the coil it switches."),
        needed("connector", Text(Id), "The id of the connector between it and the coil."),
        optional(
            "opens-at",
            Number(0.0, TURN),
            "Crank angle at which it opens, from one that the profile chooses, degree.",
        ),
        optional("closed", Number(1.0, TURN), "Crank angle over which it is closed between two openings, degree."),
        optional(
            "every",
            Number(1.0, TURN),
            "Crank angle from one opening to the next, degree: 720 or 360 for one lobe.",
        ),
        optional("ohm", Number(1e-6, OHM), "Resistance of its closed contacts, ohm."),
    ],
};
static COIL: shape::Object = shape::Object {
    what: "a coil",
    fields: &[
        needed("side", shape::Shape::Ref("side", &SIDE), "The rider's side that it serves."),
        needed("plugs", List(1, 2, &Text(Id)), "The ids of the plugs it fires: one, or two with wasted spark."),
        needed("primary-ohm", Number(0.1, OHM), "Primary resistance at 20 degrees Celsius, ohm."),
        optional("primary-henry", Number(1e-5, 1.0), "Primary inductance, henry."),
        optional("secondary-ohm", Number(10.0, 1e6), "Secondary resistance at 20 degrees Celsius, ohm."),
        optional("ratio", Number(1.0, 1000.0), "Secondary turns over primary turns."),
        optional("secondary-picofarad", Number(1.0, 10_000.0), "Capacitance of secondary, lead and plug together."),
    ],
};
static CONDENSER: shape::Object = shape::Object {
    what: "a condenser",
    fields: &[
        needed("points", Text(Id), "The id of the points set it is across."),
        needed(
            "half",
            OneOf("half of a points connector", || vec!["coil-side", "points-side"]),
            "The half of the points connector it hangs on.",
        ),
        needed("microfarad", Number(0.001, 100.0), "Capacitance, microfarad."),
    ],
};
static PLUG: shape::Object = shape::Object {
    what: "a plug",
    fields: &[
        needed("side", shape::Shape::Ref("side", &SIDE), "The rider's side of its cylinder."),
        optional("cap-ohm", Number(1e-3, 1e6), "Resistance of its cap, ohm."),
    ],
};
static CONNECTOR: shape::Object = shape::Object {
    what: "a connector",
    fields: &[
        needed("words", Text(Words), "Spoken name: left points connector."),
        needed(
            "halves",
            List(2, 2, &OneOf("half of a connector", || vec!["supply-side", "load-side", "coil-side", "points-side"])),
            "Its two halves, first the one nearer to the battery.",
        ),
        needed("where", Text(Words), "Where it is, in words."),
        optional("ohm", Number(1e-6, OHM), "Resistance when it is joined, ohm."),
    ],
};
static WIRE: shape::Object = shape::Object {
    what: "a wire",
    fields: &[
        needed("from", Text(Words), "A terminal, such as battery.live."),
        needed("to", Text(Words), "The terminal at its other end."),
        needed("colour", Text(Words), "IEC 60757 letter codes: GN, or GN-WH for green with a white tracer."),
        optional("metre", Number(0.0, 100.0), "Length, metre."),
        optional("mm2", Number(0.01, 100.0), "Cross-section, square millimetre."),
    ],
};
static SPECIFIED: shape::Object = shape::Object {
    what: "a specified value",
    fields: &[
        needed("low", Number(f64::MIN, f64::MAX), "Lowest good value."),
        needed("high", Number(f64::MIN, f64::MAX), "Highest good value."),
        needed("unit", OneOf("unit", || Unit::ALL.iter().map(|u| u.name()).collect()), "The unit of both."),
        needed("source", Text(Words), "Where the figure comes from."),
    ],
};
