//! The two shipped bikes (invented) as test data, figure for figure as in procedures/bikes.

use probeside::bike::*;
use probeside::trade::Unit;
use probeside::written::{Place, Written};
use std::collections::BTreeMap;

fn place() -> Place {
    Place { file: "test".into(), line: 0, column: 0 }
}

fn w(value: &str) -> Written<String> {
    Written { value: value.to_owned(), place: place() }
}

fn switch(action: KillAction, positions: &[(&str, bool)]) -> Switch {
    let positions = positions.iter().map(|(name, connects)| SwitchPosition { name: w(name), connects: *connects });
    Switch { positions: positions.collect(), action, location: String::new() }
}

fn connector(id: &str, first: &str, second: &str) -> Connector {
    let halves = [first.to_owned(), second.to_owned()];
    Connector { id: w(id), words: id.to_owned(), halves, location: String::new() }
}

fn wire(from: &str, to: &str, metre: f64, mm2: f64) -> Wire {
    Wire { from: w(from), to: w(to), colour: w("BK"), metre: Some(metre), mm2: Some(mm2) }
}

fn specified(name: &str, low: f64, high: f64, unit: Unit) -> (String, Specified) {
    (name.to_owned(), Specified { low, high, unit, source: "this profile (invented)".to_owned() })
}

pub fn heron_twin() -> Bike {
    Bike {
        name: w("Heron Twin 360").value,
        maker: w("Heronworks (invented)").value,
        volt: 12.0,
        ground: Polarity::Negative,
        starter: Starter::Kick,
        ballast_ohm: None,
        fuse: Some(Fuse { ampere: 15.0, location: String::new() }),
        key: switch(KillAction::OpensFeed, &[("off", false), ("on", true)]),
        kill: Some(switch(KillAction::OpensFeed, &[("off left", false), ("run", true), ("off right", false)])),
        points: vec![
            PointsSet { id: w("left"), side: Side::Left, coil: w("left"), connector: w("left-points") },
            PointsSet { id: w("right"), side: Side::Right, coil: w("right"), connector: w("right-points") },
        ],
        coils: vec![
            Coil { id: w("left"), side: Side::Left, plugs: vec![w("left")], primary_ohm: 4.5 },
            Coil { id: w("right"), side: Side::Right, plugs: vec![w("right")], primary_ohm: 4.5 },
        ],
        condensers: vec![
            Condenser { id: w("left"), points: w("left"), half: w("points-side"), microfarad: 0.24 },
            Condenser { id: w("right"), points: w("right"), half: w("points-side"), microfarad: 0.24 },
        ],
        plugs: vec![Plug { id: w("left"), side: Side::Left }, Plug { id: w("right"), side: Side::Right }],
        connectors: vec![
            connector("main", "supply-side", "load-side"),
            connector("coil-feed", "supply-side", "load-side"),
            connector("left-points", "coil-side", "points-side"),
            connector("right-points", "coil-side", "points-side"),
        ],
        wires: vec![
            wire("battery.live", "fuse.supply", 0.2, 2.5),
            wire("fuse.load", "main.supply-side", 1.1, 1.5),
            wire("main.load-side", "key.supply", 0.2, 1.5),
            wire("key.load", "kill.supply", 0.7, 1.0),
            wire("kill.load", "coil-feed.supply-side", 0.9, 1.0),
            wire("coil-feed.load-side", "coil-left.feed", 0.2, 1.0),
            wire("coil-feed.load-side", "coil-right.feed", 0.2, 1.0),
            wire("coil-left.points", "left-points.coil-side", 0.2, 1.0),
            wire("coil-right.points", "right-points.coil-side", 0.2, 1.0),
            wire("left-points.points-side", "points-left.wire", 0.6, 1.0),
            wire("right-points.points-side", "points-right.wire", 0.6, 1.0),
            wire("left-points.points-side", "condenser-left.lead", 0.1, 0.75),
            wire("right-points.points-side", "condenser-right.lead", 0.1, 0.75),
            wire("condenser-left.case", "frame", 0.1, 0.75),
            wire("condenser-right.case", "frame", 0.1, 0.75),
            wire("points-left.plate", "engine", 0.05, 2.5),
            wire("points-right.plate", "engine", 0.05, 2.5),
            wire("engine", "frame", 0.3, 4.0),
            wire("battery.ground", "frame", 0.3, 4.0),
            wire("coil-left.lead", "plug-left.top", 0.4, 1.0),
            wire("coil-right.lead", "plug-right.top", 0.4, 1.0),
            wire("plug-left.thread", "engine", 0.05, 4.0),
            wire("plug-right.thread", "engine", 0.05, 4.0),
        ],
        terminals: BTreeMap::new(),
        specified: [
            specified("points-gap", 0.3, 0.4, Unit::Millimetre),
            specified("plug-gap", 0.6, 0.7, Unit::Millimetre),
            specified("coil-primary", 4.0, 5.0, Unit::Ohm),
            specified("dwell", 185.0, 200.0, Unit::Degree),
        ]
        .into(),
        place: place(),
    }
}

pub fn wren_single() -> Bike {
    Bike {
        name: w("Wren Single 175").value,
        maker: w("Wren and Daughters (invented)").value,
        volt: 6.0,
        ground: Polarity::Positive,
        starter: Starter::Kick,
        ballast_ohm: None,
        fuse: Some(Fuse { ampere: 15.0, location: String::new() }),
        key: switch(KillAction::OpensFeed, &[("off", false), ("on", true)]),
        kill: None,
        points: vec![PointsSet { id: w("single"), side: Side::Centre, coil: w("single"), connector: w("low-tension") }],
        coils: vec![Coil { id: w("single"), side: Side::Centre, plugs: vec![w("single")], primary_ohm: 1.6 }],
        condensers: vec![Condenser { id: w("single"), points: w("single"), half: w("coil-side"), microfarad: 0.22 }],
        plugs: vec![Plug { id: w("single"), side: Side::Centre }],
        connectors: vec![
            connector("main", "supply-side", "load-side"),
            connector("coil-feed", "supply-side", "load-side"),
            connector("low-tension", "coil-side", "points-side"),
        ],
        wires: vec![
            wire("battery.live", "fuse.supply", 0.2, 2.5),
            wire("fuse.load", "main.supply-side", 1.0, 2.5),
            wire("main.load-side", "key.supply", 0.2, 2.5),
            wire("key.load", "coil-feed.supply-side", 0.8, 2.5),
            wire("coil-feed.load-side", "coil-single.feed", 0.1, 2.5),
            wire("coil-single.points", "low-tension.coil-side", 0.3, 1.5),
            wire("low-tension.points-side", "points-single.wire", 0.3, 1.5),
            wire("low-tension.coil-side", "condenser-single.lead", 0.1, 0.75),
            wire("condenser-single.case", "frame", 0.1, 0.75),
            wire("points-single.plate", "engine", 0.05, 2.5),
            wire("engine", "frame", 0.3, 4.0),
            wire("battery.ground", "frame", 0.3, 4.0),
            wire("coil-single.lead", "plug-single.top", 0.4, 1.0),
            wire("plug-single.thread", "engine", 0.05, 4.0),
        ],
        terminals: BTreeMap::new(),
        specified: [
            specified("points-gap", 0.35, 0.45, Unit::Millimetre),
            specified("plug-gap", 0.5, 0.6, Unit::Millimetre),
            specified("coil-primary", 1.4, 1.8, Unit::Ohm),
            specified("dwell", 185.0, 205.0, Unit::Degree),
        ]
        .into(),
        place: place(),
    }
}
