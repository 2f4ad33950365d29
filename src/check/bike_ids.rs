//! Ids on a bike that name nothing.
//!
//! Why: a points set whose coil is misspelled would be tested against no coil at all.
//!
//! Example: `points: {left: {coil: letf, ...}}`.

use super::Findings;
use crate::bike::Bike;
use crate::source::shape::suggestion;
use crate::source::{Diagnostic, Written};

pub(super) fn check(bike: &Bike, found: &mut Findings) {
    let coils: Vec<&str> = bike.coils.iter().map(|coil| coil.id.as_str()).collect();
    let plugs: Vec<&str> = bike.plugs.iter().map(|plug| plug.id.as_str()).collect();
    let points: Vec<&str> = bike.points.iter().map(|set| set.id.as_str()).collect();
    let connectors: Vec<&str> = bike.connectors.iter().map(|connector| connector.id.as_str()).collect();
    let mut known = |what: &str, id: &Written<String>, names: &[&str]| {
        if !names.contains(&id.as_str()) {
            let message = format!("the bike has no {what} `{}`", **id);
            found.add(Diagnostic::error(&id.place, "unknown-part", message).help(suggestion(id, names)));
        }
    };
    for set in &bike.points {
        known("coil", &set.coil, &coils);
        known("connector", &set.connector, &connectors);
    }
    for coil in &bike.coils {
        coil.plugs.iter().for_each(|plug| known("plug", plug, &plugs));
    }
    for condenser in &bike.condensers {
        known("points set", &condenser.points, &points);
    }
    for condenser in &bike.condensers {
        let set = bike.points.iter().find(|set| *set.id == *condenser.points);
        let connector = set.and_then(|set| bike.connectors.iter().find(|c| *c.id == *set.connector));
        if let Some(connector) = connector.filter(|connector| !connector.halves.contains(&condenser.half)) {
            let message = format!("the connector `{}` has no half `{}`", *connector.id, *condenser.half);
            let names: Vec<&str> = connector.halves.iter().map(String::as_str).collect();
            found.add(
                Diagnostic::error(&condenser.half.place, "unknown-part", message)
                    .help(suggestion(&condenser.half, &names)),
            );
        }
    }
    for coil in &bike.coils {
        if bike.points.iter().all(|set| *set.coil != *coil.id) {
            let message = format!("no points set switches the coil `{}`", *coil.id);
            found.add(
                Diagnostic::error(&coil.id.place, "unknown-part", message).help("Name it in a points set's `coil`."),
            );
        }
    }
    for plug in &bike.plugs {
        if bike.coils.iter().all(|coil| coil.plugs.iter().all(|id| **id != *plug.id)) {
            let message = format!("no coil fires the plug `{}`", *plug.id);
            found.add(Diagnostic::error(&plug.id.place, "unknown-part", message).help("Name it in a coil's `plugs`."));
        }
    }
}
