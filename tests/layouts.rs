//! Roles found in the wiring: the same single with its parts in other places. No part has its role by its name, and the circuit does what
//! the role says.

use probeside::bike::{self, Bike, BikeState, Engine, EnglishWords, SwitchAction, WireRole, as_value};
use probeside::circuit::{Alteration, BranchKind, Model, Strength, Wiring};
use probeside::parts::Catalogue;
use probeside::source::tree;
use std::collections::BTreeSet;

const HEAD: &str =
    "bike: Tansy Single\nmaker: Tansy (invented)\nvolt: 12\nground: negative\nstarter: kick\npoints-cam: camshaft\n";
const PARTS: &str = r#"parts:
  accumulator: {kind: battery}
  ignition: {kind: key-switch, positions: {"off": [], "on": [[in, out]]}}
  contact: {kind: points}
  sparker: {kind: coil, primary-ohm: 4}
  condenser-one: {kind: condenser, microfarad: 0.24}
  boot: {kind: cap}
  plug-one: {kind: plug}
  engine: {kind: engine}
  frame: {kind: frame}
"#;
const WIRES: &str = "wires:
  - {from: accumulator.live, to: ignition.in, colour: TQ}
  - {from: ignition.out, to: sparker.feed, colour: PK}
  - {from: sparker.points, to: contact.wire, colour: VT}
  - {from: contact.wire, to: condenser-one.lead, colour: VT-BN}
  - {from: condenser-one.case, to: frame}
  - {from: contact.plate, to: engine}
  - {from: sparker.lead, to: boot.lead, colour: BK}
  - {from: boot.top, to: plug-one.top}
  - {from: plug-one.thread, to: engine}
  - {from: engine, to: frame, colour: BN}
  - {from: accumulator.ground, to: frame, colour: BN}
";

/// The profile with some of its lines changed: each is found and replaced. An addition to `parts:` or `wires:` stands behind that word.
fn text(changes: &[(&str, &str)]) -> String {
    let mut text = format!("{HEAD}{PARTS}{WIRES}");
    for (from, to) in changes {
        assert!(text.contains(from), "{from}");
        text = text.replacen(from, to, 1);
    }
    text
}

fn made(changes: &[(&str, &str)]) -> Bike {
    let bike = bike::parse(&text(changes), "b.yaml").unwrap_or_else(|wrong| panic!("{}", wrong[0]));
    assert_eq!(probeside::check::bike(&bike), []);
    bike
}

/// The key on and the engine kicked, and some switches set.
fn kicked(switches: &[(&str, &str)]) -> BikeState {
    let all = [("key", "connects")].iter().chain(switches);
    let switches = all.map(|(name, at)| ((*name).to_owned(), (*at).to_owned())).collect();
    BikeState { switches, engine: Some(Engine::Kicked), ..BikeState::default() }
}

fn without(part: &str) -> BikeState {
    BikeState { unplugged: [part.to_owned()].into(), ..kicked(&[]) }
}

fn fires(bike: &Bike, state: &BikeState, plug: &str) -> Strength {
    Model::new(bike).fires(state, plug).unwrap()
}

fn wiring(bike: &Bike, state: &BikeState) -> Wiring {
    Model::new(bike).wiring(state, &BTreeSet::new()).unwrap()
}

fn is_closed(wiring: &Wiring, branch: &str) -> bool {
    wiring.branch(branch).unwrap().kind != BranchKind::Open
}

fn ids(way: &[bike::FeedPart]) -> Vec<&str> {
    way.iter().map(|part| part.id.as_str()).collect()
}

fn role(bike: &Bike, from: &str, to: &str) -> WireRole {
    bike.wires.iter().find(|wire| *wire.from == from && *wire.to == to).unwrap().role
}

