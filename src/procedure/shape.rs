//! The allowed shape of a procedure file, as tables. Used for reading and for the JSON Schema.

use super::{Hazard, Meaning, SignalWord};
use crate::bike::{Engine, InstrumentKind, PointsAt};
use crate::source::shape::Shape::{ByKind, Dict, List, Number, Object, OneOf, Ref, Tagged, Text, Truth, Whole};
use crate::source::shape::TextFor::{Expression, Id, Template, Words};
use crate::source::shape::{self, Shape, needed, optional};
use crate::units::{Quantity, Unit};

/// Most items in any list written by hand.
const MANY: usize = 200;
/// Longest working time of a step, second.
const LONGEST_TIME: f64 = 7_200.0;

/// A procedure.
pub static PROCEDURE: shape::Object = shape::Object {
    what: "a procedure",
    fields: &[
        needed("procedure", Text(Id), "Its id: the file's own name without .yaml."),
        needed("title", Text(Template), "Spoken at the start."),
        needed("version", Whole(1, 1_000_000), "Counted up by its author."),
        needed("language", Text(Words), "Language tag, such as en."),
        optional("applies", ByKind(&APPLIES), "What holds of the bikes that it can be walked on; over `bike`."),
        optional(
            "works",
            List(1, MANY, &Tagged("what works", &WORKS)),
            "What a bike in order does; on one that does not, it is not walked.",
        ),
        optional(
            "covers",
            List(0, MANY, &Text(Template)),
            "The faults that it is there to find by the wiring: KIND, KIND:PLACE or KIND@SEVERITY; without it, all.",
        ),
        needed("tools", List(0, MANY, &Text(Template)), "The tools it needs, in words."),
        needed("opening", List(1, MANY, &Text(Template)), "Said once at the start."),
        needed("start", Ref("target", &TARGET), "The first target."),
        optional("cautions", Dict(0, Id, &Object(&CAUTION)), "Cautions by id."),
        optional("loops", Dict(0, Id, &Object(&LOOP)), "Repetitions by id."),
        optional("checks", Object(&CHECKS), "The checks that may come in any order."),
        needed("steps", Dict(1, Id, &Object(&STEP)), "Steps by id."),
        optional("conclusions", Dict(0, Id, &Object(&CONCLUSION)), "Conclusions by id."),
        optional("escapes", Object(&ESCAPES), "Where the escapes of any step lead."),
    ],
};

static APPLIES: [&Shape; 2] = [&Text(Expression), &List(1, MANY, &Object(&REQUIREMENT))];
static REQUIREMENT: shape::Object = shape::Object {
    what: "a requirement",
    fields: &[
        needed("when", Text(Expression), "Holds for a bike that it can be walked on."),
        needed("otherwise", Text(Template), "Why it cannot be walked where that does not hold, in a mechanic's words."),
    ],
};
static WORKS: [(&str, shape::Object); 3] = [
    (
        "spark",
        shape::Object {
            what: "sparks",
            fields: &[needed("spark", Text(Expression), "The plugs that fire: a list of `bike.plugs`.")],
        },
    ),
    (
        "lit",
        shape::Object {
            what: "lit lamps",
            fields: &[
                needed("lit", Text(Expression), "The bulbs that light: a list of `bike.parts`."),
                optional(
                    "switches",
                    Dict(0, Id, &Text(Template)),
                    "The positions of switches in which they do, as in a state.",
                ),
            ],
        },
    ),
    (
        "charge",
        shape::Object {
            what: "a charge",
            fields: &[needed("charge", Text(Expression), "Whether the battery is charged while the engine runs.")],
        },
    ),
];

static CAUTION: shape::Object = shape::Object {
    what: "a caution",
    fields: &[
        needed(
            "signal",
            OneOf("signal word", || SignalWord::ALL.iter().map(|s| s.name()).collect()),
            "Severity (ANSI Z535.6).",
        ),
        needed("hazards", List(1, MANY, &HAZARD), "What it is about."),
        needed("say", Text(Template), "In full, without the signal word."),
        needed("brief", Text(Template), "When it was heard before in this session."),
        SOURCE,
    ],
};
const SOURCE: shape::Field = optional("source", Text(Template), "Where the figures in its texts come from.");
static HAZARD: Shape = OneOf("hazard", || Hazard::ALL.iter().map(|h| h.name()).collect());

