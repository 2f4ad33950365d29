//! Loads a bike's profile from its YAML file. `check` verifies that the names in it exist.

use super::shape::{BIKE, MOST_PARTS, sides};
use super::{Bike, Part, Polarity, Shaft, Side, Specified, Starter, Wire, WireRole};
use crate::parts::{Catalogue, Ends, PartKind, PrimitiveKind};
use crate::source::shape::suggestion;
use crate::source::tree::{self, Kind, Node};
use crate::source::{Diagnostic, Written, read_text};
use crate::units::Unit;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::Arc;

/// Fields that every part may have.
const COMMON: [&str; 4] = ["kind", "words", "side", "where"];
/// Fields of a profile as it was written before parts had a catalogue.
const OLD_FIELDS: [&str; 9] =
    ["ignition", "battery", "ballast", "fuse", "key", "kill", "coils", "connectors", "condensers"];

/// Loads the bike in `path`. Kinds of part in the folder `parts` beside the bike's own folder take precedence over the shipped ones.
///
/// # Errors
/// Every error in the file, each with its place.
pub fn load(path: &Path) -> Result<Bike, Vec<Diagnostic>> {
    let text = read_text(path).map_err(|error| vec![error])?;
    from_tree(&tree::parse(&text, &path.to_string_lossy())?, &beside(path)?)
}

/// The catalogue for the bike in `path`.
///
/// # Errors
/// Every error in the folder `parts` beside the bike's own folder.
pub fn beside(path: &Path) -> Result<Catalogue, Vec<Diagnostic>> {
    match path.parent().and_then(Path::parent) {
        Some(folder) => Catalogue::with_folder(&folder.join("parts")),
        None => Ok(Catalogue::shipped().clone()),
    }
}

/// Parses a bike from `text`, with the shipped catalogue. `file` is the name used in places.
///
/// # Errors
/// As [`load`].
///
/// ```
/// let wrong = probeside::bike::parse("bike: Borage\nvolts: 12\n", "borage.yaml").unwrap_err();
/// assert_eq!(wrong[0].to_string().lines().next(), Some("borage.yaml:2:1: error [unknown-field] a bike has no field `volts`"));
/// ```
pub fn parse(text: &str, file: &str) -> Result<Bike, Vec<Diagnostic>> {
    from_tree(&tree::parse(text, file)?, Catalogue::shipped())
}

/// Decodes a bike from its tree.
///
/// # Errors
/// As [`load`].
pub fn from_tree(root: &Node, catalogue: &Catalogue) -> Result<Bike, Vec<Diagnostic>> {
    if root.get("parts").is_none()
        && let Some((key, _)) = root.entries().iter().find(|(key, _)| OLD_FIELDS.contains(&key.name.as_str()))
    {
        let message =
            format!("this profile is of the old form: `{}` stands beside the parts, not among them", *key.name);
        let help = "Write every part under `parts:`, each with its `kind`, and `points-cam: camshaft` or `crank`; procedures/FORMAT.md, \"A bike\", \
                    has an example. A switch's positions name the terminals that they join; a plug's cap is a part, with the lead to its `lead`.";
        return Err(vec![Diagnostic::error(&key.name.place, "old-profile", message).help(help)]);
    }
    let mut findings = Vec::new();
    BIKE.check(root, "the file", &mut findings);
    if !findings.is_empty() {
        return Err(findings);
    }
    for (name, value) in root.dict("specified") {
        if value.number("low") > value.number("high") {
            let message = format!("`{}` has a `low` above its `high`", *name);
            findings.push(Diagnostic::error(&value.place, "limits", message).help("Exchange the two."));
        }
    }
    for (kind, most) in [("parts", MOST_PARTS), ("terminals", 2 * MOST_PARTS), ("specified", MOST_PARTS)] {
        let (count, place) = (root.dict(kind).count(), root.get(kind).map_or(&root.place, |of| &of.place));
        if count > most {
            let message = format!("`{kind}` has {count} entries and needs at most {most}");
            let help = "Keep to what belongs to the ignition and its supply.";
            findings.push(Diagnostic::error(place, "count", message).help(help));
        }
    }
    let mut parts = Vec::new();
    for (id, of) in root.dict("parts") {
        parts.extend(part(id, of, catalogue, &mut findings));
    }
    if !findings.is_empty() {
        return Err(findings);
    }
    let bike = decode(root, parts);
    same_names(&bike, &mut findings);
    figures(&bike, &mut findings);
    timing(&bike, &mut findings);
    if findings.is_empty() { Ok(bike) } else { Err(findings) }
}

