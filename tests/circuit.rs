//! The circuit room against external references: ngspice's operating points and transients, and workshop facts about the two bikes.

use probeside::bike::{Bike, BikeState, Engine, Instrument, InstrumentKind, PointsAt};
use probeside::circuit::transient::{ringing, rise, stored_energy};
use probeside::circuit::{Alteration, Diode, Glow, Kind, Lamp, Model, Network, Node, NotValid, Observation, Strength};
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

#[path = "support/ngspice.rs"]
mod reference;
use reference::{ngspice, values};

/// A shipped bike.
fn shipped(name: &str) -> Bike {
    let file = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures/bikes").join(name);
    probeside::bike::load(&file).unwrap_or_else(|wrong| panic!("{}", wrong[0]))
}

fn borage_twin() -> Bike {
    shipped("borage-twin.yaml")
}

fn fennel_single() -> Bike {
    shipped("fennel-single.yaml")
}

/// Networks per run of the reference program.
const BATCH: usize = 100;
const NETWORKS: usize = 1000;
/// Voltage differences below this are within the reference program's precision, volt.
const FLOOR_VOLT: f64 = 1e-9;

/// Node voltages of several networks in one run.
fn reference_volts(networks: &[Network]) -> Option<BTreeMap<String, f64>> {
    let mut deck = "several networks\n".to_owned();
    for (k, network) in networks.iter().enumerate() {
        deck += &network.spice(&format!("k{k}n"));
    }
    deck += ".options reltol=1e-9 vntol=1e-12 abstol=1e-15 gmin=1e-15 itl1=2000 itl2=2000\n";
    deck += ".control\nset numdgt=12\nop\nprint all\n.endc\n.end\n";
    let text = ngspice(&deck)?;
    let found = values(&text);
    assert!(!found.is_empty(), "ngspice gave no operating point: {}", &text[text.len().saturating_sub(2000)..]);
    Some(found)
}

/// Largest relative difference from the reference, above its precision, and the number of voltages compared.
fn compare(networks: &[Network], found: &BTreeMap<String, f64>) -> (f64, usize) {
    let mut worst = (0f64, 0);
    for (k, network) in networks.iter().enumerate() {
        let point = network.operating_point().unwrap();
        let prefix = format!("k{k}n");
        for n in 1..network.nodes() {
            let node = node(network, n);
            let theirs = found[&network.spice_node(&prefix, node)];
            let Some(ours) = point.voltage(node, Network::REFERENCE) else { continue };
            let beyond = ((ours - theirs).abs() - FLOOR_VOLT).max(0.0);
            worst = (worst.0.max(beyond / theirs.abs().max(FLOOR_VOLT)), worst.1 + 1);
        }
    }
    worst
}

fn node(network: &Network, n: usize) -> Node {
    let text = network.spice_node("", Network::REFERENCE);
    assert_eq!(text, "0");
    network.find(&network.names()[n]).unwrap()
}

/// Between two values, uniform in the logarithm.
fn between(random: &mut fastrand::Rng, low: f64, high: f64) -> f64 {
    low * (high / low).powf(random.f64())
}

/// A connected network of 3 to 12 nodes: a tree of resistances, more resistances, one or two sources, and lamps.
fn random_network(random: &mut fastrand::Rng, lamps: bool) -> Network {
    let mut network = Network::new("0");
    let count = 3 + random.usize(..10);
    let nodes: Vec<_> = (0..count).map(|n| network.node(&n.to_string())).collect();
    let mut add = |a: usize, b: usize, kind| network.add("x", nodes[a], nodes[b], kind).unwrap();
    for n in 1..count {
        let ohm = between(random, 1e-3, 1e5);
        add(n, random.usize(..n), Kind::Resistor(ohm));
    }
    for _ in 0..count {
        let (a, b) = (random.usize(..count), random.usize(..count));
        if a != b {
            let kind = match random.usize(..4) {
                0 if lamps => Kind::Lamp(Lamp { volt: between(random, 6.0, 12.0), watt: between(random, 1.0, 60.0) }),
                1 => Kind::Current(between(random, 1e-3, 1.0)),
                _ => Kind::Resistor(between(random, 1e-2, 1e7)),
            };
            add(a, b, kind);
        }
    }
    add(1, 0, Kind::Voltage(between(random, 1.0, 24.0)));
    if lamps {
        add(count - 1, 0, Kind::Lamp(Lamp { volt: 12.0, watt: 5.0 }));
    }
    network
}

