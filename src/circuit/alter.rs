//! Alterations of a healthy bike's wiring: the electrical effect of a fault.

use super::{CircuitError, Figures, battery};
use crate::bike::{Bike, PointsAt};

/// The share of a cam lobe's turn by which points stay open longer for each millimetre of gap. The heel stands on the lobe's two flanks, which
/// rise by a millimetre in 75 degrees each on a cam with one lobe; more lobes are as much steeper (common practice, no source).
const DWELL_LOST: f64 = 2.0 * 75.0 / 360.0;
/// The voltage that a coil of less resistance is made for, relative to the bike's: 6 V coils and 12 V coils get mixed up.
const OTHER_VOLTAGE: f64 = 0.5;

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
    /// The battery's open-circuit voltage, volt.
    BatteryVolt(f64),
    /// The battery's state of charge, 0 to 1. Sets voltage and internal resistance.
    Charge(f64),
    /// A condenser's insulation resistance, ohm. Low means leaky, almost zero means shorted.
    Leak {
        /// Condenser id.
        condenser: String,
        /// Resistance, ohm.
        ohm: f64,
    },
    /// A coil whose secondary delivers only this share of the energy.
    Weak {
        /// Coil id.
        coil: String,
        /// Share, 0 to 1.
        passed_on: f64,
    },
    /// A points set that does not move as the engine turns. A set that is stuck closed can still be opened by hand.
    Stuck {
        /// Set.
        set: String,
        /// Open or closed.
        at: PointsAt,
    },
    /// Multiplies a condenser's capacitance.
    Capacitance {
        /// Condenser id.
        condenser: String,
        /// Factor.
        factor: f64,
    },
    /// A coil with a share of its primary turns shorted. Resistance falls with the share, inductance with its square, and only `passed_on`
    /// of the energy remains.
    ShortedTurns {
        /// Coil id.
        coil: String,
        /// Share of the turns, 0 to 1.
        share: f64,
        /// Share of the energy passed on.
        passed_on: f64,
    },
    /// Multiplies a coil's primary resistance and inductance: a coil made for half the bike's voltage, or for twice as much if the factor is
    /// above 1.
    Coil {
        /// Coil id.
        coil: String,
        /// Factor.
        factor: f64,
    },
    /// A coil with its primary connected the wrong way round.
    Reversed {
        /// Coil id.
        coil: String,
    },
    /// A points gap, millimetre. A wider one shortens the dwell, a narrower one lengthens it.
    PointsGap {
        /// Set.
        set: String,
        /// Gap.
        millimetre: f64,
    },
    /// The crank angle over which a set stays closed between two openings, degree.
    Dwell {
        /// Set.
        set: String,
        /// Angle.
        degrees: f64,
    },
    /// A plug gap, millimetre.
    PlugGap {
        /// Plug.
        plug: String,
        /// Gap.
        millimetre: f64,
    },
}

fn entry<'m, T>(
    map: &'m mut std::collections::BTreeMap<String, T>,
    what: &'static str,
    name: &str,
) -> Result<&'m mut T, CircuitError> {
    map.get_mut(name).ok_or_else(|| CircuitError::Unknown { what, name: name.to_owned() })
}

impl Alteration {
    /// Whether it changes the figures rather than the branches.
    pub(super) fn is_of_figures(&self) -> bool {
        use Alteration::{Join, Leak, Ohm, Open, Series, Swap};
        !matches!(self, Open { .. } | Ohm { .. } | Series { .. } | Leak { .. } | Join { .. } | Swap { .. })
    }

    /// Applies the alteration to the figures, if it is one of figures.
    pub(super) fn on_figures(&self, bike: &Bike, figures: &mut Figures) -> Result<(), CircuitError> {
        match self {
            Alteration::BatteryVolt(volt) => figures.battery_volt = *volt,
            Alteration::Charge(charge) => {
                let ((volt, ohm), (full_volt, full_ohm)) = (battery(bike, *charge), battery(bike, 1.0));
                figures.battery_volt *= volt / full_volt;
                figures.battery_ohm *= ohm / full_ohm;
            }
            Alteration::Weak { coil, passed_on } => entry(&mut figures.coils, "coil", coil)?.passed_on *= passed_on,
            Alteration::Stuck { set, .. } => {
                entry(&mut figures.points_gap, "points", set)?;
            }
            Alteration::Capacitance { condenser, factor } => {
                *entry(&mut figures.condenser_farad, "condenser", condenser)? *= factor;
            }
            Alteration::ShortedTurns { coil, share, passed_on } => {
                let c = entry(&mut figures.coils, "coil", coil)?;
                let left = 1.0 - share.clamp(0.0, 0.99);
                c.primary_ohm *= left;
                c.primary_henry *= left * left;
                // The iron saturates at the same ampere-turns.
                c.saturation_ampere /= left;
                c.ratio /= left;
                c.passed_on *= passed_on;
            }
            Alteration::Coil { coil, factor } => {
                let c = entry(&mut figures.coils, "coil", coil)?;
                c.primary_ohm *= factor;
                c.primary_henry *= factor;
                let made_for = if *factor < 1.0 { OTHER_VOLTAGE } else { 1.0 / OTHER_VOLTAGE };
                c.saturation_ampere *= made_for / factor;
            }
            Alteration::Reversed { coil } => {
                let c = entry(&mut figures.coils, "coil", coil)?;
                c.reversed = !c.reversed;
            }
            Alteration::PointsGap { set, millimetre } => {
                let gap = entry(&mut figures.points_gap, "points", set)?;
                let wider = millimetre - std::mem::replace(gap, *millimetre);
                let timing = entry(&mut figures.timing, "points", set)?;
                timing.closed = (timing.closed - DWELL_LOST * wider * timing.every).clamp(0.0, timing.every);
            }
            Alteration::Dwell { set, degrees } => entry(&mut figures.timing, "points", set)?.closed = *degrees,
            Alteration::PlugGap { plug, millimetre } => *entry(&mut figures.plug_gap, "plug", plug)? = *millimetre,
            _ => {}
        }
        Ok(())
    }
}