static LOOP: shape::Object = shape::Object {
    what: "a loop",
    fields: &[
        needed("over", Text(Expression), "An expression that gives a list."),
        needed("bind", Text(Id), "The name of the item in templates and expressions."),
        needed("first", Text(Id), "The first step of every round."),
        needed("then", Ref("route", &ROUTE), "Where it leads after the last round."),
    ],
};

static CHECKS: shape::Object = shape::Object {
    what: "checks in any order",
    fields: &[
        needed("from", Text(Id), "The step from which on any check may come next."),
        optional("before", List(1, MANY, &Object(&BEFORE)), "What an instrument needs before its first reading."),
        optional(
            "beside",
            List(1, MANY, &TARGET),
            "Checks that the written tree does not come to: their first steps, or their loops.",
        ),
        needed("conclude", Text(Id), "The conclusion that nothing is wrong."),
        needed(
            "needs",
            List(1, MANY, &Text(Id)),
            "The steps that must have been answered as on a healthy bike before that conclusion, each in every round.",
        ),
        optional("unshown", Text(Id), "The conclusion instead where the trouble comes and goes and did not show."),
    ],
};
static BEFORE: shape::Object = shape::Object {
    what: "what an instrument needs",
    fields: &[
        needed(
            "instruments",
            List(1, MANY, &OneOf("instrument", || InstrumentKind::ALL.iter().map(|kind| kind.name()).collect())),
            "The instruments.",
        ),
        needed("step", Text(Id), "The step that comes first."),
    ],
};

/// A target: a step's id, `next`, `again`, `back`, `return`, or one of three mappings.
static TARGET: Shape = ByKind(&[&Text(Id), &Tagged("a target", &TARGETS)]);
static TARGETS: [(&str, shape::Object); 3] = [
    ("each", shape::Object { what: "a target into a loop", fields: &[needed("each", Text(Id), "A loop's id.")] }),
    (
        "conclude",
        shape::Object { what: "a conclusion's target", fields: &[needed("conclude", Text(Id), "A conclusion's id.")] },
    ),
    (
        "call",
        shape::Object {
            what: "a call",
            fields: &[
                needed("call", Text(Id), "A procedure's id: its file's name in the same folder."),
                needed("then", Ref("target", &TARGET), "Where to go on afterwards."),
            ],
        },
    ),
];
static ROUTE: Shape = ByKind(&[&Text(Id), &List(1, MANY, &Object(&CONDITION)), &Tagged("a target", &TARGETS)]);
static CONDITION: shape::Object = shape::Object {
    what: "a condition of a route",
    fields: &[
        optional("when", Text(Expression), "When it holds; the last condition has none."),
        needed("to", Ref("target", &TARGET), "Where it leads."),
    ],
};

static STEP: shape::Object = shape::Object {
    what: "a step",
    fields: &[
        needed("say", Text(Template), "The prompt: one action or question, side first, at most 12 s."),
        optional("brief", Text(Template), "The prompt after `shorter`."),
        needed("more", Text(Template), "The explanation on `help`."),
        optional("caution", List(0, MANY, &Text(Id)), "Cautions before the step, by id."),
        optional("state", Object(&STATE), "What the step needs the bike to be."),
        optional("assumes", Object(&STATE), "What must already hold on every way here."),
        optional("when", Text(Expression), "The step is left out unless this holds."),
        optional("otherwise", Ref("route", &ROUTE), "Where it leads when `when` does not hold."),
        optional(
            "observe",
            ByKind(&[&OneOf("observation", || vec![COMPLAINT]), &Tagged("an observation", &OBSERVATIONS)]),
            "What is observed, where it is not what the instrument shows.",
        ),
        optional(
            "mends",
            List(0, MANY, &Text(Template)),
            "What is as good as new from this step on: a part, a kind of fault, or KIND:PLACE.",
        ),
        needed("ask", Tagged("a question", &ASKS), "What is asked."),
        optional("time", Number(1.0, LONGEST_TIME), "Working time before silence is noticed, second."),
        optional("minutes", Number(0.0, 600.0), "Typical length of the check, minute."),
        needed("untested", Ref("route", &ROUTE), "Where it leads when the check cannot be made."),
        SOURCE,
    ],
};

