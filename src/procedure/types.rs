//! The types a procedure file is decoded into.

use crate::bike::{Engine, InstrumentKind, PointsAt};
use crate::source::{Place, Written};
use crate::units::{Quantity, Unit, names};
use std::collections::{BTreeMap, BTreeSet};

/// A text in Jinja syntax, rendered for the bike and the loop at hand.
pub type Template = Written<String>;
/// A Common Expression Language expression.
pub type Expression = Written<String>;

names! {
    /// Signal words by severity (ANSI Z535.6).
    SignalWord {
        /// Will kill or maim if not avoided.
        Danger = "DANGER",
        /// Could kill or maim.
        Warning = "WARNING",
        /// Could hurt.
        Caution = "CAUTION",
        /// Could damage things.
        Notice = "NOTICE",
    }
}

names! {
    /// What a caution is about. `check` knows which states of a bike call for which.
    Hazard {
        /// Ignition voltage.
        HighVoltage = "high-voltage",
        /// Fuel vapour near sparks.
        FuelVapour = "fuel-vapour",
        /// Battery acid, gas and short circuits at the battery.
        Battery = "battery",
        /// Short circuit of the feed through a jumper or a slip of the probe.
        ShortCircuit = "short-circuit",
        /// Moving parts.
        MovingParts = "moving-parts",
        /// Kickback of the kickstarter.
        Kickback = "kickback",
        /// Exhaust gas indoors.
        Exhaust = "exhaust",
        /// Hot parts.
        HotParts = "hot-parts",
        /// The bike falls off its stand.
        Stand = "stand",
        /// Coils that cook with the key on and the points closed.
        CoilHeat = "coil-heat",
    }
}

/// A caution, spoken before the step and acknowledged.
#[derive(Debug, Clone, PartialEq)]
pub struct Caution {
    /// Its id.
    pub id: Written<String>,
    /// Severity.
    pub signal: SignalWord,
    /// What it is about.
    pub hazards: Vec<Hazard>,
    /// In full, without the signal word (the walker says that first).
    pub say: Template,
    /// What is said when it was heard before in this session.
    pub brief: Template,
    /// Where the figures in its texts come from.
    pub source: Option<Template>,
}

/// Repetition over what the bike has.
#[derive(Debug, Clone, PartialEq)]
pub struct Loop {
    /// Its id, a target for `each`.
    pub id: Written<String>,
    /// An expression that gives a list: `bike.points`.
    pub over: Expression,
    /// The name of the item in templates and expressions: `set`.
    pub bind: Written<String>,
    /// The first step of every round.
    pub first: Written<String>,
    /// Where it leads after the last round.
    pub then: Route,
}

/// Where an answer leads.
#[derive(Debug, Clone, PartialEq)]
pub enum Target {
    /// A step of this procedure.
    Step(Written<String>),
    /// The first round of a loop.
    Each(Written<String>),
    /// The next round of the loop we are in, or its `then` after the last.
    Next(Place),
    /// Another procedure, and then back to a target here. What it concludes is kept as `seen.<procedure>`; unless a conclusion there
    /// has `final: true`, the walk comes back.
    Call {
        /// Its file name without `.yaml`, in the same folder.
        procedure: Written<String>,
        /// Where to go on.
        then: Box<Target>,
    },
    /// Back to the calling procedure (from a called one).
    Return(Place),
    /// The same step again.
    Again(Place),
    /// From a doubt chain back to the doubted step, which is asked again.
    Back(Place),
    /// A conclusion.
    Conclude(Written<String>),
}

impl Target {
    /// Both lead to the same step, loop, or called procedure and then to the same, wherever they are written.
    fn is_same_beginning(&self, other: &Target) -> bool {
        match (self, other) {
            (Target::Step(a), Target::Step(b)) | (Target::Each(a), Target::Each(b)) => a.value == b.value,
            (Target::Call { procedure: a, then }, Target::Call { procedure: b, then: other }) => {
                a.value == b.value && then.is_same_beginning(other)
            }
            _ => false,
        }
    }
}