#[test]
fn random_networks_agree_with_ngspice() {
    let seed = std::env::var("PROBESIDE_SEED").ok().and_then(|s| s.parse().ok()).unwrap_or(20_260_731u64);
    println!("seed {seed}");
    let mut random = fastrand::Rng::with_seed(seed);
    for (lamps, bound) in [(false, 1e-6), (true, 1e-4)] {
        let mut worst = (0f64, 0);
        for _ in 0..NETWORKS / 2 / BATCH {
            let networks: Vec<_> = (0..BATCH).map(|_| random_network(&mut random, lamps)).collect();
            let Some(found) = reference_volts(&networks) else { return };
            let (share, count) = compare(&networks, &found);
            worst = (worst.0.max(share), worst.1 + count);
        }
        println!("lamps {lamps}: {} voltages, worst relative difference {:.2e}", worst.1, worst.0);
        assert!(worst.1 > 1000 && worst.0 < bound, "{worst:?}");
    }
}

#[test]
fn diodes_agree_with_ngspice() {
    let mut random = fastrand::Rng::with_seed(7);
    let networks: Vec<_> = (0..BATCH)
        .map(|_| {
            let mut network = random_network(&mut random, false);
            let (a, b) = (node(&network, 1), node(&network, 2));
            let kind = Kind::Diode(Diode {
                saturation: between(&mut random, 1e-14, 1e-9),
                emission: between(&mut random, 1.0, 2.0),
            });
            let mid = network.node("mid");
            network.add("series", a, mid, Kind::Resistor(between(&mut random, 1.0, 1e3))).unwrap();
            network.add("diode", mid, b, kind).unwrap();
            network
        })
        .collect();
    let Some(found) = reference_volts(&networks) else { return };
    let worst = compare(&networks, &found);
    println!("diodes: {} voltages, worst relative difference {:.2e}", worst.1, worst.0);
    assert!(worst.0 < 1e-4);
}

/// Every position of the switches, with every position of the points.
fn every_state(bike: &Bike) -> Vec<(BikeState, BTreeSet<String>)> {
    let mut all = Vec::new();
    let kills: Vec<Option<String>> = match bike.switch("kill") {
        Some(kill) => kill.positions.iter().map(|p| Some(p.name.value.clone())).collect(),
        None => vec![None],
    };
    for key in &bike.switch("key").unwrap().positions {
        for kill in &kills {
            let mut state = BikeState::default();
            state.switches.insert("key".into(), key.name.value.clone());
            state.switches.extend(kill.iter().map(|k| ("kill".to_owned(), k.clone())));
            for closed in Model::new(bike).standings(&state) {
                all.push((state.clone(), closed));
            }
        }
    }
    all
}

#[test]
fn both_bikes_agree_with_ngspice_in_every_position() {
    for bike in [borage_twin(), fennel_single()] {
        for (with_lamp, bound) in [(false, 1e-6), (true, 1e-4)] {
            let model = Model::new(&bike);
            let states = every_state(&bike);
            let networks: Vec<_> = states
                .iter()
                .map(|(state, closed)| {
                    let (mut network, _) = model.wiring(state, closed).unwrap().network().unwrap();
                    if with_lamp {
                        let (a, b) =
                            (network.node("battery.live"), network.node(&format!("coil-{}.points", bike.coils[0].id)));
                        network.add("lamp", a, b, Kind::Lamp(Lamp { volt: bike.volt, watt: 5.0 })).unwrap();
                    }
                    network
                })
                .collect();
            // For the reference program, parts that float are tied to the reference node by a resistance too high to measure.
            let tied: Vec<_> = networks
                .iter()
                .map(|network| {
                    let mut tied = network.clone();
                    for n in 1..network.nodes() {
                        tied.add("tie", node(network, n), Network::REFERENCE, Kind::Resistor(1e12)).unwrap();
                    }
                    tied
                })
                .collect();
            let Some(found) = reference_volts(&tied) else { return };
            let tied_worst = compare(&tied, &found);
            println!("{} lamp {with_lamp}: {} states, {tied_worst:?}", bike.name, states.len());
            assert!(tied_worst.0 < bound && tied_worst.1 > 50);
        }
    }
}

