//! The allowed shape of a bike file, as tables. Used for reading and for the JSON Schema.

use super::{Polarity, Shaft, Side, Starter};
use crate::source::shape::Shape::{ByKind, Dict, List, Number, Object, OneOf, Text};
use crate::source::shape::TextFor::{Id, Words};
use crate::source::shape::{self, Shape, needed, optional};
use crate::units::Unit;

/// System voltages, volt.
const VOLT: (f64, f64) = (4.0, 24.0);
/// Most wires. A four-cylinder bike has about thirty. The circuit's equations grow with the square of the number.
const MOST_WIRES: usize = 200;
/// Most parts.
pub(super) const MOST_PARTS: usize = 100;
/// Most contacts of one position of a switch.
const MOST_CONTACTS: usize = 20;

/// A bike.
pub static BIKE: shape::Object = shape::Object {
    what: "a bike",
    fields: &[
        needed("bike", Text(Words), "The spoken name."),
        needed("maker", Text(Words), "The (invented) maker."),
        needed("volt", Number(VOLT.0, VOLT.1), "System voltage, volt: 6 or 12."),
        needed(
            "ground",
            OneOf("polarity", || Polarity::ALL.iter().map(|one| one.name()).collect()),
            "The battery terminal that is wired to the frame.",
        ),
        optional(
            "starter",
            OneOf("starter", || Starter::ALL.iter().map(|one| one.name()).collect()),
            "How the engine is turned, if there is one.",
        ),
        optional(
            "points-cam",
            OneOf("shaft", || Shaft::ALL.iter().map(|one| one.name()).collect()),
            "What the points cam turns with: the crank, or the camshaft at half its speed.",
        ),
        optional("test-lamp", Object(&LAMP), "The test lamp that is used with it."),
        needed("parts", Dict(1, Id, &PART), "Its parts by id: each a kind of the catalogue, with its values."),
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

static LAMP: shape::Object = shape::Object {
    what: "a test lamp",
    fields: &[needed("watt", Number(0.1, 100.0), "Rated power at the bike's voltage.")],
};

/// A part is a mapping. Its kind says which fields it may have; `load` checks them.
static PART: Shape = Dict(1, Id, &FIELD);
static FIELD: Shape = ByKind(&FIELDS);
static FIELDS: [&Shape; 4] = [&Text(Words), &Number(-1e12, 1e12), &List(2, 2, &Text(Id)), &POSITIONS];
static POSITIONS: Shape = Dict(2, Words, &CONTACTS);
static CONTACTS: Shape = List(0, MOST_CONTACTS, &CONTACT);
static CONTACT: Shape = List(2, 2, &Text(Id));

static WIRE: shape::Object = shape::Object {
    what: "a wire",
    fields: &[
        needed("from", Text(Words), "A terminal: part and terminal with a dot between."),
        needed("to", Text(Words), "The terminal at the other end."),
        optional(
            "colour",
            Text(Words),
            "Letter codes of IEC 60757: GN, or GN-WH with a tracer. Without it the two parts touch.",
        ),
        optional("metre", Number(0.001, 100.0), "Length, metre."),
        optional("mm2", Number(0.05, 100.0), "Cross-section, square millimetre."),
    ],
};

static SPECIFIED: shape::Object = shape::Object {
    what: "a specified value",
    fields: &[
        needed("low", Number(-1e9, 1e9), "Lowest good value."),
        needed("high", Number(-1e9, 1e9), "Highest good value."),
        needed("unit", OneOf("unit", || Unit::ALL.iter().map(|unit| unit.name()).collect()), "Unit of both."),
        needed("source", Text(Words), "Where the figures come from."),
    ],
};

/// Names of sides.
pub(super) fn sides() -> Vec<&'static str> {
    Side::ALL.iter().map(|side| side.name()).collect()
}