#[test]
fn parts_have_their_roles_whatever_they_are_called() {
    let bike = made(&[]);
    let (set, coil, plug, condenser) = (&bike.points[0], &bike.coils[0], &bike.plugs[0], &bike.condensers[0]);
    assert_eq!((set.coil.as_str(), &set.connector), (coil.id.as_str(), &None));
    assert_eq!(set.ends, ["contact.wire", "contact.plate"]);
    assert_eq!(
        (coil.ends.clone(), coil.towers.clone()),
        (["sparker.feed", "sparker.points"].map(String::from), vec!["sparker.lead".to_owned()])
    );
    assert_eq!((plug.cap.as_deref(), plug.tower.as_deref()), (Some("boot"), Some("sparker.lead")));
    assert_eq!(plug.lead.as_deref(), Some("sparker.lead to boot.lead"));
    assert_eq!((condenser.points.as_str(), condenser.half.as_str()), (set.id.as_str(), ""));
    assert_eq!(role(&bike, "contact.wire", "condenser-one.lead"), WireRole::Condenser);
    assert_eq!(role(&bike, "sparker.points", "contact.wire"), WireRole::Points);
    assert_eq!(role(&bike, "ignition.out", "sparker.feed"), WireRole::Feed);
    assert_eq!(role(&bike, "accumulator.ground", "frame"), WireRole::Ground);
    assert_eq!(role(&bike, "boot.top", "plug-one.top"), WireRole::CapSeat);
    assert_eq!(fires(&bike, &kicked(&[]), &plug.id), Strength::Strong);
    assert_eq!(fires(&bike, &without("boot"), &plug.id), Strength::None);
}

#[test]
fn the_feed_may_pass_no_connector_no_fuse_and_even_nothing() {
    let bike = made(&[]);
    assert_eq!((ids(&bike.feed("sparker")), bike.connectors.len(), bike.fuse.is_none()), (vec!["ignition"], 0, true));
    let value = as_value(&bike, &EnglishWords);
    assert_eq!(
        (&value["has_fuse"], &value["fuse_in"], &value["points"][0]["connector"]),
        (&false.into(), &"none".into(), &serde_json::Value::Null)
    );
    // The key grounds the points instead: `"off"` stops the engine.
    let bare = made(&[
        ("\"off\": [], \"on\": [[in, out]]", "\"off\": [[in, out]], \"on\": []"),
        ("{from: accumulator.live, to: ignition.in,", "{from: accumulator.live, to: sparker.feed,"),
        ("{from: ignition.out, to: sparker.feed,", "{from: contact.wire, to: ignition.in,"),
        ("wires:", "wires:\n  - {from: ignition.out, to: frame, colour: BN}"),
    ]);
    assert!(bare.feed("sparker").is_empty() && bare.is_fed("sparker", &|_| false));
    assert_eq!(bare.switch("key").unwrap().action, SwitchAction::GroundsPoints);
    assert_eq!(bare.switch("key").unwrap().position(true), Some("on"));
    assert_eq!(fires(&bare, &kicked(&[]), "one"), Strength::Strong);
    assert_eq!(fires(&bare, &kicked(&[("key", "off")]), "one"), Strength::None);
}

#[test]
fn a_button_that_grounds_the_points_stops_the_engine_and_is_in_no_feed() {
    let bike = made(&[
        ("parts:", "parts:\n  button: {kind: kill-switch, positions: {out: [], in: [[live, ground]]}}"),
        (
            "wires:",
            "wires:\n  - {from: contact.wire, to: button.live, colour: VT}\n  - {from: button.ground, to: frame, colour: BN}",
        ),
    ]);
    let kill = bike.switch("kill").unwrap();
    assert_eq!((kill.part.as_str(), kill.action), ("button", SwitchAction::GroundsPoints));
    assert_eq!((kill.position(true), kill.position(false)), (Some("out"), Some("in")));
    assert_eq!(ids(&bike.feed("sparker")), ["ignition"]);
    assert_eq!(role(&bike, "contact.wire", "button.live"), WireRole::Kill);
    for (position, strength) in
        [("connects", Strength::Strong), ("disconnects", Strength::None), ("in", Strength::None)]
    {
        assert_eq!(fires(&bike, &kicked(&[("kill", position)]), "one"), strength, "{position}");
    }
    assert!(!is_closed(&wiring(&bike, &kicked(&[])), "button"));
}

#[test]
fn a_fuse_in_the_ground_lead_is_on_the_way_home() {
    let bike = made(&[
        ("parts:", "parts:\n  link: {kind: fuse, ampere: 20, where: beside the battery}"),
        (
            "{from: accumulator.ground, to: frame, colour: BN}",
            "{from: accumulator.ground, to: link.load, colour: BN}\n  - {from: link.supply, to: frame, colour: BN}",
        ),
    ]);
    let fuse = bike.fuse.as_ref().unwrap();
    assert_eq!((fuse.part.as_str(), fuse.ampere, fuse.location.as_str()), ("link", 20.0, "beside the battery"));
    assert_eq!(ids(&bike.feed("sparker")), ["ignition"]);
    let value = as_value(&bike, &EnglishWords);
    assert_eq!((&value["fuse_in"], &value["fuse"]), (&"ground".into(), &"link".into()));
    let home = &value["way_home"][0];
    assert_eq!(
        (&home["id"], &home["supply"], &home["toward"]),
        (&"link".into(), &"link.supply".into(), &"accumulator.ground".into())
    );
    assert_eq!(role(&bike, "link.supply", "frame"), WireRole::Ground);
    assert_eq!(fires(&bike, &kicked(&[]), "one"), Strength::Strong);
    assert_eq!(fires(&bike, &without("link"), "one"), Strength::None);
}

