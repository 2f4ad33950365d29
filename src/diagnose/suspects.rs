//! The faults that a bike may have, as proof and advice need them.

use crate::bike::{Bike, WireRole};
use crate::circuit::Alteration;

/// One fault.
#[derive(Debug, Clone, PartialEq)]
pub struct Suspect {
    /// `KIND:PLACE`.
    pub id: String,
    /// In words.
    pub words: String,
    /// The part that is to be repaired.
    pub part: String,
    /// Its kind.
    pub kind: String,
    /// How likely it is beside the others; any unit.
    pub weight: f64,
    /// What it does to the wiring.
    pub changes: Vec<Alteration>,
}

impl Suspect {
    /// Whether a name of a procedure (`coil-left`, `oily`, `oily:points-left`) is about it.
    pub fn is_meant_by(&self, name: &str) -> bool {
        [&self.part, &self.kind, &self.id].into_iter().any(|own| own == name)
    }
}

/// The names in a rendered text of a procedure: commas separate several.
pub(super) fn names_in(text: &str) -> impl Iterator<Item = String> + '_ {
    text.split(',').map(str::trim).filter(|name| !name.is_empty()).map(str::to_owned)
}

/// INTERIM: a handful of faults until the library is merged.
pub fn suspects(bike: &Bike) -> Vec<Suspect> {
    let mut all = Vec::new();
    let mut add = |kind: &str, part: &str, changes: Vec<Alteration>| {
        all.push(Suspect {
            id: format!("{kind}:{part}"),
            words: format!("{part} {kind}"),
            part: part.to_owned(),
            kind: kind.to_owned(),
            weight: 1.0,
            changes,
        });
    };
    let open = |b: &str| vec![Alteration::Open { branch: b.to_owned() }];
    let series = |b: &str| vec![Alteration::Series { branch: b.to_owned(), ohm: 2.0 }];
    for part in ["key", "kill", "fuse"] {
        if part == "key" || (part == "kill" && bike.kill.is_some()) || (part == "fuse" && bike.fuse.is_some()) {
            add("open", part, open(part));
            add("resistive", part, series(part));
        }
    }
    for c in &bike.connectors {
        add("open", &c.id, open(&c.id));
        add("resistive", &c.id, series(&c.id));
    }
    for w in &bike.wires {
        if !matches!(w.role(), WireRole::Seat | WireRole::Lead) {
            add("open", &w.id(), open(&w.id()));
            add("resistive", &w.id(), series(&w.id()));
        }
    }
    for c in &bike.coils {
        let part = format!("coil-{}", c.id.value);
        add("primary-open", &part, open(&format!("{part}.primary")));
        add("secondary-open", &part, open(&format!("{part}.secondary")));
    }
    for p in &bike.points {
        let part = format!("points-{}", p.id.value);
        add("burnt", &part, open(&part));
        add("welded", &part, vec![Alteration::Ohm { branch: part.clone(), ohm: 0.01 }]);
    }
    all
}