/// A part of the procedure: what is walked from its beginning until a route leads to the beginning of another. In which order parts may
/// come says `needs`.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// Its id.
    pub id: Written<String>,
    /// How it is spoken of: "the coils".
    pub words: Template,
    /// Where it begins: a step, a loop, or a called procedure and where it goes on.
    pub first: Target,
    /// The parts that must be over before it; all stand before it. The last part needs all others without saying so.
    pub needs: Vec<Written<String>>,
}

/// One condition of a route.
#[derive(Debug, Clone, PartialEq)]
pub struct Condition {
    /// When; `None` is "otherwise" and stands last.
    pub when: Option<Expression>,
    /// Where to.
    pub to: Target,
}

/// Where to go, the first condition that holds. Never empty; the last is unconditional.
#[derive(Debug, Clone, PartialEq)]
pub struct Route(pub Vec<Condition>);

names! {
    /// What an answer says about the part under test.
    Meaning {
        /// As on a healthy bike.
        Good = "good",
        /// Not as on a healthy bike.
        Bad = "bad",
        /// Neither.
        Neither = "neither",
    }
}

/// One answer that can be chosen.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    /// Its id within the step.
    pub id: Written<String>,
    /// What may be said for it, lower case; the first is the one that is taught.
    pub phrases: Vec<Template>,
    /// How it is said back, in other words.
    pub echo: Template,
    /// What it means.
    pub means: Meaning,
    /// What is physically seen when this is the right answer (`lit`, `on-off`, `none`); without it, what the answer's id says.
    pub shows: Vec<Template>,
    /// Where to go the first time this answer is given, before the step is asked again; the second time `go` holds. This is
    /// how "dark" and "no spark" are doubted: prove the lamp, then look again.
    pub doubt: Option<Target>,
    /// Where it leads.
    pub go: Route,
}

/// A range of a reading.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    /// Its id within the step; `seen.<step>_band` in expressions.
    pub id: Written<String>,
    /// At least this (an expression giving a double); the lowest band has none.
    pub from: Option<Expression>,
    /// Below this; the highest band has none.
    pub below: Option<Expression>,
    /// What it means.
    pub means: Meaning,
    /// What is said after the number is read back.
    pub say: Option<Template>,
    /// As for a choice.
    pub doubt: Option<Target>,
    /// Where it leads.
    pub go: Route,
}

/// A number that is asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadingAsk {
    /// The name under which the value is kept: `seen.rest_voltage`.
    pub name: Written<String>,
    /// What is measured.
    pub quantity: Quantity,
    /// The unit asked for.
    pub unit: Unit,
    /// Lowest plausible value, in `unit`.
    pub low: Expression,
    /// Highest plausible value, in `unit`.
    pub high: Expression,
    /// Smallest step that the instrument shows, in `unit`.
    pub resolution: f64,
    /// Bands that cover the plausible range without hole or overlap, lowest first.
    pub bands: Vec<Band>,
    /// Where "over range" leads, if it can happen.
    pub over_range: Option<Route>,
    /// Where the limits come from.
    pub source: Template,
}

/// What is asked at a step.
#[derive(Debug, Clone, PartialEq)]
pub enum Ask {
    /// One of several answers.
    Choice(Vec<Choice>),
    /// A number.
    Reading(Box<ReadingAsk>),
    /// An acknowledgement ("ready", "done").
    Done(Route),
    /// A watched event: the choices are what may be seen; the first is the event itself. After `within` seconds the walker
    /// asks, it never concludes.
    Watch {
        /// What may be seen.
        choices: Vec<Choice>,
        /// Seconds after which it asks.
        within: f64,
    },
    /// A free note, kept as sound and best-effort text.
    Note(Route),
}

/// The state a step needs, as templates. Rendered by `procedure` into a [`crate::bike::StateNeed`].
#[derive(Debug, Clone, Default, PartialEq)]
pub struct StateTemplate {
    /// Switch name -> position.
    pub switches: Vec<(Template, Template)>,
    /// To unplug.
    pub unplug: Vec<Template>,
    /// To plug in.
    pub plug_in: Vec<Template>,
    /// Points set -> place.
    pub points: Vec<(Template, PointsAt)>,
    /// The engine.
    pub engine: Option<Engine>,
    /// The crank angle, degree.
    pub crank: Option<Expression>,
    /// What to fit, between which terminals.
    pub fit: Vec<(Template, [Template; 2])>,
    /// What to take off.
    pub remove: Vec<Template>,
    /// Instrument kind and its two leads.
    pub instrument: Option<(InstrumentKind, Template, Template)>,
    /// Lay the instrument down.
    pub lay_down: bool,
    /// Where the block stands.
    pub place: Option<Place>,
}

