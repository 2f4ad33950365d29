//! Typical figures that the circuit needs and a profile omits. Each can be replaced for a part.
//!
//! Every default here is common practice without a source, unless it names one.

use super::iron::Iron;
use crate::bike::Bike;
use crate::sums::battery::NOMINAL_CELL_VOLT;
pub use crate::sums::battery::volt as battery_volt;
use std::collections::BTreeMap;

/// The figures of one ignition coil apart from its primary resistance.
#[derive(Debug, Clone, PartialEq)]
pub struct CoilFigures {
    /// Primary resistance at 20 degrees Celsius, ohm.
    pub primary_ohm: f64,
    /// Primary inductance, henry.
    pub primary_henry: f64,
    /// Primary current at which the iron saturates, ampere.
    pub saturation_ampere: f64,
    /// Secondary resistance, ohm.
    pub secondary_ohm: f64,
    /// Secondary turns over primary turns.
    pub ratio: f64,
    /// Capacitance of the secondary winding, lead and plug together, farad.
    pub secondary_farad: f64,
    /// Share of the stored energy that winding and core pass on.
    pub passed_on: f64,
    /// The capacitance across the points that the coil is designed for, farad.
    pub made_for_farad: f64,
    /// Whether the primary is reversed, which reverses the spark.
    pub reversed: bool,
}

impl CoilFigures {
    /// The coil's iron.
    pub fn iron(&self) -> Iron {
        Iron { henry: self.primary_henry, saturation_ampere: self.saturation_ampere }
    }
}

/// When a points set is open, in crank degrees.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Timing {
    /// Where it opens.
    pub opens_at: f64,
    /// How long it stays closed between two openings.
    pub closed: f64,
    /// From one opening to the next.
    pub every: f64,
}

impl Timing {
    /// Whether the set is closed at a crank angle.
    pub fn is_closed(&self, crank: f64) -> bool {
        (crank - self.opens_at).rem_euclid(self.every) >= self.every - self.closed
    }
}

/// The figures of one bike.
#[derive(Debug, Clone, PartialEq)]
pub struct Figures {
    /// Open-circuit voltage of the battery, volt.
    pub battery_volt: f64,
    /// Internal resistance of the battery, ohm.
    pub battery_ohm: f64,
    /// One closed contact of a switch, ohm.
    pub switch_ohm: f64,
    /// One joined connector, ohm.
    pub connector_ohm: f64,
    /// The fuse and its holder, ohm.
    pub fuse_ohm: f64,
    /// Closed points, ohm.
    pub points_ohm: f64,
    /// Insulation of a good condenser, ohm.
    pub condenser_leak_ohm: f64,
    /// A wire whose length or cross-section is not in the profile, ohm.
    pub wire_ohm: f64,
    /// Temperature of the wires and windings, degree Celsius.
    pub celsius: f64,
    /// Ballast resistor, ohm.
    pub ballast_ohm: f64,
    /// Condensers by id, farad.
    pub condenser_farad: BTreeMap<String, f64>,
    /// Coils by id.
    pub coils: BTreeMap<String, CoilFigures>,
    /// Points gaps by set, millimetre.
    pub points_gap: BTreeMap<String, f64>,
    /// When each set is open.
    pub timing: BTreeMap<String, Timing>,
    /// Resistances that the profile gives for contacts and caps, by part, ohm.
    pub own_ohm: BTreeMap<String, f64>,
    /// Plug gaps by plug, millimetre.
    pub plug_gap: BTreeMap<String, f64>,
    /// Series resistance of each plug's lead and cap, ohm.
    pub cap_ohm: f64,
    /// Rated power of the test lamp, watt, at the bike's voltage.
    pub lamp_watt: f64,
    /// Rated power of the load bulb, watt, at the bike's voltage.
    pub load_bulb_watt: f64,
    /// Input resistance of the voltmeter, ohm.
    pub voltmeter_ohm: f64,
    /// Shunt of the ammeter, ohm.
    pub ammeter_ohm: f64,
    /// Highest reading of the ohmmeter, ohm.
    pub ohmmeter_top: f64,
    /// Gap of the spark tester in open air, millimetre.
    pub tester_gap: f64,
    /// Crank speed when kicked, per minute.
    pub kick_rpm: f64,
    /// Crank speed when running, per minute.
    pub running_rpm: f64,
    /// Pressure in the cylinder when the spark comes at kicking speed, bar absolute.
    pub compression_bar: f64,
    /// Temperature in the cylinder at that moment, kelvin.
    pub compression_kelvin: f64,
}

/// Internal resistance of one cell of a small, fully charged battery, ohm. Twice that when empty.
const CELL_OHM: f64 = 0.004;

/// Internal resistance of a battery of nominal voltage `volt` at a state of charge of 0 to 1.
pub(super) fn battery_ohm(volt: f64, charge: f64) -> f64 {
    CELL_OHM * volt / NOMINAL_CELL_VOLT * (2.0 - charge.clamp(0.0, 1.0))
}

