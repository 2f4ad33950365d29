//! The allowed shape of a fault library file, as tables. Used for reading and for the JSON Schema.

use crate::bike::PointsAt;
use crate::source::shape::Shape::{Dict, List, Number, Object, OneOf, Tagged, Text};
use crate::source::shape::TextFor::{Expression, Id, Template, Words};
use crate::source::shape::{self, Shape, needed, optional};

/// Most items in any list written by hand.
const MANY: usize = 200;

/// A fault library.
pub static FAULTS: shape::Object = shape::Object {
    what: "a fault library",
    fields: &[
        needed("faults", Text(Id), "Its name: the file's own name without .yaml."),
        needed("source", Text(Words), "Where kinds, severities and likelihoods come from."),
        needed("outside", List(1, MANY, &Text(Words)), "What it does not hold, in words."),
        needed("looks", Dict(1, Id, &Object(&LOOK)), "What can be looked at, smelt or felt, by name."),
        needed("kinds", Dict(1, Id, &Object(&KIND)), "Kinds of fault by name."),
    ],
};

static LOOK: shape::Object = shape::Object {
    what: "a look",
    fields: &[
        needed("words", Text(Words), "What is looked at."),
        needed("healthy", Text(Words), "What a healthy bike shows."),
    ],
};

static KIND: shape::Object = shape::Object {
    what: "a kind of fault",
    fields: &[
        needed("words", Text(Template), "The fault in words."),
        optional("over", Text(Expression), "The places it can be at: an expression that gives a list."),
        optional("bind", Text(Id), "The name of the place in templates and expressions."),
        optional("place", Text(Template), "The place's name in the fault's id; without it, the item's id."),
        optional("when", Text(Expression), "Only where this holds."),
        needed("parts", List(1, MANY, &Text(Template)), "What is at fault, or has to be taken out or renewed."),
        needed("cure", Text(Template), "What mends it, in a few words; faults with one cure on a bike are one cause."),
        needed("likelihood", Number(0.0, 1e6), "How often, for one place, relative to the others."),
        optional("severities", Object(&SEVERITIES), "Degrees of it; `severity` in expressions."),
        optional(
            "counts",
            Text(Expression),
            "Whether it has to be found, where the circuit cannot tell; without it, it has to if a plug then fails to fire.",
        ),
        optional("only-by-substitution", Text(Words), "What no lamp or meter separates from it, and what does."),
        needed("alter", List(0, MANY, &Tagged("an alteration", &ALTERATIONS)), "What it does to the wiring."),
        optional("looks", List(1, MANY, &Object(&SHOWN)), "What it shows to the eye."),
    ],
};

static SEVERITIES: shape::Object = shape::Object {
    what: "the severities",
    fields: &[
        needed("unit", Text(Words), "Their unit."),
        needed("values", List(1, MANY, &Number(f64::MIN, f64::MAX)), "Mildest first."),
    ],
};

static SHOWN: shape::Object = shape::Object {
    what: "a look's value",
    fields: &[
        needed("look", Text(Id), "One of `looks`."),
        needed("at", Text(Template), "The part it is seen on."),
        needed("is", Text(Words), "What is seen."),
    ],
};

static TWO: Shape = List(2, 2, &Text(Template));

macro_rules! alterations {
    ($($tag:literal $what:literal ($shape:expr, $about:literal) $([$name:literal $other:expr, $says:literal])*;)*) => {
        [$(($tag, shape::Object {
            what: $what,
            fields: &[needed($tag, $shape, $about) $(, needed($name, $other, $says))*],
        })),*]
    };
}

/// Every alteration, identified by its first field.
static ALTERATIONS: [(&str, shape::Object); 8] = alterations![
    "open" "an open branch" (Text(Template), "The branch.");
    "fixed" "a branch that always conducts" (Text(Template), "The branch.") ["ohm" Text(Expression), "Its resistance, ohm."];
    "series" "a resistance in series" (Text(Template), "The branch.") ["ohm" Text(Expression), "Resistance, ohm."];
    "join" "another way" (TWO_TERMINALS, "Two terminals.") ["ohm" Text(Expression), "Resistance, ohm."];
    "swap" "an exchange" (TWO_TERMINALS, "Two branches whose far ends are exchanged.");
    "set" "a part's value" (Text(Template), "The part.") ["value" Text(Id), "The value's name in the catalogue."] ["to" Text(Expression), "What it is."];
    "scale" "a part's value" (Text(Template), "The part.") ["value" Text(Id), "The value's name in the catalogue."] ["by" Text(Expression), "What it is multiplied by."];
    "stuck" "stuck points" (Text(Template), "The points set's id.") ["at" STUCK, "Where they stay."];
];
const TWO_TERMINALS: Shape = Shape::Ref("two", &TWO);
const STUCK: Shape = OneOf("place of stuck points", || vec![PointsAt::Open.name(), PointsAt::Closed.name()]);