/// The observation that needs no place.
pub(super) const COMPLAINT: &str = "complaint";
static OBSERVATIONS: [(&str, shape::Object); 5] = [
    (
        "look",
        shape::Object {
            what: "a look",
            fields: &[
                needed("look", Text(Id), "What is looked at: a name that the fault library knows."),
                optional(
                    "at",
                    ByKind(&[&Text(Template), &List(1, MANY, &Text(Template))]),
                    "The part or parts; without it, anywhere on the bike.",
                ),
            ],
        },
    ),
    (
        "sweep",
        shape::Object {
            what: "a sweep",
            fields: &[needed("sweep", Text(Template), "The switch that is moved through every position.")],
        },
    ),
    (
        "flick",
        shape::Object {
            what: "a flick",
            fields: &[needed("flick", Text(Template), "The points set that alone is opened by hand.")],
        },
    ),
    (
        "lit",
        shape::Object {
            what: "a look at a bulb",
            fields: &[needed("lit", Text(Template), "The bulb of the bike's own, a part's id.")],
        },
    ),
    (
        "move",
        shape::Object {
            what: "a movement",
            fields: &[needed(
                "move",
                List(1, MANY, &Text(Template)),
                "The parts and wires that are moved while the instrument is watched; commas separate several in one text.",
            )],
        },
    ),
];

static ASKS: [(&str, shape::Object); 5] = [
    (
        "choice",
        shape::Object { what: "a choice", fields: &[needed("choice", Ref("choices", &CHOICES), "The answers by id.")] },
    ),
    (
        "reading",
        shape::Object {
            what: "a reading",
            fields: &[needed("reading", Object(&READING), "The number that is asked for.")],
        },
    ),
    (
        "done",
        shape::Object {
            what: "an acknowledgement",
            fields: &[needed("done", Ref("route", &ROUTE), "Where it leads.")],
        },
    ),
    (
        "watch",
        shape::Object { what: "a watched event", fields: &[needed("watch", Object(&WATCH), "What is watched for.")] },
    ),
    ("note", shape::Object { what: "a note", fields: &[needed("note", Ref("route", &ROUTE), "Where it leads.")] }),
];
static CHOICES: Shape = Dict(1, Id, &Object(&CHOICE));
static MEANS: Shape = OneOf("meaning", || Meaning::ALL.iter().map(|m| m.name()).collect());
static CHOICE: shape::Object = shape::Object {
    what: "an answer",
    fields: &[
        needed("phrases", List(1, MANY, &Text(Template)), "What may be said, lower case; the first is taught."),
        optional(
            "ask-back",
            List(1, MANY, &Text(Template)),
            "What may be said too, and is confirmed before it is taken: a bare no to a question about a hazard.",
        ),
        needed("echo", Text(Template), "How it is said back, in other words."),
        needed("means", Ref("meaning", &MEANS), "What it says about the part: good, bad or neither."),
        optional(
            "shows",
            List(1, MANY, &Text(Template)),
            "What is physically seen when this is the right answer; without it, what its id says.",
        ),
        optional("doubt", Ref("target", &TARGET), "Where to go the first time, before the step is asked again."),
        needed("go", Ref("route", &ROUTE), "Where it leads."),
    ],
};
static WATCH: shape::Object = shape::Object {
    what: "a watched event",
    fields: &[
        needed("within", Number(1.0, LONGEST_TIME), "Seconds after which it asks."),
        needed("choice", Ref("choices", &CHOICES), "What may be seen; the first is the event."),
    ],
};
static READING: shape::Object = shape::Object {
    what: "a reading",
    fields: &[
        needed("name", Text(Id), "Kept as seen.NAME."),
        needed("quantity", OneOf("quantity", || Quantity::ALL.iter().map(|q| q.name()).collect()), "What is measured."),
        needed("unit", OneOf("unit", || Unit::ALL.iter().map(|u| u.name()).collect()), "The unit asked for."),
        needed("plausible", List(2, 2, &Text(Expression)), "Lowest and highest value that is not questioned."),
        needed("resolution", Number(1e-6, 1e6), "The smallest step that the instrument shows."),
        needed("source", Text(Template), "Where the limits come from."),
        needed("bands", List(1, MANY, &Object(&BAND)), "Ranges of the value, lowest first."),
        optional("over-range", Ref("route", &ROUTE), "Where over range leads."),
    ],
};
static BAND: shape::Object = shape::Object {
    what: "a band",
    fields: &[
        needed("id", Text(Id), "Its id; seen.STEP_band."),
        optional("from", Text(Expression), "At least this; the lowest band has none."),
        optional("below", Text(Expression), "Below this; the highest band has none."),
        needed("means", Ref("meaning", &MEANS), "What it says about the part."),
        optional("say", Text(Template), "Said after the number is read back."),
        optional("doubt", Ref("target", &TARGET), "As for an answer."),
        needed("go", Ref("route", &ROUTE), "Where it leads."),
    ],
};