#[test]
fn one_coil_fires_three_cylinders_through_a_distributor() {
    let mut parts = "parts:\n  rotor: {kind: distributor}".to_owned();
    let mut wires = "wires:\n  - {from: sparker.lead, to: rotor.coil, colour: BK}".to_owned();
    for (n, tower) in ["first", "second", "third"].iter().enumerate() {
        parts += &format!("\n  cap-{n}: {{kind: cap}}\n  plug-{n}: {{kind: plug}}").replace(&n.to_string(), tower);
        wires += &format!(
            "\n  - {{from: rotor.{tower}, to: cap-{tower}.lead, colour: BK}}\n  - {{from: cap-{tower}.top, to: plug-{tower}.top}}\n  \
             - {{from: plug-{tower}.thread, to: engine}}"
        );
    }
    let bike = made(&[
        ("parts:", &parts),
        ("wires:", &wires),
        ("contact: {kind: points}", "contact: {kind: points, lobes: 3}"),
        ("  boot: {kind: cap}\n  plug-one: {kind: plug}\n", ""),
        (
            "  - {from: sparker.lead, to: boot.lead, colour: BK}\n  - {from: boot.top, to: plug-one.top}\n  - {from: plug-one.thread, to: engine}\n",
            "",
        ),
    ]);
    assert_eq!(bike.coils[0].plugs, ["first", "second", "third"]);
    assert_eq!(bike.coils[0].towers, ["sparker.lead"]);
    for plug in &bike.plugs {
        assert_eq!(plug.tower.as_deref(), Some("sparker.lead"));
        assert_eq!(plug.lead.as_deref().map(|lead| lead.starts_with("rotor.")), Some(true), "{:?}", plug.lead);
        assert_eq!(fires(&bike, &kicked(&[]), &plug.id), Strength::Strong, "{}", plug.id);
    }
    assert_eq!(role(&bike, "sparker.lead", "rotor.coil"), WireRole::Lead);
    let off = without("cap-second");
    assert_eq!(fires(&bike, &off, "second"), Strength::None);
    assert_eq!(fires(&bike, &off, "first"), Strength::Strong);
    // Three openings in a turn of the camshaft.
    let timing = Model::new(&bike).figures.timing["contact"];
    assert!((timing.every - 240.0).abs() < 1e-9 && (timing.closed - 0.53 * 240.0).abs() < 1e-9, "{timing:?}");
}

/// A resistor before the coil, which the starter button bypasses.
fn with_ballast() -> Bike {
    made(&[
        ("starter: kick", "starter: electric"),
        (
            "parts:",
            "parts:\n  resistor: {kind: ballast, ohm: 1.5}\n  starter: {kind: starter-motor}\n  \
             button: {kind: starter-switch, positions: {out: [], in: [[live, motor], [live, coil]]}}",
        ),
        (
            "{from: ignition.out, to: sparker.feed, colour: PK}",
            "{from: ignition.out, to: resistor.supply, colour: PK}\n  - {from: resistor.load, to: sparker.feed, colour: PK-GY}",
        ),
        (
            "wires:",
            "wires:\n  - {from: accumulator.live, to: button.live, colour: TQ}\n  - {from: button.motor, to: starter.live, colour: TQ}\n  \
             - {from: button.coil, to: sparker.feed, colour: GY}\n  - {from: starter.case, to: engine}",
        ),
    ])
}

