//! The types of a decoded procedure file.

use super::{Requirement, Works};
use crate::bike::{Engine, InstrumentKind, PointsAt};
use crate::expression::{Expression, Template};
use crate::source::{Place, Written};
use crate::units::{Quantity, Unit, names};
use std::collections::BTreeMap;

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
        /// Coils that overheat with the key on and the points closed.
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
    /// The hazards it warns of.
    pub hazards: Vec<Hazard>,
    /// The full text, without the signal word (the walker says that first).
    pub say: Template,
    /// The text for a caution that this session has already spoken.
    pub brief: Template,
    /// The source of the figures in its texts.
    pub source: Option<Template>,
}

/// A loop over parts of the bike.
#[derive(Debug, Clone, PartialEq)]
pub struct Loop {
    /// Its id, the target of `each`.
    pub id: Written<String>,
    /// An expression that yields a list: `bike.points`.
    pub over: Expression,
    /// The item's name in templates and expressions: `set`.
    pub bind: Written<String>,
    /// The first step of each round.
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
    /// The next round of the current loop, or its `then` after the last.
    Next(Place),
    /// Another procedure, then a target in this one. Its conclusion is kept as `seen.<procedure>`. The walk returns unless that conclusion
    /// has `final: true`.
    Call {
        /// Its file name without `.yaml`, in the same folder.
        procedure: Written<String>,
        /// Where to continue.
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

/// The checks that may come in any order, and what holds for them.
#[derive(Debug, Clone, PartialEq)]
pub struct Checks {
    /// From this step on any check may come next. What stands before it is always walked as it is written.
    pub from: Written<String>,
    /// What an instrument needs before its first reading.
    pub before: Vec<Before>,
    /// Checks that the written tree does not come to: their first steps, or their loops.
    pub beside: Vec<Target>,
    /// The conclusion that nothing is wrong.
    pub conclude: Written<String>,
    /// The steps that must have been answered as on a healthy bike before that conclusion, each in every round.
    pub needs: Vec<Written<String>>,
    /// The conclusion instead where the trouble comes and goes and did not show.
    pub unshown: Option<Written<String>>,
}

/// What instruments need before their first reading.
#[derive(Debug, Clone, PartialEq)]
pub struct Before {
    /// The instruments.
    pub instruments: Vec<InstrumentKind>,
    /// The step that comes first; what it leads to by a call belongs to it.
    pub step: Written<String>,
}

/// One condition of a route.
#[derive(Debug, Clone, PartialEq)]
pub struct Condition {
    /// The condition. `None` means "otherwise" and comes last.
    pub when: Option<Expression>,
    /// Where to.
    pub to: Target,
}

/// A list of conditional targets; the first condition that holds decides. Never empty; the last is unconditional.
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

/// One possible answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Choice {
    /// Its id within the step.
    pub id: Written<String>,
    /// Its phrases, lower case. The first is the one that is taught.
    pub phrases: Vec<Template>,
    /// Phrases that mean it only once they were confirmed.
    pub ask_back: Vec<Template>,
    /// The confirmation of the answer, in other words.
    pub echo: Template,
    /// What it means.
    pub means: Meaning,
    /// What the user physically sees when this answer is right (`lit`, `on-off`, `none`). Defaults to what the answer's id says.
    pub shows: Vec<Template>,
    /// Where to go the first time this answer is given, before the step is asked again. The second time `go` applies. This is how "dark"
    /// and "no spark" are doubted: prove the lamp, then look again.
    pub doubt: Option<Target>,
    /// Where it leads.
    pub go: Route,
}

/// A range of a reading.
#[derive(Debug, Clone, PartialEq)]
pub struct Band {
    /// Its id within the step; `seen.<step>_band` in expressions.
    pub id: Written<String>,
    /// Lower bound, inclusive (an expression that yields a double). The lowest band has none.
    pub from: Option<Expression>,
    /// Upper bound, exclusive. The highest band has none.
    pub below: Option<Expression>,
    /// What it means.
    pub means: Meaning,
    /// Spoken after the number is read back.
    pub say: Option<Template>,
    /// As for a choice.
    pub doubt: Option<Target>,
    /// Where it leads.
    pub go: Route,
}

/// A request for a number.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadingAsk {
    /// The name that keeps the value: `seen.rest_voltage`.
    pub name: Written<String>,
    /// The quantity to measure.
    pub quantity: Quantity,
    /// The unit asked for.
    pub unit: Unit,
    /// Lowest plausible value, in `unit`.
    pub low: Expression,
    /// Highest plausible value, in `unit`.
    pub high: Expression,
    /// Smallest step that the instrument shows, in `unit`.
    pub resolution: f64,
    /// Bands that cover the plausible range without gaps or overlaps, lowest first.
    pub bands: Vec<Band>,
    /// Where "over range" leads, if it can occur.
    pub over_range: Option<Route>,
    /// The source of the limits.
    pub source: Template,
}