static LEADS: Shape = List(2, 2, &Text(Template));
static STATE: shape::Object = shape::Object {
    what: "a state",
    fields: &[
        optional("switches", Dict(0, Words, &Text(Template)), "Switch name and position, or connects, disconnects."),
        optional("unplug", List(0, MANY, &Text(Template)), "To unplug or take out."),
        optional("plug-in", List(0, MANY, &Text(Template)), "To plug in or put back."),
        optional(
            "points",
            Dict(0, Template, &OneOf("place of points", || PointsAt::ALL.iter().map(|p| p.name()).collect())),
            "Points sets: open, closed or turning.",
        ),
        optional(
            "engine",
            OneOf("way of the engine", || Engine::ALL.iter().map(|e| e.name()).collect()),
            "What the engine does.",
        ),
        optional(
            "crank",
            Text(Expression),
            "The crank angle, 0 to 720 degrees from where the profile's opens-at counts.",
        ),
        optional("fit", Dict(0, Words, &LEADS), "What to fit, and the two terminals it joins."),
        optional("remove", List(0, MANY, &Text(Template)), "What to take off again."),
        optional("instrument", Tagged("an instrument", &INSTRUMENTS), "The instrument and its two leads."),
        optional("lay-down", Truth, "Put the instrument down."),
    ],
};

macro_rules! instruments {
    ($($kind:literal),*) => {
        [$(($kind, shape::Object { what: "an instrument", fields: &[needed($kind, LEADS_OF_INSTRUMENT, "First and second lead.")] })),*]
    };
}
const LEADS_OF_INSTRUMENT: Shape = Ref("leads", &LEADS);
static INSTRUMENTS: [(&str, shape::Object); InstrumentKind::ALL.len()] =
    instruments!["lamp", "voltmeter", "ohmmeter", "ammeter", "feeler", "spark-tester"];

static ESCAPES: shape::Object = shape::Object {
    what: "the escapes",
    fields: &[
        optional("flickers", Ref("route", &ROUTE), "The lamp flickers."),
        optional("sometimes", Ref("route", &ROUTE), "It does so only sometimes."),
        optional("changed", Ref("route", &ROUTE), "Something on the bike was changed meanwhile."),
    ],
};

static CONCLUSION: shape::Object = shape::Object {
    what: "a conclusion",
    fields: &[
        needed("cause", Text(Template), "What is wrong, a sentence."),
        needed("remedy", Text(Template), "What to do, a sentence."),
        optional(
            "condemns",
            List(0, MANY, &Text(Template)),
            "The parts that its remedy takes out or renews; commas separate several in one text.",
        ),
        optional(
            "means",
            List(0, MANY, &Text(Template)),
            "The faults that it means: KIND, KIND:PLACE or KIND@SEVERITY; commas separate several in one text.",
        ),
        needed("rules-out", List(0, MANY, &Text(Template)), "What it rules out."),
        needed("not-tested", List(0, MANY, &Text(Template)), "What was not tested."),
        needed("recheck", List(0, MANY, &Text(Template)), "What to check again after the repair."),
        optional("caution", List(0, MANY, &Text(Id)), "Cautions that go with the remedy, by id."),
        optional("final", Truth, "In a called procedure: ends the whole walk."),
        SOURCE,
        optional("healthy", Truth, "It says that nothing is wrong, as far as tested."),
    ],
};

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_instrument_can_be_written() {
        let written: Vec<&str> = INSTRUMENTS.iter().map(|(name, _)| *name).collect();
        let known: Vec<&str> = InstrumentKind::ALL.iter().map(|kind| kind.name()).collect();
        assert_eq!(written, known);
    }
}
