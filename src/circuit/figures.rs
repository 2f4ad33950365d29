//! The figures of a bike: the values of its parts, from the profile and the catalogue, and those of instruments, air and engine.
//!
//! Every default here is common practice without a source, unless it names one.

use super::iron::Iron;
use super::plan::{self, Numbers, Plan};
use super::{Alteration, CircuitError};
use crate::bike::{Bike, Part};
use crate::parts::PrimitiveKind;
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
    /// The part's id.
    pub part: String,
    /// The terminal that is fed, and the one that the points ground.
    pub ends: [String; 2],
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
    /// The values of every part, by its id and their name, in the catalogue's units.
    pub values: BTreeMap<String, BTreeMap<String, f64>>,
    /// The figures of every primitive, in the plan's order.
    pub(super) numbers: Numbers,
    /// A wire whose length or cross-section is not in the profile, or parts that touch, ohm.
    pub wire_ohm: f64,
    /// Temperature of the wires and windings, degree Celsius.
    pub celsius: f64,
    /// Condensers by short name, farad.
    pub condenser_farad: BTreeMap<String, f64>,
    /// Coils by short name.
    pub coils: BTreeMap<String, CoilFigures>,
    /// Points gaps by set, millimetre.
    pub points_gap: BTreeMap<String, f64>,
    /// When each set is open.
    pub timing: BTreeMap<String, Timing>,
    /// Plug gaps by plug, millimetre.
    pub plug_gap: BTreeMap<String, f64>,
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

impl Figures {
    /// Typical figures of a healthy, charged bike.
    ///
    /// # Errors
    /// An expression of the catalogue that does not come out.
    pub(super) fn typical(bike: &Bike, plan: &Plan) -> Result<Self, CircuitError> {
        let mut values = BTreeMap::new();
        for part in &bike.parts {
            values.insert(part.id.value.clone(), of_part(bike, part, &BTreeMap::new())?);
        }
        let mut figures = Self {
            values,
            numbers: Numbers::new(),
            wire_ohm: 0.005,
            celsius: 20.0,
            condenser_farad: BTreeMap::new(),
            coils: BTreeMap::new(),
            points_gap: BTreeMap::new(),
            timing: BTreeMap::new(),
            plug_gap: BTreeMap::new(),
            lamp_watt: bike.lamp_watt.unwrap_or(3.0),
            load_bulb_watt: if bike.volt < 9.0 { 25.0 } else { 35.0 },
            voltmeter_ohm: 10e6,
            ammeter_ohm: 0.01,
            ohmmeter_top: 20e6,
            tester_gap: 6.0,
            kick_rpm: 400.0,
            running_rpm: 1500.0,
            compression_bar: 8.0,
            compression_kelvin: 550.0,
        };
        figures.derive(bike, plan)?;
        let made_for = figures.condenser_farad.values().next().copied().unwrap_or(0.22e-6);
        figures.coils.values_mut().for_each(|coil| coil.made_for_farad = made_for);
        Ok(figures)
    }

    /// The figures with some values of parts changed: by part, name and new value.
    ///
    /// # Errors
    /// [`CircuitError::Unknown`] for a part or a value that the bike does not have.
    pub(super) fn changed(&self, bike: &Bike, plan: &Plan, changes: &[Alteration]) -> Result<Self, CircuitError> {
        let mut sets: BTreeMap<&str, BTreeMap<String, f64>> = BTreeMap::new();
        for change in changes {
            let (part, value, number) = match change {
                Alteration::Set { part, value, to } => (part, value, (*to, 1.0)),
                Alteration::Scale { part, value, by } => (part, value, (0.0, *by)),
                _ => continue,
            };
            let own = self.values.get(part).ok_or_else(|| unknown("part", part))?;
            let before = own.get(value).copied().ok_or_else(|| unknown("value of a part", value))?;
            let set = sets.entry(part).or_default();
            let before = set.get(value).copied().unwrap_or(before);
            let new = if matches!(change, Alteration::Set { .. }) { number.0 } else { before * number.1 };
            set.insert(value.clone(), new);
        }
        let mut figures = self.clone();
        for (id, set) in sets {
            let Some(part) = bike.part(id) else { return Err(unknown("part", id)) };
            figures.values.insert(id.to_owned(), of_part(bike, part, &set)?);
        }
        figures.derive(bike, plan)?;
        for (id, coil) in &mut figures.coils {
            coil.made_for_farad = self.coils.get(id).map_or(coil.made_for_farad, |own| own.made_for_farad);
        }
        Ok(figures)
    }

