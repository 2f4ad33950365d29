//! A kind of part, decoded from its file.

use crate::expression::{Expression, Template};
use crate::source::Written;
use crate::units::{Unit, names};
use std::collections::BTreeMap;
use std::sync::Arc;

names! {
    /// An electrical primitive. A part's model is made of these.
    PrimitiveKind {
        /// A resistance between two terminals. With `blows-at` it is a fuse.
        Resistance = "resistance",
        /// An inductance with the resistance of its winding.
        Inductance = "inductance",
        /// A capacitance with its leak.
        Capacitance = "capacitance",
        /// A source whose voltage and internal resistance depend on its charge. Plus is the first terminal of a negative-ground bike.
        Source = "source",
        /// A switch: its positions, and the contacts that each closes, are the profile's.
        Switch = "switch",
        /// A diode with its anode on the first terminal.
        Diode = "diode",
        /// A filament, by its rating.
        Filament = "filament",
        /// Two coupled windings: primary on the first two terminals, secondary on the last two.
        Windings = "windings",
        /// A spark gap: it conducts nothing at rest.
        Gap = "gap",
        /// A contact that a shaft opens and closes.
        Breaker = "breaker",
        /// A contact arm that a shaft moves from one outer terminal to the next, in the order in which the breaker opens. It passes sparks only.
        Selector = "selector",
        /// A winding that a shaft drives: its voltage while the engine runs, its resistance always.
        Generator = "generator",
        /// A motor, as a load while it turns the engine.
        Motor = "motor",
    }
}

/// Where a primitive is joined.
#[derive(Debug, Clone, PartialEq)]
pub enum Ends {
    /// On these of the part's terminals.
    Named(Vec<String>),
    /// On the two halves that the profile names.
    Halves,
    /// On the terminals that each position of the profile joins.
    Positions,
}

/// A primitive of a part's model.
#[derive(Debug, Clone, PartialEq)]
pub struct Primitive {
    /// Its name within the part. Without one, its branch has the part's own id.
    pub name: Option<String>,
    /// What it is.
    pub kind: PrimitiveKind,
    /// Where it is joined.
    pub ends: Ends,
    /// Its figures by name. A figure by charge has several, from empty to full.
    pub figures: BTreeMap<String, Vec<Expression>>,
}

/// A value that a part of this kind has.
#[derive(Debug, Clone, PartialEq)]
pub struct Value {
    /// Its name.
    pub name: String,
    /// Its unit.
    pub unit: Unit,
    /// The typical value. Without one the profile has to give it.
    pub usual: Option<Expression>,
    /// Lowest and highest that a profile may give.
    pub limits: (f64, f64),
    /// How much a sound part may differ, as a share either way.
    pub spread: Option<f64>,
    /// The range of factors within which sound parts lie, spread evenly in the logarithm.
    pub times: Option<(f64, f64)>,
    /// What it is, as a sentence.
    pub about: String,
    /// Where the typical value comes from.
    pub source: String,
}

/// A kind's terminals.
#[derive(Debug, Clone, PartialEq)]
pub enum Terminals {
    /// The part is a single terminal of the same name: the frame.
    Itself,
    /// These, each with its words.
    Named(Vec<(String, Template)>),
    /// The profile names them.
    Given,
}

/// What is done to unplug a part.
#[derive(Debug, Clone, PartialEq)]
pub enum Unplugs {
    /// It does not unplug.
    Never,
    /// It comes apart or out as a whole.
    Whole,
    /// The wires on these terminals come off.
    At(Vec<String>),
}

/// A kind of part.
#[derive(Debug, Clone, PartialEq)]
pub struct PartKind {
    /// Its name.
    pub id: Written<String>,
    /// Its words. Given: `side`, `id`.
    pub words: Template,
    /// Its terminals.
    pub terminals: Terminals,
    /// Its values, in the order in which they are computed.
    pub values: Vec<Value>,
    /// How it is unplugged.
    pub unplugs: Unplugs,
    /// Its electrical model.
    pub model: Vec<Primitive>,
    /// It is a switch that is pressed while the engine is cranked.
    pub cranks: bool,
    /// The file as it was read.
    pub text: Arc<str>,
}

impl PartKind {
    /// Whether its model has a primitive of this kind.
    pub fn has(&self, kind: PrimitiveKind) -> bool {
        self.model.iter().any(|primitive| primitive.kind == kind)
    }

    /// The value with this name.
    pub fn value(&self, name: &str) -> Option<&Value> {
        self.values.iter().find(|value| value.name == name)
    }
}
