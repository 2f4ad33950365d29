//! Loads a bike's profile from its YAML file. `check` verifies that the names in it exist.

use super::shape::{BIKE, IGNITION, MOST_PARTS};
use super::{
    Bike, Coil, Condenser, Connector, Fuse, KillAction, Plug, PointsSet, Polarity, Side, Specified, Starter, Switch,
    SwitchPosition, Wire,
};
use crate::source::tree::{self, Node};
use crate::source::{Diagnostic, read_text};
use crate::units::Unit;
use std::path::Path;

/// Loads the bike in `path`.
///
/// # Errors
/// Every error in the file, each with its place.
pub fn load(path: &Path) -> Result<Bike, Vec<Diagnostic>> {
    let text = read_text(path).map_err(|error| vec![error])?;
    parse(&text, &path.to_string_lossy())
}

/// Parses a bike from `text`. `file` is the name used in places.
///
/// # Errors
/// As [`load`].
///
/// ```
/// let wrong = probeside::bike::parse("bike: Borage\nvolts: 12\n", "borage.yaml").unwrap_err();
/// assert_eq!(wrong[0].to_string().lines().next(), Some("borage.yaml:2:1: error [unknown-field] a bike has no field `volts`"));
/// ```
pub fn parse(text: &str, file: &str) -> Result<Bike, Vec<Diagnostic>> {
    let root = tree::parse(text, file)?;
    from_tree(&root)
}

/// Decodes a bike from its tree.
///
/// # Errors
/// As [`load`].
pub fn from_tree(root: &Node) -> Result<Bike, Vec<Diagnostic>> {
    if let Some(ignition) = root.get("ignition").filter(|node| node.spelling != IGNITION) {
        let message = format!(
            "`{}` ignition is refused: these tests are for battery-and-coil points ignition only",
            ignition.spelling
        );
        let why = "A magneto or an energy-transfer system has no battery feed to probe and grounds its points differently, so the \
                   answers would lead to wrong conclusions. Only `battery-and-coil-points` is taken.";
        return Err(vec![Diagnostic::error(&ignition.place, "ignition", message).help(why)]);
    }
    let mut findings = Vec::new();
    BIKE.check(root, "the file", &mut findings);
    for (name, value) in root.dict("specified") {
        if value.number("low") > value.number("high") {
            let message = format!("`{}` has a `low` above its `high`", *name);
            findings.push(Diagnostic::error(&value.place, "limits", message).help("Exchange the two."));
        }
    }
    for kind in ["points", "coils", "condensers", "plugs", "connectors", "terminals", "specified"] {
        let (count, place) = (root.dict(kind).count(), root.get(kind).map_or(&root.place, |of| &of.place));
        // Two terminals for each part of the five kinds.
        let most = if kind == "terminals" { 10 * MOST_PARTS } else { MOST_PARTS };
        if count > most {
            let message = format!("`{kind}` has {count} entries and needs at most {most}");
            let help = "Keep to what belongs to the ignition and its supply.";
            findings.push(Diagnostic::error(place, "count", message).help(help));
        }
    }
    super::electric::check(root, &mut findings);
    if findings.is_empty() { Ok(decode(root)) } else { Err(findings) }
}

fn decode(root: &Node) -> Bike {
    let nothing = || Node { kind: tree::Kind::Nothing, place: root.place.clone(), spelling: String::new() };
    let key = root.get("key").cloned().unwrap_or_else(nothing);
    Bike {
        name: root.text("bike").value,
        maker: root.text("maker").value,
        volt: root.number("volt").unwrap_or_default(),
        ground: if *root.text("ground") == "positive" { Polarity::Positive } else { Polarity::Negative },
        starter: match root.text("starter").as_str() {
            "kick" => Starter::Kick,
            "electric" => Starter::Electric,
            _ => Starter::Both,
        },
        ballast_ohm: root.get("ballast").and_then(|ballast| ballast.number("ohm")),
        fuse: root
            .get("fuse")
            .map(|fuse| Fuse { ampere: fuse.number("ampere").unwrap_or_default(), location: fuse.text("where").value }),
        key: switch(&key),
        kill: root.get("kill").map(switch),
        points: root
            .dict("points")
            .map(|(id, of)| PointsSet { id, side: side(of), coil: of.text("coil"), connector: of.text("connector") })
            .collect(),
        coils: root
            .dict("coils")
            .map(|(id, of)| Coil {
                id,
                side: side(of),
                plugs: of.texts("plugs"),
                primary_ohm: of.number("primary-ohm").unwrap_or_default(),
            })
            .collect(),
        condensers: root
            .dict("condensers")
            .map(|(id, of)| Condenser {
                id,
                points: of.text("points"),
                half: of.text("half"),
                microfarad: of.number("microfarad").unwrap_or_default(),
            })
            .collect(),
        plugs: root.dict("plugs").map(|(id, of)| Plug { id, side: side(of) }).collect(),
        connectors: root.dict("connectors").map(|(id, of)| connector(id, of)).collect(),
        wires: root.get("wires").map(Node::items).unwrap_or_default().iter().map(wire).collect(),
        terminals: root.dict("terminals").map(|(name, words)| (name.value, words.written())).collect(),
        specified: root.dict("specified").filter_map(|(name, of)| Some((name.value, specified(of)?))).collect(),
        electric: super::electric::decode(root),
        place: root.place.clone(),
    }
}

fn side(of: &Node) -> Side {
    match of.text("side").as_str() {
        "left" => Side::Left,
        "right" => Side::Right,
        _ => Side::Centre,
    }
}

fn switch(of: &Node) -> Switch {
    let position = |(name, does): (_, &Node)| SwitchPosition { name, connects: does.spelling == "connects" };
    Switch {
        positions: of.dict("positions").map(position).collect(),
        action: if *of.text("does") == "grounds-points" { KillAction::GroundsPoints } else { KillAction::OpensFeed },
        location: of.text("where").value,
    }
}

fn connector(id: crate::source::Written<String>, of: &Node) -> Connector {
    let mut halves = of.texts("halves").into_iter().map(|half| half.value);
    let mut half = || halves.next().unwrap_or_default();
    Connector { id, words: of.text("words").value, halves: [half(), half()], location: of.text("where").value }
}

fn wire(of: &Node) -> Wire {
    Wire {
        from: of.text("from"),
        to: of.text("to"),
        colour: of.text("colour"),
        metre: of.number("metre"),
        mm2: of.number("mm2"),
    }
}

fn specified(of: &Node) -> Option<Specified> {
    Some(Specified {
        low: of.number("low")?,
        high: of.number("high")?,
        unit: Unit::named(&of.text("unit"))?,
        source: of.text("source").value,
    })
}
