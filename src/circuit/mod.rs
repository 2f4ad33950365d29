//! The bike's wiring as a circuit: what an instrument shows on a healthy bike and under a fault.
//!
//! [`Network`] is a netlist with its operating point. [`Wiring`] builds one from a bike, its state and a list of [`Alteration`]s.
//! [`transient`] follows a coil from closing points to the spark. [`Model`] gives the reading of an instrument connected to the bike.
//! [`Subject`] gives the answer to a procedure's whole step under the faults of a [`faults::Library`].

mod alter;
mod bulbs;
mod expected;
pub mod faults;
mod figures;
mod fold;
mod heat;
mod instruments;
mod iron;
mod lamp;
mod name;
mod network;
mod plan;
mod resistance;
mod solve;
mod spark;
mod spice;
mod standing;
mod swing;
mod tolerance;
pub mod transient;
mod wiring;

pub use alter::Alteration;
pub use expected::{Expected, Limits, Question, Reading, Subject};
pub use figures::{CoilFigures, Figures, Timing};
pub use instruments::{Case, Glow, Model, NotValid, Observation, Strength};
pub use iron::Iron;
pub use lamp::Lamp;
pub use name::Name;
pub use network::{Diode, Element, Kind, Network, Node};
pub use solve::OperatingPoint;
pub use wiring::{Branch, BranchKind, Wiring};

/// Why a circuit has no solution.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CircuitError {
    /// An element's value is not a number, or not positive where it must be.
    #[error("{element}: a value of {value} is not possible; give a finite one above zero")]
    Value {
        /// The element.
        element: String,
        /// The value.
        value: f64,
    },
    /// Voltage sources form a loop without resistance.
    #[error("{element} closes a loop of voltage sources; put a resistance into the loop")]
    SourceLoop {
        /// The source that closes the loop.
        element: String,
    },
    /// A current source drives a part of the circuit that has no return path.
    #[error("{element} drives a current that has no way back; join its two sides by a resistance")]
    NoReturn {
        /// The source.
        element: String,
    },
    /// The equations cannot be solved in double precision.
    #[error("the circuit's equations are singular; look for values many orders of magnitude apart")]
    Singular,
    /// Newton's iteration did not converge.
    #[error("the operating point did not settle within {0} iterations; look for a lamp or diode of impossible rating")]
    NotSettled(usize),
    /// A value in the catalogue of parts does not come out.
    #[error("{0}")]
    Catalogue(String),
    /// The bike has no such part, terminal or branch.
    #[error("the bike has no {what} `{name}`; look for a slip of spelling")]
    Unknown {
        /// The kind: terminal, part, position.
        what: &'static str,
        /// Its name.
        name: String,
    },
}