/// What a step asks.
#[derive(Debug, Clone, PartialEq)]
pub enum Ask {
    /// One of several answers.
    Choice(Vec<Choice>),
    /// A number.
    Reading(Box<ReadingAsk>),
    /// An acknowledgement ("ready", "done").
    Done(Route),
    /// A watched event. The choices are what the user may see; the first is the event itself. After `within` seconds the walker asks; it
    /// never concludes.
    Watch {
        /// What the user may see.
        choices: Vec<Choice>,
        /// Seconds before the walker asks.
        within: f64,
    },
    /// A free note, kept as audio and best-effort text.
    Note(Route),
}

/// The state that a step needs, as templates. `procedure` renders it into a [`crate::bike::StateNeed`].
#[derive(Debug, Clone, Default, PartialEq)]
pub struct StateTemplate {
    /// Switch name -> position.
    pub switches: Vec<(Template, Template)>,
    /// Parts to unplug.
    pub unplug: Vec<Template>,
    /// Parts to plug in.
    pub plug_in: Vec<Template>,
    /// Points set -> place.
    pub points: Vec<(Template, PointsAt)>,
    /// The engine's state.
    pub engine: Option<Engine>,
    /// The crank angle, degree.
    pub crank: Option<Expression>,
    /// Items to fit, with the terminals they go between.
    pub fit: Vec<(Template, [Template; 2])>,
    /// Items to remove.
    pub remove: Vec<Template>,
    /// The instrument's kind and its two leads.
    pub instrument: Option<(InstrumentKind, Template, Template)>,
    /// Whether to lay the instrument down.
    pub lay_down: bool,
    /// The block's place in the file.
    pub place: Option<Place>,
}

/// The name under which `seen` keeps that the trouble comes and goes.
pub const COMES_AND_GOES: &str = "comes_and_goes";

/// What the user observes at a step, if not the instrument in the step's state.
#[derive(Debug, Clone, PartialEq)]
pub enum Observe {
    /// The user looks at, smells or feels something.
    Look {
        /// What to look at: a name from the fault library, such as `contact-faces`.
        look: Written<String>,
        /// The parts to look at. Empty means anywhere on the bike.
        at: Vec<Template>,
    },
    /// The user watches the instrument while moving this switch through all its positions.
    Sweep(Template),
    /// A tester on every plug lead, while the user opens only this points set by hand.
    Flick(Template),
    /// The user looks at a bulb of the bike's own.
    Lit(Template),
    /// The user watches the instrument while these parts and wires are moved.
    Move(Vec<Template>),
    /// Which plugs lose their spark on the road.
    Complaint(Place),
}

/// One step.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// Its id.
    pub id: Written<String>,
    /// The prompt: one action or question, side first.
    pub say: Template,
    /// The prompt after "shorter".
    pub brief: Option<Template>,
    /// The explanation after "help".
    pub more: Template,
    /// The cautions before the step, by id.
    pub cautions: Vec<Written<String>>,
    /// The state the step needs. Before the prompt the walker tells the user what to change.
    pub state: StateTemplate,
    /// What the earlier steps must already have established. Checked over all paths to the step.
    pub assumes: StateTemplate,
    /// The step is skipped (to `otherwise`) unless this holds.
    pub when: Option<Expression>,
    /// Where to go if `when` does not hold.
    pub otherwise: Option<Route>,
    /// What the user observes, if not the instrument.
    pub observe: Option<Observe>,
    /// What counts as new from this step on, before its answer: a part, a kind of fault, or `KIND:PLACE`.
    pub mends: Vec<Template>,
    /// What it asks.
    pub ask: Ask,
    /// Working time in seconds before silence is noticed.
    pub time: f64,
    /// Typical minutes the check takes, for estimates.
    pub minutes: f64,
    /// Where to go if the check cannot be made (skipped, cannot reach, tool not at hand).
    pub untested: Route,
    /// The source of the figures in its texts. A reading's limits have their own.
    pub source: Option<Template>,
}