/// Current at which a coil's iron saturates, relative to the nominal voltage over the resistance of primary and ballast: room for the voltage
/// of a running engine, 14.4 V over 12 (common practice, no source).
const SATURATES_AT: f64 = 1.2;

/// Default crank angle from one opening of a set to the next, degree: one lobe on the camshaft.
const EVERY: f64 = 720.0;
/// Default share of the cam's turn over which points are closed, if the profile gives neither `closed` nor `dwell` (common practice, no
/// source: a bit more than half).
const CLOSED_SHARE: f64 = 0.53;

/// Open-circuit voltage and internal resistance of a bike's battery at a state of charge of 0 to 1, from the profile or typical.
pub fn battery(bike: &Bike, charge: f64) -> (f64, f64) {
    match &bike.electric.battery {
        Some(table) => table.at(charge),
        None => (battery_volt(bike.volt, charge), battery_ohm(bike.volt, charge)),
    }
}

fn timing(bike: &Bike) -> BTreeMap<String, Timing> {
    let dwell = bike.specified.get("dwell").map(|dwell| (dwell.low + dwell.high) / 2.0);
    let of = |(n, set): (usize, &crate::bike::PointsSet)| {
        let own = bike.electric.openings.get(set.id.as_str()).cloned().unwrap_or_default();
        let every = own.every.unwrap_or(EVERY);
        // Dwell is measured in degrees of the points cam, which turns once for each opening of the set.
        let share = dwell.map_or(CLOSED_SHARE, |dwell| (dwell / 360.0).min(0.99));
        // By default the sets open one after another, evenly spaced.
        let opens_at = own.opens_at.unwrap_or(every * n as f64 / bike.points.len() as f64);
        (set.id.value.clone(), Timing { opens_at, closed: own.closed.unwrap_or(every * share), every })
    };
    bike.points.iter().enumerate().map(of).collect()
}

impl Figures {
    /// Resistance of a part's closed contact, from the profile or typical.
    pub(super) fn contact_ohm(&self, part: &str, typical: f64) -> f64 {
        self.own_ohm.get(part).copied().unwrap_or(typical)
    }

    /// Typical figures of a healthy, charged bike.
    pub fn typical(bike: &Bike) -> Self {
        let middle =
            |name: &str, otherwise: f64| bike.specified.get(name).map_or(otherwise, |s| (s.low + s.high) / 2.0);
        let six = bike.volt < 9.0;
        let coil = |c: &crate::bike::Coil| {
            let own = bike.electric.windings.get(c.id.as_str()).cloned().unwrap_or_default();
            CoilFigures {
                primary_ohm: c.primary_ohm,
                // A time constant of 2.5 ms, as in coils for points.
                primary_henry: own.primary_henry.unwrap_or(2.5e-3 * c.primary_ohm),
                saturation_ampere: SATURATES_AT * bike.volt / (c.primary_ohm + bike.ballast_ohm.unwrap_or(0.0)),
                secondary_ohm: own.secondary_ohm.unwrap_or(8000.0),
                ratio: own.ratio.unwrap_or(if six { 80.0 } else { 70.0 }),
                secondary_farad: own.secondary_picofarad.map_or(60e-12, |pico| pico * 1e-12),
                passed_on: 0.7,
                made_for_farad: bike.condensers.first().map_or(0.22e-6, |c| c.microfarad * 1e-6),
                reversed: false,
            }
        };
        let (battery_volt, battery_ohm) = battery(bike, 1.0);
        let each = |value: f64| bike.points.iter().map(|p| (p.id.value.clone(), value)).collect();
        Self {
            battery_volt,
            battery_ohm,
            switch_ohm: 0.01,
            connector_ohm: 0.002,
            fuse_ohm: 0.006,
            points_ohm: 0.01,
            condenser_leak_ohm: 50e6,
            wire_ohm: 0.005,
            celsius: 20.0,
            ballast_ohm: bike.ballast_ohm.unwrap_or(0.0),
            condenser_farad: bike.condensers.iter().map(|c| (c.id.value.clone(), c.microfarad * 1e-6)).collect(),
            coils: bike.coils.iter().map(|c| (c.id.value.clone(), coil(c))).collect(),
            points_gap: each(middle("points-gap", 0.35)),
            timing: timing(bike),
            own_ohm: bike.electric.ohm.clone(),
            plug_gap: bike.plugs.iter().map(|p| (p.id.value.clone(), middle("plug-gap", 0.65))).collect(),
            cap_ohm: 1.0,
            lamp_watt: bike.electric.lamp_watt.unwrap_or(3.0),
            load_bulb_watt: if six { 25.0 } else { 35.0 },
            voltmeter_ohm: 10e6,
            ammeter_ohm: 0.01,
            ohmmeter_top: 20e6,
            tester_gap: 6.0,
            kick_rpm: 400.0,
            running_rpm: 1500.0,
            compression_bar: 8.0,
            compression_kelvin: 550.0,
        }
    }
}
