//! Alterations of a healthy bike's wiring: the electrical effect of a fault.

use crate::bike::PointsAt;

/// One alteration. Branches go by the ids that [`Wiring`](super::Wiring) lists.
#[derive(Debug, Clone, PartialEq)]
pub enum Alteration {
    /// The branch no longer conducts.
    Open {
        /// Branch.
        branch: String,
    },
    /// The branch has this resistance in every state of the bike (welded points, a switch that connects in every position).
    Ohm {
        /// Branch.
        branch: String,
        /// Resistance, ohm.
        ohm: f64,
    },
    /// Resistance in series with a branch.
    Series {
        /// Branch.
        branch: String,
        /// Resistance, ohm.
        ohm: f64,
    },
    /// An extra path between two terminals, listed as `A and B`: a short to ground (`frame`, `engine`), a short to the feed, a leak.
    Join {
        /// One terminal.
        a: String,
        /// The other.
        b: String,
        /// Resistance, ohm.
        ohm: f64,
    },
    /// The far ends of two wires are swapped.
    Swap {
        /// One branch.
        first: String,
        /// The other.
        second: String,
    },
    /// A value of a part is this.
    Set {
        /// Part.
        part: String,
        /// The value's name in the catalogue.
        value: String,
        /// What it is.
        to: f64,
    },
    /// A value of a part is multiplied.
    Scale {
        /// Part.
        part: String,
        /// The value's name in the catalogue.
        value: String,
        /// The factor.
        by: f64,
    },
    /// A points set that does not move as the engine turns. A set that is stuck closed can still be opened by hand.
    Stuck {
        /// Set.
        set: String,
        /// Open or closed.
        at: PointsAt,
    },
}

impl Alteration {
    /// A value of a part is this.
    pub fn set(part: &str, value: &str, to: f64) -> Self {
        Self::Set { part: part.to_owned(), value: value.to_owned(), to }
    }

    /// A value of a part is multiplied.
    pub fn scale(part: &str, value: &str, by: f64) -> Self {
        Self::Scale { part: part.to_owned(), value: value.to_owned(), by }
    }

    /// Whether it changes values of parts rather than branches.
    pub(super) fn is_of_values(&self) -> bool {
        matches!(self, Self::Set { .. } | Self::Scale { .. })
    }
}
