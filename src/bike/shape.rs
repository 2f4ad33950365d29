//! The spelling of a bike's file, as tables: what it may hold, for reading and for the JSON Schema.

use crate::trade::Unit;
use crate::written::shape::Shape::{Dict, List, Number, Object, OneOf, Text};
use crate::written::shape::TextFor::{Id, Words};
use crate::written::shape::{self, needed, optional};

/// The only ignition that these tests are for.
pub(super) const IGNITION: &str = "battery-and-coil-points";
/// System voltages, volt.
const VOLT: (f64, f64) = (4.0, 24.0);
/// Largest resistance of a primary or a ballast, ohm.
const OHM: f64 = 100.0;

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
        optional("ballast", Object(&BALLAST), "The ballast resistor in the feed, where there is one."),
        optional("fuse", Object(&FUSE), "The main fuse, where there is one."),
        needed("key", Object(&KEY), "The key switch."),
        optional("kill", Object(&KILL), "The kill switch, where there is one."),
        needed("points", Dict(1, Id, &Object(&POINTS)), "Contact-points sets by id."),
        needed("coils", Dict(1, Id, &Object(&COIL)), "Ignition coils by id."),
        needed("condensers", Dict(1, Id, &Object(&CONDENSER)), "Condensers by id."),
        needed("plugs", Dict(1, Id, &Object(&PLUG)), "Spark plugs by id."),
        needed("connectors", Dict(1, Id, &Object(&CONNECTOR)), "Connectors that can be parted by hand, by id."),
        needed("wires", List(1, usize::MAX, &Object(&WIRE)), "Wires, each between two terminals."),
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

static BALLAST: shape::Object =
    shape::Object { what: "a ballast", fields: &[needed("ohm", Number(0.01, OHM), "Resistance, ohm.")] };
static FUSE: shape::Object = shape::Object {
    what: "a fuse",
    fields: &[
        needed("ampere", Number(0.1, 100.0), "Rating, ampere."),
        needed("where", Text(Words), "Where it is, in words."),
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
            "Each position, in order, and whether it `connects` or `opens`.",
        ),
    ],
};
static SIDE: shape::Shape = OneOf("side", || vec!["left", "right", "centre"]);
static POINTS: shape::Object = shape::Object {
    what: "a points set",
    fields: &[
        needed("side", shape::Shape::Ref("side", &SIDE), "The rider's side that it serves."),
        needed("coil", Text(Id), "The id of the coil it switches."),
        needed("connector", Text(Id), "The id of the connector between it and the coil."),
    ],
};
static COIL: shape::Object = shape::Object {
    what: "a coil",
    fields: &[
        needed("side", shape::Shape::Ref("side", &SIDE), "The rider's side that it serves."),
        needed("plugs", List(1, 2, &Text(Id)), "The ids of the plugs it fires: one, or two with wasted spark."),
        needed("primary-ohm", Number(0.1, OHM), "Primary resistance at 20 degrees Celsius, ohm."),
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
    fields: &[needed("side", shape::Shape::Ref("side", &SIDE), "The rider's side of its cylinder.")],
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
