//! What a procedure asks of a bike before it can be walked there: requirements, and what a bike in order does.

use crate::expression::{Expression, Template};

/// Something that must hold of a bike.
#[derive(Debug, Clone, PartialEq)]
pub struct Requirement {
    /// It holds for a bike that the procedure can be walked on.
    pub when: Expression,
    /// Why it cannot be walked where that does not hold, in a mechanic's words.
    pub otherwise: Option<Template>,
}

/// How a bike in order shows that it works.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WorksAs {
    /// Plugs fire.
    Spark,
    /// Bulbs light.
    Lit,
    /// The battery is charged.
    Charge,
}

/// Something that a bike in order does.
#[derive(Debug, Clone, PartialEq)]
pub struct Works {
    /// What it is.
    pub kind: WorksAs,
    /// The plugs or bulbs that do it, as a list; for a charge, whether there is one.
    pub of: Expression,
    /// The positions of switches in which it does.
    pub switches: Vec<(Template, Template)>,
}