    /// Computes what follows from the values.
    pub(super) fn derive(&mut self, bike: &Bike, plan: &Plan) -> Result<(), CircuitError> {
        let none = BTreeMap::new();
        self.numbers = Numbers::with_capacity(plan.primitives.len());
        for (p, n) in &plan.primitives {
            let part = &bike.parts[*p];
            let primitive = &part.kind.model[*n];
            let values = self.values.get(part.id.as_str()).unwrap_or(&none);
            let mut numbers = BTreeMap::new();
            for name in primitive.figures.keys() {
                numbers.insert(name.clone(), primitive.figure(name, values).map_err(catalogue)?);
            }
            self.numbers.push(numbers);
        }
        let made_for = |figures: &Self, id: &str| figures.coils.get(id).map_or(0.22e-6, |coil| coil.made_for_farad);
        let mut coils = BTreeMap::new();
        let (mut timing, mut points_gap, mut farads, mut plug_gap) =
            (BTreeMap::new(), BTreeMap::new(), BTreeMap::new(), BTreeMap::new());
        for (at, (p, n)) in plan.primitives.iter().enumerate() {
            let part = &bike.parts[*p];
            let id = part.short_id().to_owned();
            let one = |name: &str| plan::one(&self.numbers, at, name);
            match part.kind.model[*n].kind {
                PrimitiveKind::Windings => {
                    let coil = CoilFigures {
                        primary_ohm: one("primary-ohm")?,
                        primary_henry: one("primary-henry")?,
                        saturation_ampere: one("saturation-ampere")?,
                        secondary_ohm: one("secondary-ohm")?,
                        ratio: one("ratio")?,
                        secondary_farad: one("secondary-farad")?,
                        passed_on: one("passed-on")?,
                        made_for_farad: made_for(self, &id),
                        reversed: one("polarity").is_ok_and(|polarity| polarity < 0.0),
                        part: part.id.value.clone(),
                        ends: bike
                            .coils
                            .iter()
                            .find(|coil| coil.id == id)
                            .map(|coil| coil.ends.clone())
                            .unwrap_or_default(),
                    };
                    coils.insert(id, coil);
                }
                PrimitiveKind::Breaker => {
                    let times = Timing { opens_at: one("opens-at")?, closed: one("closed")?, every: one("every")? };
                    timing.insert(id.clone(), times);
                    points_gap.insert(id, one("millimetre")?);
                }
                PrimitiveKind::Capacitance => {
                    farads.insert(id, one("microfarad")? * 1e-6);
                }
                PrimitiveKind::Gap => {
                    plug_gap.insert(id, one("millimetre")?);
                }
                _ => {}
            }
        }
        (self.coils, self.timing, self.points_gap, self.condenser_farad, self.plug_gap) =
            (coils, timing, points_gap, farads, plug_gap);
        Ok(())
    }
}

fn of_part(bike: &Bike, part: &Part, changed: &BTreeMap<String, f64>) -> Result<BTreeMap<String, f64>, CircuitError> {
    bike.values(part, changed).map_err(catalogue)
}

fn catalogue(wrong: crate::source::Diagnostic) -> CircuitError {
    CircuitError::Catalogue(wrong.to_string())
}

fn unknown(what: &'static str, name: &str) -> CircuitError {
    CircuitError::Unknown { what, name: name.to_owned() }
}