#[test]
fn rise_break_and_ringing_agree_with_ngspice() {
    let (volt, ohm, henry, farad, seconds) = (12.0, 4.5, 11.25e-3, 0.24e-6, 5e-3);
    let deck = format!(
        "coil\nV1 s 0 {volt}\nR1 s a {ohm}\nL1 a p {henry} IC=0\nC1 p 0 {farad} IC=0\nS1 p 0 g 0 points\n\
         .model points SW(VT=0.5 VH=0 RON=1e-5 ROFF=1e12)\nVG g 0 PWL(0 1 {seconds} 1 {:e} 0)\n\
         .options reltol=1e-6 method=trap\n.tran 0.2u 7m 0 0.2u UIC\n.control\nrun\n\
         meas tran atbreak FIND i(L1) AT={seconds}\nmeas tran peak MAX v(p) FROM={seconds} TO=7m\n\
         let swing = v(p) - {volt}\n\
         meas tran n1 WHEN swing=0 FALL=2\nmeas tran n2 WHEN swing=0 FALL=6\n.endc\n.end\n",
        seconds + 1e-9
    );
    let Some(text) = ngspice(&deck) else { return };
    let found = values(&text);
    let ampere = rise(volt, ohm, henry, seconds);
    let near = |what: &str, ours: f64, theirs: f64| {
        println!("{what}: {ours:.6e} against {theirs:.6e}");
        assert!((ours / theirs - 1.0).abs() < 0.01, "{what}: {ours} against {theirs}");
    };
    near("current at break", ampere, found["atbreak"]);
    near("energy", stored_energy(henry, ampere), 0.5 * henry * found["atbreak"].powi(2));
    let ring = ringing(henry, ohm, farad, volt, ampere);
    near("peak", ring.peak_volt, found["peak"]);
    near("frequency", ring.hertz, 4.0 / (found["n2"] - found["n1"]));
}

#[test]
fn secondary_voltage_agrees_with_ngspice_coupled_coils() {
    let (henry, ratio, secondary, farad, ampere): (f64, f64, f64, f64, f64) = (11.25e-3, 70.0, 60e-12, 0.24e-6, 2.4);
    let deck = format!(
        "coupled\nL1 0 p {henry} IC={}\nC1 p 0 {farad} IC=0\nL2 s 0 {:e} IC=0\nC2 s 0 {secondary:e} IC=0\n\
         RS s 0 1e12\nK1 L1 L2 0.99999\n.tran 0.1u 1m 0 0.1u UIC\n.control\nrun\nmeas tran peak MAX v(s)\n\
         meas tran dip MIN v(s)\n.endc\n.end\n",
        ampere,
        henry * ratio * ratio
    );
    let Some(text) = ngspice(&deck) else { return };
    let found = values(&text);
    let theirs = found["peak"].max(-found["dip"]);
    let ours = ratio * ringing(henry, 1e-9, farad + ratio * ratio * secondary, 0.0, ampere).peak_volt;
    println!("secondary: {ours:.1} against {theirs:.1}");
    assert!((ours / theirs - 1.0).abs() < 0.01, "{ours} against {theirs}");
}

fn state(switches: &[(&str, &str)], unplugged: &[&str], points: &[(&str, PointsAt)]) -> BikeState {
    let text = |s: &str| s.to_owned();
    BikeState {
        switches: switches.iter().map(|(a, b)| (text(a), text(b))).collect(),
        unplugged: unplugged.iter().map(|s| text(s)).collect(),
        points: points.iter().map(|(a, b)| (text(a), *b)).collect(),
        ..BikeState::default()
    }
}

fn with(mut state: BikeState, kind: InstrumentKind, first: &str, second: &str) -> BikeState {
    state.instrument = Some(Instrument { kind, first: first.into(), second: second.into() });
    state
}

fn seen(model: &Model, state: BikeState) -> Vec<Observation> {
    model.observe(&state).unwrap().into_iter().map(|c| c.seen).collect()
}

