//! What is good where a profile does not say: one limit for each quantity, with its source.

use super::{Bike, Starter};
use crate::units::Unit;

/// Share of the battery's nominal voltage that it may lose under a headlamp bulb, where a kickstarter is all it has to serve.
const LOAD_DROP_KICKED: f64 = 0.1;
/// The same where it has to turn an electric starter as well.
const LOAD_DROP_STARTED: f64 = 0.029;
/// Least resistance from a plug's top to its thread, megohm.
const PLUG_INSULATION_MEGOHM: f64 = 10.0;
/// Share of the battery's nominal voltage that one healthy wire, joint or switch may lose under the coil's current.
const PIECE_DROP: f64 = 0.015;
/// The same, least, volt: a switch of common resistance loses as much at six volt as at twelve, where coils draw no less current.
const PIECE_DROP_LEAST: f64 = 0.12;
/// Plug gaps that are common, millimetre.
const PLUG_GAP_MILLIMETRE: [f64; 2] = [0.5, 0.75];

/// A limit that holds for want of the profile's own: lowest and highest good value, unit and source.
pub(super) struct Usual {
    pub(super) name: &'static str,
    pub(super) low: f64,
    pub(super) high: f64,
    pub(super) unit: Unit,
    pub(super) source: &'static str,
}

/// All of them.
pub(super) fn usual(bike: &Bike) -> Vec<Usual> {
    let drop = match bike.starter {
        Some(Starter::Electric | Starter::Both) => LOAD_DROP_STARTED,
        Some(Starter::Kick) | None => LOAD_DROP_KICKED,
    };
    let ohms = bike.coils.iter().filter_map(|coil| bike.part(&coil.part)?.values.get("primary-ohm").copied());
    let ohms: Vec<f64> = ohms.collect();
    let of_coils = (!ohms.is_empty()).then(|| Usual {
        name: "coil_primary",
        low: ohms.iter().copied().fold(f64::MAX, f64::min),
        high: ohms.iter().copied().fold(0.0, f64::max),
        unit: Unit::Ohm,
        source: "what the profile states for its coils",
    });
    let always = [
        Usual {
            name: "plug_gap",
            low: PLUG_GAP_MILLIMETRE[0],
            high: PLUG_GAP_MILLIMETRE[1],
            unit: Unit::Millimetre,
            source: "common practice, no source; the bike's manual decides",
        },
        Usual {
            name: "plug_insulation",
            low: PLUG_INSULATION_MEGOHM,
            high: f64::MAX,
            unit: Unit::Megohm,
            source: "common practice, no source: less than ten megohm weakens the spark (from memory)",
        },
        Usual {
            name: "load_drop",
            low: 0.0,
            high: bike.volt * drop,
            unit: Unit::Volt,
            source: "common practice, no source: a battery that has to turn a starter may lose less under a headlamp bulb",
        },
        Usual {
            name: "piece_drop",
            low: 0.0,
            high: (bike.volt * PIECE_DROP).max(PIECE_DROP_LEAST),
            unit: Unit::Volt,
            source: "common practice, no source: one wire or joint loses no more than a fifth of a volt on 12 volt; drawn at 1.5 percent, and never under 0.12 volt",
        },
    ];
    always.into_iter().chain(of_coils).collect()
}