/// A conclusion.
#[derive(Debug, Clone, PartialEq)]
pub struct Conclusion {
    /// Its id.
    pub id: Written<String>,
    /// What is wrong, as a sentence.
    pub cause: Template,
    /// What to do, as a sentence.
    pub remedy: Template,
    /// The parts that its remedy takes out or renews. A text may hold several, separated by commas, or none.
    pub condemns: Vec<Template>,
    /// The faults that it means, as `KIND`, `KIND:PLACE` or `KIND@SEVERITY`. A text may hold several, separated by commas, or none.
    pub means: Vec<Template>,
    /// The parts it rules out.
    pub rules_out: Vec<Template>,
    /// The parts not tested.
    pub not_tested: Vec<Template>,
    /// The parts to check again after the repair.
    pub recheck: Vec<Template>,
    /// Cautions that go with the remedy.
    pub cautions: Vec<Written<String>>,
    /// In a called procedure: ends the whole walk instead of returning.
    pub is_final: bool,
    /// The source of the figures in its texts.
    pub source: Option<Template>,
    /// It says that nothing is wrong as far as tested.
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
    /// Spoken once at the start, before the first step: what left and right mean, and what takes precedence over this procedure.
    pub opening: Vec<Template>,
    /// What holds of the bikes that it can be walked on.
    pub applies: Vec<Requirement>,
    /// What a bike in order does.
    pub works: Vec<Works>,
    /// The faults that it must find by the wiring, as `KIND`, `KIND:PLACE` or `KIND@SEVERITY`. `None` means all of them.
    pub covers: Option<Vec<Template>>,
    /// The tools it needs, in words.
    pub tools: Vec<Template>,
    /// First target.
    pub start: Target,
    /// Cautions by id.
    pub cautions: Vec<Caution>,
    /// Loops by id.
    pub loops: Vec<Loop>,
    /// The checks that may come in any order.
    pub checks: Option<Checks>,
    /// Steps, in the file's order.
    pub steps: Vec<Step>,
    /// Conclusions.
    pub conclusions: Vec<Conclusion>,
    /// Where an escape leads after it is journalled, by name (`flickers`, `sometimes`, `changed`). The others repeat the step or leave it
    /// untested.
    pub escapes: BTreeMap<String, Route>,
    /// The file's place.
    pub place: Place,
}

impl Observe {
    /// Its own texts that are rendered for the current bike and loop item.
    pub fn templates(&self) -> Vec<&Template> {
        match self {
            Observe::Look { at, .. } | Observe::Move(at) => at.iter().collect(),
            Observe::Sweep(of) | Observe::Flick(of) | Observe::Lit(of) => vec![of],
            Observe::Complaint(_) => Vec::new(),
        }
    }
}

impl Step {
    /// Whether its answer counts only as it is now: an action or a note; a question about a hazard, where a bare "no" is asked back; a step
    /// that makes something as good as new; one with the engine running.
    pub fn has_to_be_done_now(&self) -> bool {
        let asks_back = |choices: &Vec<Choice>| choices.iter().any(|choice| !choice.ask_back.is_empty());
        let by_its_question = match &self.ask {
            Ask::Done(_) | Ask::Note(_) => true,
            Ask::Choice(choices) | Ask::Watch { choices, .. } => asks_back(choices),
            Ask::Reading(_) => false,
        };
        by_its_question || !self.mends.is_empty() || self.state.engine == Some(Engine::Running)
    }

    /// Whether it only puts back or takes off what an earlier check needed.
    pub fn puts_back(&self) -> bool {
        let state = &self.state;
        let adds = !state.unplug.is_empty() || !state.fit.is_empty() || !state.points.is_empty();
        let stays = matches!(state.engine, None | Some(Engine::Still)) && state.instrument.is_none();
        matches!(self.ask, Ask::Done(_))
            && self.mends.is_empty()
            && !adds
            && stays
            && !(state.plug_in.is_empty() && state.remove.is_empty())
    }
}

impl Procedure {
    /// Whether it is there to find a fault. Others make safe, prove an instrument, or set something.
    pub fn finds_faults(&self) -> bool {
        self.covers.as_ref().is_none_or(|covers| !covers.is_empty())
    }

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
    /// The checks that the written tree does not come to.
    pub fn beside(&self) -> &[Target] {
        self.checks.as_ref().map_or(&[], |checks| &checks.beside)
    }

    /// Every target in the procedure, in no particular order.
    pub fn targets(&self) -> Vec<&Target> {
        let mut all = vec![&self.start];
        all.extend(self.beside());
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