const BRIGHT: Observation = Observation::Lamp(Glow::Bright);
const DARK: Observation = Observation::Lamp(Glow::Dark);
const ON: &[(&str, &str)] = &[("key", "on"), ("kill", "run")];

// All facts in the tests below: common practice, no source.

#[test]
fn lamp_from_live_to_the_isolated_points_wire_is_lit_closed_and_dark_open() {
    for (bike, set, connector) in [(borage_twin(), "left", "left-points"), (fennel_single(), "single", "low-tension")] {
        let model = Model::new(&bike);
        for (at, shows) in [(PointsAt::Closed, BRIGHT), (PointsAt::Open, DARK)] {
            let s = state(&[("key", "off")], &[connector], &[(set, at)]);
            let s = with(s, InstrumentKind::Lamp, "battery.live", &format!("{connector}.points-side"));
            assert!(seen(&model, s).iter().all(|o| *o == shows), "{} {at}", bike.name);
        }
        let s = state(&[("key", "off")], &[connector], &[(set, PointsAt::Turning)]);
        let s = with(s, InstrumentKind::Lamp, "battery.live", &format!("{connector}.points-side"));
        let both = seen(&model, s);
        assert!(both.contains(&BRIGHT) && both.contains(&DARK));
    }
}

#[test]
fn lamp_at_the_coils_points_side_with_points_unplugged_is_lit_through_the_primary() {
    let bike = borage_twin();
    let s = state(ON, &["left-points"], &[]);
    let s = with(s, InstrumentKind::Lamp, "engine", "left-points.coil-side");
    assert!(seen(&Model::new(&bike), s.clone()).iter().all(|o| *o == BRIGHT));
    let open = Model::with(&bike, [Alteration::Open { branch: "coil-left.primary".into() }]);
    assert!(seen(&open, s).iter().all(|o| *o == DARK));
    let bike = fennel_single();
    let s =
        with(state(&[("key", "on")], &["low-tension"], &[]), InstrumentKind::Lamp, "engine", "low-tension.coil-side");
    assert!(seen(&Model::new(&bike), s).iter().all(|o| *o == BRIGHT));
}

#[test]
fn kill_switch_connects_only_in_the_middle() {
    let bike = borage_twin();
    for (kill, shows) in [("off left", DARK), ("run", BRIGHT), ("off right", DARK)] {
        let s = state(&[("key", "on"), ("kill", kill)], &[], &[("left", PointsAt::Open), ("right", PointsAt::Open)]);
        let s = with(s, InstrumentKind::Lamp, "engine", "coil-feed.load-side");
        assert_eq!(seen(&Model::new(&bike), s), [shows], "{kill}");
    }
}

/// For each plug the sets whose opening gives it more than a kilovolt.
fn who_fires(model: &Model) -> Vec<(String, Vec<String>)> {
    let mut s = state(ON, &[], &[]);
    s.engine = Some(Engine::Kicked);
    let coils = model.bike.coils.iter();
    let fired = coils.map(|c| {
        let breaks = model.breaks(&s, &c.id, |_| 0.08).unwrap();
        (c.id.clone(), breaks.into_iter().filter(|(_, b)| b.available_volt > 1000.0).map(|(set, _)| set).collect())
    });
    fired.collect()
}

#[test]
fn swapped_feeds_change_nothing_and_swapped_points_wires_move_the_moment() {
    let bike = borage_twin();
    let healthy = Model::new(&bike);
    let own = vec![("left".to_owned(), vec!["left".to_owned()]), ("right".to_owned(), vec!["right".to_owned()])];
    assert_eq!(who_fires(&healthy), own);
    let swap = |first: &str, second: &str| {
        Model::with(&bike, [Alteration::Swap { first: first.into(), second: second.into() }])
    };
    let feeds = swap("coil-feed.load-side to coil-left.feed", "coil-feed.load-side to coil-right.feed");
    assert_eq!(who_fires(&feeds), own);
    let points = swap("left-points.points-side to points-left.wire", "right-points.points-side to points-right.wire");
    let moved = who_fires(&points);
    assert_eq!(moved[0].1, ["right"]);
    assert_eq!(moved[1].1, ["left"]);
}