/// A part, checked against its kind.
fn part(id: Written<String>, of: &Node, catalogue: &Catalogue, findings: &mut Vec<Diagnostic>) -> Option<Part> {
    let Some(named) = of.get("kind") else {
        let message = format!("the part `{}` needs the field `kind`", *id);
        findings
            .push(Diagnostic::error(&id.place, "missing-field", message).help("Name a kind of the catalogue: fuse."));
        return None;
    };
    let Some(kind) = catalogue.kind(&named.spelling) else {
        let message = format!("the catalogue has no kind of part `{}`", named.spelling);
        let help = suggestion(&named.spelling, &catalogue.names());
        findings.push(Diagnostic::error(&named.place, "unknown-kind", message).help(help));
        return None;
    };
    let before = findings.len();
    let mut part = Part {
        id,
        kind: kind.clone(),
        words: None,
        side: Side::Centre,
        location: String::new(),
        values: BTreeMap::new(),
        halves: None,
        positions: Vec::new(),
    };
    for (key, node) in of.entries() {
        let mut wrong = |what: String| {
            let message = format!("`{}` of `{}` needs {what} and has {}", *key.name, *part.id, node.describe());
            findings.push(Diagnostic::error(&node.place, "wrong-type", message));
        };
        match (key.name.as_str(), &node.kind) {
            ("kind", _) => {}
            ("words", Kind::Text(words)) => part.words = Some(words.clone()),
            ("where", Kind::Text(words)) => part.location.clone_from(words),
            ("side", _) => match Side::named(&node.spelling) {
                Some(side) => part.side = side,
                None => wrong(format!("one of {}", sides().join(", "))),
            },
            ("halves", Kind::List(halves)) if has_ends(kind, &Ends::Halves) => match halves.as_slice() {
                [first, second] if first.spelling != second.spelling => {
                    part.halves = Some([first.spelling.clone(), second.spelling.clone()]);
                }
                _ => wrong("two different names".to_owned()),
            },
            ("positions", Kind::Map(positions)) if has_ends(kind, &Ends::Positions) => {
                let full = |contact: &Node| {
                    let end = |n: usize| format!("{}.{}", *part.id, contact.items()[n].spelling);
                    [end(0), end(1)]
                };
                let position = |(name, contacts): &(tree::Key, Node)| {
                    (name.name.clone(), contacts.items().iter().map(full).collect::<Vec<_>>())
                };
                part.positions = positions.iter().map(position).collect();
                if part.positions.iter().flat_map(|(_, contacts)| contacts).any(|[a, b]| a == b) {
                    wrong("contacts between two different terminals".to_owned());
                }
            }
            (name, Kind::Number(number)) if kind.value(name).is_some() => {
                let limits = kind.value(name).map_or((0.0, 0.0), |value| value.limits);
                if (limits.0..=limits.1).contains(number) {
                    part.values.insert(name.to_owned(), *number);
                } else {
                    wrong(format!("a number from {} to {}", limits.0, limits.1));
                }
            }
            (name, _) if kind.value(name).is_some() => wrong("a number".to_owned()),
            (name, _) => {
                let mut names: Vec<&str> = COMMON.to_vec();
                names.extend(kind.values.iter().map(|value| value.name.as_str()));
                names.extend(has_ends(kind, &Ends::Halves).then_some("halves"));
                names.extend(has_ends(kind, &Ends::Positions).then_some("positions"));
                let known = names.contains(&name);
                let message = format!("a {} has no field `{name}`", *kind.id);
                match known {
                    true => wrong("something else".to_owned()),
                    false => findings.push(
                        Diagnostic::error(&key.name.place, "unknown-field", message).help(suggestion(name, &names)),
                    ),
                }
            }
        }
    }
    needs(&part, of, findings);
    (findings.len() == before).then_some(part)
}

/// What a part's kind needs and the profile does not give.
fn needs(part: &Part, of: &Node, findings: &mut Vec<Diagnostic>) {
    let kind = &part.kind;
    let mut missing: Vec<&str> = Vec::new();
    let not_given = |value: &&crate::parts::Value| value.usual.is_none() && of.get(&value.name).is_none();
    missing.extend(kind.values.iter().filter(not_given).map(|value| value.name.as_str()));
    missing.extend((has_ends(kind, &Ends::Halves) && of.get("halves").is_none()).then_some("halves"));
    missing.extend((has_ends(kind, &Ends::Positions) && of.get("positions").is_none()).then_some("positions"));
    for name in missing {
        let message = format!("the {} `{}` needs the field `{name}`", *kind.id, *part.id);
        let about = kind
            .value(name)
            .map_or("Its two halves, or its positions with the terminals that they join.", |v| &v.about);
        findings.push(Diagnostic::error(&of.place, "missing-field", message).help(about));
    }
}

fn has_ends(kind: &PartKind, ends: &Ends) -> bool {
    kind.model.iter().any(|primitive| primitive.ends == *ends)
}