/// What is observed at a step, where it is not what the instrument in the step's state shows.
#[derive(Debug, Clone, PartialEq)]
pub enum Observe {
    /// Something is looked at, smelt or felt.
    Look {
        /// What: a name that the fault library knows, such as `contact-faces`.
        look: Written<String>,
        /// On which parts; anywhere on the bike when there is none.
        at: Vec<Template>,
    },
    /// The instrument is watched while this switch is moved through every position.
    Sweep(Template),
    /// A tester on every plug lead, while only this points set is opened by hand.
    Flick(Template),
    /// Which plugs give no spark on the road.
    Complaint(Place),
}

/// One step.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// Its id.
    pub id: Written<String>,
    /// The prompt: one action or question, side first.
    pub say: Template,
    /// The prompt when "shorter" was asked for.
    pub brief: Option<Template>,
    /// The explanation on "help".
    pub more: Template,
    /// Cautions before the step, by id.
    pub cautions: Vec<Written<String>>,
    /// What the step needs; the walker tells the person the difference before the prompt.
    pub state: StateTemplate,
    /// What must already hold from the steps before; checked over all ways to the step.
    pub assumes: StateTemplate,
    /// Left out (going to `otherwise`) unless this holds.
    pub when: Option<Expression>,
    /// Where to go when `when` does not hold.
    pub otherwise: Option<Route>,
    /// What is observed, where it is not what the instrument shows.
    pub observe: Option<Observe>,
    /// What is as good as new from this step on, before its answer: a part, a kind of fault, or `KIND:PLACE`.
    pub mends: Vec<Template>,
    /// What is asked.
    pub ask: Ask,
    /// Working time in seconds before silence is noticed.
    pub time: f64,
    /// Typical minutes the check takes, for estimates.
    pub minutes: f64,
    /// Where it leads when the check cannot be made (skipped, cannot reach, have not got one).
    pub untested: Route,
    /// Where the figures in its texts come from; a reading's limits have their own.
    pub source: Option<Template>,
}

/// A conclusion.
#[derive(Debug, Clone, PartialEq)]
pub struct Conclusion {
    /// Its id.
    pub id: Written<String>,
    /// What is wrong, a sentence.
    pub cause: Template,
    /// What to do, a sentence.
    pub remedy: Template,
    /// The parts one of which it holds to be at fault; a text may hold several, separated by commas, or none.
    pub condemns: Vec<Template>,
    /// What it rules out.
    pub rules_out: Vec<Template>,
    /// What was not tested.
    pub not_tested: Vec<Template>,
    /// What to check again after the repair.
    pub recheck: Vec<Template>,
    /// Cautions that go with the remedy.
    pub cautions: Vec<Written<String>>,
    /// In a called procedure: ends the whole walk instead of going back.
    pub is_final: bool,
    /// Where the figures in its texts come from.
    pub source: Option<Template>,
    /// It says that nothing is wrong, as far as tested.
    pub healthy: bool,
}

/// A whole procedure.
#[derive(Debug, Clone, PartialEq)]
pub struct Procedure {
    /// Its id: the file's name without `.yaml`.
    pub id: String,
    /// Title, spoken at the start.
    pub title: Template,
    /// Version, counted up by its author.
    pub version: u32,
    /// Language tag: `en`.
    pub language: String,
    /// Said once at the start, before the first step: what is meant by left and right, what this defers to.
    pub opening: Vec<Template>,
    /// Holds for the bikes it applies to.
    pub applies: Option<Expression>,
    /// The faults that it is there to find by the wiring, as `KIND`, `KIND:PLACE` or `KIND@SEVERITY`; none for all of them.
    pub covers: Option<Vec<Template>>,
    /// Tools it needs, in words.
    pub tools: Vec<Template>,
    /// First target.
    pub start: Target,
    /// Cautions by id.
    pub cautions: Vec<Caution>,
    /// Loops by id.
    pub loops: Vec<Loop>,
    /// Parts that may be walked in another order than the written one, in the written one; mostly none.
    pub parts: Vec<Part>,
    /// Steps, in the file's order.
    pub steps: Vec<Step>,
    /// Conclusions.
    pub conclusions: Vec<Conclusion>,
    /// Where an escape leads after it is journalled, by name (`flickers`, `sometimes`, `changed`); the others repeat or leave the step untested.
    pub escapes: BTreeMap<String, Route>,
    /// Where the file stands.
    pub place: Place,
}