#[test]
fn spark_comes_at_the_break() {
    for bike in [borage_twin(), fennel_single()] {
        let model = Model::new(&bike);
        let (plug, coil) = (&bike.plugs[0].id, &bike.coils[0].id);
        let mut s = state(&[("key", "on")], &[&format!("cap-{plug}")], &[]);
        s.engine = Some(Engine::Kicked);
        let s = with(s, InstrumentKind::SparkTester, &format!("cap-{plug}.top"), "engine");
        assert_eq!(seen(&model, s.clone()), [Observation::Spark(Strength::Strong)], "{}", bike.name);
        // Permanently closed (welded) or grounded at the plate: no break and no spark.
        let set = &bike.points[0].id;
        let welded = Model::with(&bike, [Alteration::Ohm { branch: format!("points-{set}"), ohm: 0.01 }]);
        assert_eq!(seen(&welded, s.clone()), [Observation::Spark(Strength::None)]);
        let shorted = Alteration::Join { a: format!("points-{set}.wire"), b: "engine".into(), ohm: 0.01 };
        assert_eq!(seen(&Model::with(&bike, [shorted]), s.clone()), [Observation::Spark(Strength::None)]);
        let no_condenser = Alteration::Open { branch: format!("condenser-{}", bike.condensers[0].id) };
        assert_ne!(seen(&Model::with(&bike, [no_condenser]), s.clone()), [Observation::Spark(Strength::Strong)]);
        let lead = Alteration::Open { branch: format!("coil-{coil}.lead to cap-{plug}.lead") };
        assert_eq!(seen(&Model::with(&bike, [lead]), s), [Observation::Spark(Strength::None)]);
        let mut running = state(&[("key", "on")], &[], &[]);
        running.engine = Some(Engine::Kicked);
        assert_eq!(model.fires(&running, plug).unwrap(), Strength::Strong);
        let fouled = Model::with(&bike, [Alteration::Ohm { branch: format!("plug-{plug}"), ohm: 20e3 }]);
        assert_eq!(fouled.fires(&running, plug).unwrap(), Strength::None);
        // By hand: a jumper on the points wire is lifted.
        let connector = bike.points[0].connector.as_ref().unwrap();
        let mut hand = state(&[("key", "on")], &[connector, &format!("cap-{plug}")], &[]);
        hand.engine = Some(Engine::Still);
        let ends = [format!("{connector}.coil-side"), "engine".to_owned()];
        hand.fitted.insert("jumper".into(), ends.clone());
        hand.fitted.insert("test-condenser".into(), ends);
        let hand = with(hand, InstrumentKind::SparkTester, &format!("coil-{coil}.lead"), "engine");
        assert_eq!(seen(&model, hand), [Observation::Spark(Strength::Strong)], "{}", bike.name);
    }
}

#[test]
fn closing_the_points_gives_no_spark() {
    // Common practice, no source: the spark comes at the break. At the make the primary gets no more than the battery's voltage, so the
    // secondary offers that times the turns ratio, far below what the smallest gap in use needs.
    for bike in [borage_twin(), fennel_single()] {
        let model = Model::new(&bike);
        let figures = &model.figures;
        let at_make = figures.coils[&bike.coils[0].id].ratio * figures.values["battery"]["volt-100"];
        let needed = probeside::sums::gap::breakdown_volt(0.5, 1.01325, 293.0);
        assert!(at_make < 0.5 * needed, "{}: {at_make} V of {needed} V", bike.name);
        // In the other direction, from open to closed, the same circuit gives no break.
        let s = state(ON, &[], &[]);
        let (open, closed) = (BTreeSet::new(), BTreeSet::from([bike.points[0].id.clone()]));
        let (open, closed) = (model.wiring(&s, &open).unwrap(), model.wiring(&s, &closed).unwrap());
        let coil = &bike.coils[0].id;
        let made = probeside::circuit::transient::at_break(&open, &closed, coil, 1.0).unwrap();
        let broken = probeside::circuit::transient::at_break(&closed, &open, coil, 1.0).unwrap();
        assert_eq!(made.available_volt, 0.0);
        assert!(broken.available_volt > 10.0 * at_make, "{broken:?}");
    }
}