fn decode(root: &Node, parts: Vec<Part>) -> Bike {
    let named = |field: &str| root.written_at(field).map(|text| text.value).unwrap_or_default();
    let mut bike = Bike {
        name: root.text("bike").value,
        maker: root.text("maker").value,
        volt: root.number("volt").unwrap_or_default(),
        ground: Polarity::named(&named("ground")).unwrap_or(Polarity::Negative),
        starter: Starter::named(&named("starter")),
        points_cam: Shaft::named(&named("points-cam")),
        lamp_watt: root.get("test-lamp").and_then(|of| of.number("watt")),
        parts,
        wires: root.get("wires").map(Node::items).unwrap_or_default().iter().map(wire).collect(),
        terminals: root.dict("terminals").map(|(name, words)| (name.value, words.written())).collect(),
        specified: root.dict("specified").filter_map(|(name, of)| Some((name.value, specified(of)?))).collect(),
        fuse: None,
        switches: Vec::new(),
        points: Vec::new(),
        coils: Vec::new(),
        condensers: Vec::new(),
        plugs: Vec::new(),
        connectors: Vec::new(),
        battery: None,
        grounded: BTreeSet::new(),
        place: root.place.clone(),
    };
    super::roles::find(&mut bike);
    bike
}

fn wire(of: &Node) -> Wire {
    Wire {
        from: of.text("from"),
        to: of.text("to"),
        colour: of.written_at("colour"),
        metre: of.number("metre"),
        mm2: of.number("mm2"),
        role: WireRole::Other,
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

/// Two parts with the same part in the ignition need different short names: `coil-left` and `left` are both the coil `left`.
fn same_names(bike: &Bike, findings: &mut Vec<Diagnostic>) {
    for kind in [PrimitiveKind::Breaker, PrimitiveKind::Windings, PrimitiveKind::Capacitance, PrimitiveKind::Gap] {
        let mut names: BTreeMap<&str, &str> = BTreeMap::new();
        for part in bike.parts.iter().filter(|part| part.kind.has(kind)) {
            if let Some(other) = names.insert(part.short_id(), &part.id) {
                let message = format!("`{other}` and `{}` both have the short name `{}`", *part.id, part.short_id());
                let help = "The kind in front of an id is left out: rename one of the two.";
                findings.push(Diagnostic::error(&part.id.place, "name", message).help(help));
            }
        }
    }
}

/// Values and figures that do not come out on this bike.
fn figures(bike: &Bike, findings: &mut Vec<Diagnostic>) {
    for part in &bike.parts {
        let values = match bike.values(part, &BTreeMap::new()) {
            Ok(values) => values,
            Err(why) => {
                findings.push(why);
                continue;
            }
        };
        let mut wrong = |name: &str, number: f64, help: String| {
            let message = format!("`{name}` of `{}` comes out as {number}", *part.id);
            findings.push(Diagnostic::error(&part.id.place, "limits", message).help(help));
        };
        for value in &part.kind.values {
            let Some(number) = values.get(&value.name).copied() else { continue };
            let (low, high) = value.limits;
            if !(low..=high).contains(&number) {
                wrong(
                    &value.name,
                    number,
                    format!("It can be from {low} to {high}. Give it, or what it is computed from."),
                );
            }
        }
        for primitive in &part.kind.model {
            for name in primitive.figures.keys() {
                match primitive.figure(name, &values) {
                    Ok(all) => {
                        for number in all.into_iter().filter(|number| !primitive.can_be(name, *number)) {
                            wrong(name, number, format!("A {} cannot have that.", primitive.kind));
                        }
                    }
                    Err(why) => wrong(name, f64::NAN, why.to_string()),
                }
            }
        }
    }
}

/// Breakers that cannot be timed as the profile says, or whose cam turns with no stated shaft.
fn timing(bike: &Bike, findings: &mut Vec<Diagnostic>) {
    let breakers = bike.parts.iter().filter(|part| part.kind.has(PrimitiveKind::Breaker));
    for part in breakers {
        if bike.points_cam.is_none() && !part.values.contains_key("every") {
            let message = "the bike has points and needs the field `points-cam`";
            let help =
                "Write `points-cam: camshaft` if the cam turns at half the crank's speed, else `points-cam: crank`.";
            findings.push(Diagnostic::error(&bike.place, "missing-field", message).help(help));
            return;
        }
        let Ok(values) = bike.values(part, &BTreeMap::new()) else { continue };
        let Some(every) = values.get("every").copied() else { continue };
        for name in ["closed", "opens-at"] {
            if values.get(name).is_some_and(|angle| *angle >= every) {
                let message = format!("`{}` opens every {every} degrees, and `{name}` is not less", *part.id);
                let help =
                    "All three are crank degrees; a cam on the camshaft with one lobe opens its points every 720.";
                findings.push(Diagnostic::error(&part.id.place, "limits", message).help(help));
            }
        }
    }
}

/// The kinds that a bike's parts are of, each once.
pub fn kinds_used(bike: &Bike) -> Vec<Arc<PartKind>> {
    let mut kinds: BTreeMap<&str, &Arc<PartKind>> = BTreeMap::new();
    bike.parts.iter().for_each(|part| {
        kinds.insert(&part.kind.id, &part.kind);
    });
    kinds.into_values().cloned().collect()
}