impl Observe {
    /// The texts in it that are rendered for the bike and the loop at hand.
    pub fn templates(&self) -> Vec<&Template> {
        match self {
            Observe::Look { at, .. } => at.iter().collect(),
            Observe::Sweep(of) | Observe::Flick(of) => vec![of],
            Observe::Complaint(_) => Vec::new(),
        }
    }
}

impl Procedure {
    /// The step with this id.
    pub fn step(&self, id: &str) -> Option<&Step> {
        self.steps.iter().find(|s| *s.id == id)
    }
    /// The loop with this id.
    pub fn each(&self, id: &str) -> Option<&Loop> {
        self.loops.iter().find(|l| *l.id == id)
    }
    /// The conclusion with this id.
    pub fn conclusion(&self, id: &str) -> Option<&Conclusion> {
        self.conclusions.iter().find(|c| *c.id == id)
    }
    /// The caution with this id.
    pub fn caution(&self, id: &str) -> Option<&Caution> {
        self.cautions.iter().find(|c| *c.id == id)
    }
    /// The part that begins at this target, by its number.
    pub fn part_begun_by(&self, target: &Target) -> Option<usize> {
        self.parts.iter().position(|part| part.first.is_same_beginning(target))
    }
    /// The parts that must be over before part `number`: those it names, those they need, and for the last one all others.
    pub fn needed_before(&self, number: usize) -> BTreeSet<usize> {
        if number + 1 == self.parts.len() {
            return (0..number).collect();
        }
        let mut all = BTreeSet::new();
        let mut waiting = vec![number];
        while let Some(at) = waiting.pop() {
            let needs = self.parts[at].needs.iter();
            let named = needs.filter_map(|need| self.parts.iter().position(|part| part.id.value == need.value));
            waiting.extend(named.filter(|part| all.insert(*part)));
        }
        all
    }
    /// The parts that may come in any order where a route leads from part `at` (none: from before the first) to the beginning of part
    /// `written`: that one, and what is not surely over and can have its needs met.
    pub fn parts_after(&self, at: Option<usize>, written: usize) -> Vec<usize> {
        let may = |part: &usize| match at {
            Some(at) if at < written => *part != at && !self.needed_before(at).contains(part),
            Some(_) => *part > written && self.needed_before(*part).iter().all(|need| *need < written),
            None => self.needed_before(*part).is_empty(),
        };
        (0..self.parts.len()).filter(|part| *part == written || may(part)).collect()
    }
    /// Every target that stands in the procedure, in no order that matters.
    pub fn targets(&self) -> Vec<&Target> {
        let mut all = vec![&self.start];
        let mut routes: Vec<&Route> = self.loops.iter().map(|l| &l.then).chain(self.escapes.values()).collect();
        for step in &self.steps {
            routes.push(&step.untested);
            routes.extend(&step.otherwise);
            match &step.ask {
                Ask::Choice(choices) | Ask::Watch { choices, .. } => {
                    routes.extend(choices.iter().map(|c| &c.go));
                    all.extend(choices.iter().filter_map(|c| c.doubt.as_ref()));
                }
                Ask::Reading(ask) => {
                    routes.extend(ask.bands.iter().map(|b| &b.go).chain(&ask.over_range));
                    all.extend(ask.bands.iter().filter_map(|b| b.doubt.as_ref()));
                }
                Ask::Done(route) | Ask::Note(route) => routes.push(route),
            }
        }
        all.extend(routes.into_iter().flat_map(|r| r.0.iter().map(|c| &c.to)));
        all
    }
}