#[test]
fn ohmmeter_only_on_an_isolated_part() {
    let bike = borage_twin();
    let model = Model::new(&bike);
    let leads = |s| with(s, InstrumentKind::Ohmmeter, "coil-left.feed", "coil-left.points");
    let isolated = leads(state(&[("key", "off")], &["coil-feed", "left-points"], &[]));
    for o in seen(&model, isolated) {
        let Observation::Ohm(ohm) = o else { panic!("{o:?}") };
        assert!((ohm - 4.5).abs() < 1e-6, "{ohm}");
    }
    let live = leads(state(ON, &[], &[("left", PointsAt::Closed), ("right", PointsAt::Open)]));
    assert_eq!(seen(&model, live), [Observation::NotValid(NotValid::Live)]);
    let past = leads(state(&[("key", "off")], &[], &[("left", PointsAt::Closed), ("right", PointsAt::Closed)]));
    assert_eq!(seen(&model, past), [Observation::NotValid(NotValid::NotIsolated)]);
    let broken = Model::with(&bike, [Alteration::Open { branch: "coil-left.primary".into() }]);
    let isolated = leads(state(
        &[("key", "off")],
        &["coil-feed", "left-points"],
        &[("left", PointsAt::Open), ("right", PointsAt::Open)],
    ));
    assert_eq!(seen(&broken, isolated), [Observation::OverRange]);
}

#[test]
fn voltmeter_reads_the_battery_and_its_polarity() {
    for (bike, low, high) in [(borage_twin(), 12.4, 12.8), (fennel_single(), -6.4, -6.2)] {
        let s = with(state(&[("key", "off")], &[], &[]), InstrumentKind::Voltmeter, "battery.live", "battery.ground");
        for o in seen(&Model::new(&bike), s) {
            let Observation::Volt(volt) = o else { panic!("{o:?}") };
            assert!(volt > low && volt < high, "{volt}");
        }
    }
}

#[test]
fn kill_that_grounds_the_points_wires_stops_the_spark() {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures/bikes/borage-twin.yaml");
    let mut text = std::fs::read_to_string(file).unwrap();
    // The feed goes past the kill switch, and every points wire has a wire to the switch.
    for (from, to) in [
        (
            "{\"off left\": [], run: [[supply, load]], \"off right\": []}",
            "{\"off left\": [[left, ground], [right, ground]], run: [], \"off right\": [[left, ground], [right, ground]]}",
        ),
        ("from: key.load, to: kill.supply,", "from: key.load, to: coil-feed.supply-side,"),
        ("from: kill.load, to: coil-feed.supply-side,", "from: kill.left, to: left-points.coil-side,"),
        (
            "  - {from: engine, to: frame,",
            "  - {from: kill.right, to: right-points.coil-side}\n  - {from: kill.ground, to: frame}\n  - {from: engine, to: frame,",
        ),
    ] {
        assert!(text.contains(from), "{from}");
        text = text.replacen(from, to, 1);
    }
    let bike = probeside::bike::parse(&text, "kill.yaml").unwrap_or_else(|wrong| panic!("{}", wrong[0]));
    let model = Model::new(&bike);
    for (kill, shows) in [("run", Strength::Strong), ("off left", Strength::None), ("connects", Strength::Strong)] {
        let mut s = state(&[("key", "on"), ("kill", kill)], &[], &[]);
        s.engine = Some(Engine::Kicked);
        assert_eq!(model.fires(&s, "left").unwrap(), shows, "{kill}");
    }
}

#[test]
fn a_slip_in_a_name_is_an_error_that_names_it() {
    let bike = borage_twin();
    let model = Model::new(&bike);
    for s in [
        state(&[("key", "sideways")], &[], &[]),
        state(&[], &["left-pionts"], &[]),
        with(state(&[], &[], &[]), InstrumentKind::Lamp, "battery.live", "engin"),
    ] {
        let outcome = model.observe(&with_lamp_if_none(s));
        assert!(matches!(&outcome, Err(probeside::circuit::CircuitError::Unknown { .. })), "{outcome:?}");
    }
    let slip = Model::with(&bike, [Alteration::Open { branch: "coil-middle.primary".into() }]);
    assert!(slip.wiring(&state(&[], &[], &[]), &BTreeSet::new()).is_err());
}

fn with_lamp_if_none(s: BikeState) -> BikeState {
    if s.instrument.is_some() { s } else { with(s, InstrumentKind::Lamp, "battery.live", "frame") }
}