#[test]
fn a_ballast_is_in_the_feed_and_bypassed_only_while_the_engine_is_cranked() {
    let bike = with_ballast();
    assert_eq!(ids(&bike.feed("sparker")), ["ignition", "resistor"]);
    // The button is released: without the ballast nothing reaches the coil.
    assert!(bike.is_fed("sparker", &|_| false) && !bike.is_fed("sparker", &|part| part == "resistor"));
    let value = as_value(&bike, &EnglishWords);
    assert_eq!((&value["ballast"], &value["ballast_ohm"]), (&"resistor".into(), &1.5.into()));
    let button = bike.switch("button").unwrap();
    assert!(button.cranks && button.action == SwitchAction::Apart);
    let still = BikeState { engine: Some(Engine::Still), ..kicked(&[]) };
    for (state, pressed) in [(still, false), (kicked(&[]), true)] {
        let wiring = wiring(&bike, &state);
        assert_eq!(is_closed(&wiring, "button motor"), pressed);
        assert_eq!(is_closed(&wiring, "button coil"), pressed);
        assert_eq!(is_closed(&wiring, "starter"), pressed);
    }
    assert_eq!(fires(&bike, &kicked(&[]), "one"), Strength::Strong);
}

#[test]
fn every_contact_of_a_switch_is_closed_in_its_own_positions() {
    let bike = made(&[
        (
            "positions: {\"off\": [], \"on\": [[in, out]]}",
            "positions: {\"off\": [], \"on\": [[in, out], [in, lights]], park: [[in, lights]]}",
        ),
        ("parts:", "parts:\n  tail: {kind: bulb, watt: 5}"),
        ("wires:", "wires:\n  - {from: ignition.lights, to: tail.live, colour: GY}\n  - {from: tail.case, to: frame}"),
    ]);
    let key = bike.switch("key").unwrap();
    let works: Vec<(&str, bool)> = key.positions.iter().map(|at| (at.name.as_str(), at.works)).collect();
    assert_eq!(works, [("off", false), ("on", true), ("park", false)]);
    for (position, coil, lights) in
        [("off", false, false), ("on", true, true), ("park", false, true), ("connects", true, true)]
    {
        let wiring = wiring(&bike, &kicked(&[("key", position)]));
        assert_eq!(
            (is_closed(&wiring, "ignition out"), is_closed(&wiring, "ignition lights")),
            (coil, lights),
            "{position}"
        );
    }
    assert_eq!(ids(&bike.feed("sparker")), ["ignition"]);
    assert_eq!(role(&bike, "ignition.lights", "tail.live"), WireRole::Other);
    assert!(Model::new(&bike).wiring(&kicked(&[("key", "lock")]), &BTreeSet::new()).is_err());
}

#[test]
fn a_magneto_has_no_battery_and_its_key_grounds_the_points() {
    let bike = made(&[
        ("accumulator: {kind: battery}", "magneto: {kind: magneto-winding}"),
        ("\"off\": [], \"on\": [[in, out]]", "\"off\": [[in, out]], \"on\": []"),
        ("{from: accumulator.live, to: ignition.in, colour: TQ}", "{from: magneto.live, to: contact.wire, colour: TQ}"),
        (
            "{from: ignition.out, to: sparker.feed, colour: PK}",
            "{from: contact.wire, to: ignition.in, colour: PK}\n  - {from: ignition.out, to: frame}\n  - {from: sparker.feed, to: engine}",
        ),
        ("{from: accumulator.ground, to: frame, colour: BN}", "{from: magneto.case, to: engine}"),
    ]);
    assert_eq!((&bike.battery, bike.fuse.is_none()), (&None, true));
    assert!(
        bike.grounded.contains("frame")
            && bike.grounded.contains("magneto.case")
            && !bike.grounded.contains("contact.wire")
    );
    assert_eq!(bike.points[0].coil, "sparker");
    assert_eq!(bike.switch("key").unwrap().action, SwitchAction::GroundsPoints);
    assert!(bike.feed("sparker").is_empty() && !bike.is_fed("sparker", &|_| false));
    let value = as_value(&bike, &EnglishWords);
    assert_eq!((&value["live"], &value["feed"]), (&"".into(), &serde_json::json!([])));
    // There is no node of the battery, and the circuit says so instead of giving up.
    Model::new(&bike).fires(&kicked(&[]), "one").expect("a strength");
}

