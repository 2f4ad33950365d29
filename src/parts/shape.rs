//! The allowed shape of a part kind's file, as tables. Used for reading and for the JSON Schema.

use crate::source::shape::Shape::{ByKind, Dict, List, Number, Object, OneOf, Tagged, Text, Truth};
use crate::source::shape::TextFor::{Expression, Id, Template, Words};
use crate::source::shape::{self, Shape, needed, optional};
use crate::units::Unit;

/// Most values, terminals or primitives of one kind.
const MOST: usize = 30;

/// A kind of part.
pub static PART: shape::Object = shape::Object {
    what: "a kind of part",
    fields: &[
        needed("part", Text(Id), "The kind's name: the file's own name without .yaml."),
        needed("words", Text(Template), "What it is called aloud. Given: `side` and `id`."),
        needed(
            "terminals",
            ByKind(&TERMINALS),
            "Its terminals, each with its words; `given`: the profile names them; `itself`: it is one terminal.",
        ),
        optional("values", Dict(0, Id, &Object(&VALUE)), "The values that it has. A later one may use an earlier one."),
        optional("unplugs", ByKind(&UNPLUGS), "`whole`: it comes apart or out; or the terminals whose wires come off."),
        optional("model", List(1, MOST, &Tagged("a primitive", &PRIMITIVES)), "What it is to the current."),
        optional("cranks", Truth, "It is pressed while the engine is cranked, and only then."),
    ],
};

static TERMINALS: [&Shape; 2] = [&TERMINAL_WORD, &Dict(1, Id, &Text(Template))];
static TERMINAL_WORD: Shape = OneOf("kind of terminals", || vec!["given", "itself"]);
static UNPLUGS: [&Shape; 2] = [&UNPLUG_WORD, &List(1, MOST, &Text(Id))];
static UNPLUG_WORD: Shape = OneOf("way to unplug", || vec!["whole"]);

static VALUE: shape::Object = shape::Object {
    what: "a value",
    fields: &[
        needed("unit", OneOf("unit", || Unit::ALL.iter().map(|unit| unit.name()).collect()), "Its unit."),
        optional("usual", Text(Expression), "The typical value; without one the profile has to give it."),
        needed("low", Number(-1e12, 1e12), "The lowest that a profile may give."),
        needed("high", Number(-1e12, 1e12), "The highest that a profile may give."),
        optional("spread", Number(0.0, 1.0), "How much a sound part may differ, as a share either way."),
        optional(
            "times",
            List(2, 2, &Number(0.0, 1e6)),
            "Lowest and highest factor of a sound part, even in the logarithm.",
        ),
        needed("about", Text(Words), "What it is."),
        optional("source", Text(Words), "Where the typical value comes from."),
    ],
};

static ENDS: Shape = List(2, MOST, &Text(Id));
static BY_CHARGE: Shape = List(2, MOST, &Text(Expression));

macro_rules! primitives {
    ($($tag:literal $what:literal ($shape:expr, $about:literal) $([$name:literal $says:literal])* $({$list:literal $list_says:literal})* $(<$maybe:literal $maybe_says:literal>)*;)*) => {
        [$(($tag, shape::Object {
            what: $what,
            fields: &[
                needed($tag, $shape, $about),
                $(needed($name, Text(Expression), $says),)*
                $(needed($list, Shape::Ref("by-charge", &BY_CHARGE), $list_says),)*
                $(optional($maybe, Text(Expression), $maybe_says),)*
                optional("name", Text(Id), "Its name within the part; without one its branch has the part's id."),
            ],
        })),*]
    };
}

static HALVES: [&Shape; 2] = [&HALVES_WORD, &ENDS];
static HALVES_WORD: Shape = OneOf("place of a resistance", || vec!["halves"]);
const POSITIONS: Shape = OneOf("contacts of a switch", || vec!["positions"]);
const TWO: Shape = Shape::Ref("ends", &ENDS);

/// Every primitive, identified by its first field.
static PRIMITIVES: [(&str, shape::Object); 13] = primitives![
    "resistance" "a resistance" (ByKind(&HALVES), "Two terminals, or the two `halves` that the profile names.") ["ohm" "Ohm."] <"blows-at" "It is a fuse of this rating, ampere.">;
    "inductance" "an inductance" (TWO, "Two terminals.") ["ohm" "Resistance of the winding, ohm."] ["henry" "Henry."];
    "capacitance" "a capacitance" (TWO, "Two terminals.") ["microfarad" "Microfarad."] ["leak-ohm" "Insulation, ohm."];
    "source" "a source" (TWO, "Two terminals: the live one, and the grounded one.") ["charge" "State of charge, 0 to 1."]
        {"volt" "Open-circuit voltage from empty to full, volt."} {"ohm" "Internal resistance from empty to full, ohm."};
    "switch" "a switch" (POSITIONS, "`positions`: the profile gives positions and contacts.") ["ohm" "Resistance of a closed contact, ohm."];
    "diode" "a diode" (TWO, "Anode and cathode.") ["saturation" "Saturation current, ampere."] ["emission" "Emission coefficient."] <"sign" "-1 turns it round.">;
    "filament" "a filament" (TWO, "Two terminals.") ["volt" "Rated voltage, volt."] ["watt" "Rated power, watt."];
    "windings" "coupled windings" (TWO, "Both ends of the primary, then both of the secondary.") ["primary-ohm" "Primary, ohm."] ["primary-henry" "Primary, henry."] ["saturation-ampere" "Primary current at which the iron saturates, ampere."]
        ["secondary-ohm" "Secondary, ohm."] ["ratio" "Turns of the secondary over those of the primary."] ["secondary-farad" "Capacitance of the secondary and all on it, farad."]
        ["passed-on" "Share of the energy that is passed on."] <"polarity" "-1 turns the spark's polarity round.">;
    "gap" "a spark gap" (TWO, "Two terminals.") ["millimetre" "Gap, millimetre."];
    "breaker" "a breaker" (TWO, "Two terminals.") ["ohm" "Resistance when closed, ohm."] ["millimetre" "Gap when open, millimetre."]
        ["opens-at" "Crank angle at which it opens, degree."] ["closed" "Crank angle over which it is closed, degree."] ["every" "Crank angle from one opening to the next, degree."];
    "selector" "a selector" (TWO, "The arm's terminal, then the outer ones in the order in which the arm comes to them.");
    "generator" "a generator" (TWO, "Two terminals.") ["volt" "Voltage while the engine runs, volt."] ["ohm" "Resistance, ohm."];
    "motor" "a motor" (TWO, "Two terminals.") ["ohm" "Resistance while it turns the engine, ohm."];
];