#[test]
fn a_load_does_not_ground_what_it_hangs_on() {
    let horn = "part: horn\nwords: horn\nterminals: {live: live side, case: case}\nmodel:\n  - {resistance: [live, case], ohm: 5}\n";
    let mut catalogue = Catalogue::shipped().clone();
    catalogue.add(horn, "horn.yaml").unwrap();
    let text = text(&[
        ("parts:", "parts:\n  hooter: {kind: horn}"),
        ("wires:", "wires:\n  - {from: ignition.out, to: hooter.live, colour: GY}\n  - {from: hooter.case, to: frame}"),
    ]);
    let bike = bike::from_tree(&tree::parse(&text, "b.yaml").unwrap(), &catalogue).unwrap();
    assert_eq!(probeside::check::bike(&bike), []);
    assert!(bike.grounded.contains("hooter.case") && !bike.grounded.contains("hooter.live"));
    assert_eq!(ids(&bike.feed("sparker")), ["ignition"]);
    assert_eq!(fires(&bike, &kicked(&[]), "one"), Strength::Strong);
}

#[test]
fn values_follow_from_other_values() {
    let values = |changes: &[(&str, &str)], part: &str| {
        made(changes).values(made(changes).part(part).unwrap(), &Default::default()).unwrap()
    };
    let own = values(&[("{kind: battery}", "{kind: battery, ohm-full: 0.03}")], "accumulator");
    assert_eq!((own["ohm-full"], own["ohm-empty"]), (0.03, 4.5));
    assert!((own["volt-100"] - 12.65).abs() < 1e-9);
    assert!((values(&[("volt: 12", "volt: 6")], "accumulator")["volt-100"] - 6.325).abs() < 1e-9);
    // 53 % of the cam's turn, whichever shaft turns it.
    let points = |changes: &[(&str, &str)]| {
        let values = values(changes, "contact");
        (values["every"], values["dwell"], values["closed"])
    };
    let near = |(a, b, c): (f64, f64, f64), (x, y, z): (f64, f64, f64)| {
        [a - x, b - y, c - z].iter().all(|d: &f64| d.abs() < 1e-9)
    };
    assert!(near(points(&[]), (720.0, 190.8, 381.6)));
    assert!(near(points(&[("points-cam: camshaft", "points-cam: crank")]), (360.0, 190.8, 190.8)));
    let dwell = [("wires:", "specified:\n  dwell: {low: 95, high: 105, unit: deg, source: invented}\nwires:")];
    assert!(near(points(&dwell), (720.0, 100.0, 200.0)));
    assert!(near(points(&[("{kind: points}", "{kind: points, dwell: 90, lobes: 2}")]), (360.0, 90.0, 180.0)));
    // Two sets of one kind open half a turn of the cam apart.
    let twin = made(&[
        ("  contact: {kind: points}\n", "  contact: {kind: points}\n  points-two: {kind: points}\n"),
        (
            "wires:",
            "wires:\n  - {from: points-two.wire, to: sparker.points, colour: VT}\n  - {from: points-two.plate, to: engine}",
        ),
    ]);
    assert_eq!(twin.values(twin.part("points-two").unwrap(), &Default::default()).unwrap()["opens-at"], 360.0);
}

#[test]
fn a_fault_in_a_value_carries_on_to_what_follows_from_it() {
    let bike = made(&[]);
    let timing = |changes: Vec<Alteration>| Model::with(&bike, changes).figures.timing["contact"].closed;
    assert!((timing(vec![Alteration::set("contact", "dwell", 180.0)]) - 360.0).abs() < 1e-9);
    assert!((timing(vec![Alteration::scale("contact", "dwell", 0.5)]) - 190.8).abs() < 1e-9);
    let twice = vec![Alteration::set("contact", "dwell", 100.0), Alteration::scale("contact", "dwell", 1.5)];
    assert!((timing(twice) - 300.0).abs() < 1e-9);
    let rest = |changes: Vec<Alteration>| {
        let wiring = Model::with(&bike, changes).wiring(&BikeState::default(), &BTreeSet::new()).unwrap();
        match wiring.branch("accumulator.emf").unwrap().kind {
            BranchKind::Emf(volt) => volt,
            ref other => panic!("{other:?}"),
        }
    };
    assert!((rest(vec![]) - 12.65).abs() < 1e-9);
    // A quarter is one of the table's steps; an eighth lies half between two.
    assert!((rest(vec![Alteration::set("accumulator", "charge", 0.25)]) - 12.06).abs() < 1e-9);
    assert!((rest(vec![Alteration::set("accumulator", "charge", 0.125)]) - 11.975).abs() < 1e-9);
    for wrong in [Alteration::set("battery", "charge", 0.0), Alteration::set("accumulator", "charges", 0.0)] {
        let model = Model::with(&bike, [wrong]);
        assert!(model.fires(&kicked(&[]), "one").is_err());
    }
}
