//! Operating points against the reference program: random circuits of every kind of element, and the readings that the shipped procedures
//! ask for under the library's faults. A sample runs with the tests. The whole, by hand:
//! `PROBESIDE_CIRCUITS=1000 PROBESIDE_READINGS=3000 cargo test --test readings -- --nocapture`, and
//! `PROBESIDE_BREAKS=200 cargo test --test breaks -- --nocapture breaks_under` for breaks.

use probeside::bike::{Bike, BikeState, EnglishWords, Instrument, InstrumentKind, as_value};
use probeside::circuit::faults::{Fault, Library};
use probeside::circuit::{
    BranchKind, Diode, Glow, Kind, Lamp, Model, Network, Node, NotValid, Observation, OperatingPoint, Wiring,
};
use probeside::expression::{Scope, evaluate_list};
use probeside::procedure::{Procedure, render_state};
use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

#[path = "support/ngspice.rs"]
mod reference;
use reference::{ngspice, values};
#[path = "support/shipped_files.rs"]
#[allow(dead_code)] // the README is not written here
mod shipped_files;
use shipped_files::{root, yaml_in};

/// Circuits per run of the reference program.
const BATCH: usize = 10;
/// Most difference from the reference: this share, or this much, volt or ampere or ohm.
const SHARE: f64 = 0.01;
const FLOOR: f64 = 5e-3;
/// A tie to the reference node for the reference program, ohm.
const TIE_OHM: f64 = 1e12;
/// The ohmmeter's test current, ampere.
const PROBE_AMPERE: f64 = 1e-3;
/// Limits that the instruments go by, checked from outside: light of a lamp that looks dark, light of one that looks bright, volt that spoil
/// a resistance.
const LOOKS: (f64, f64, f64) = (0.02, 0.35, 0.01);

fn asked(variable: &str, otherwise: usize) -> usize {
    std::env::var(variable).ok().and_then(|n| n.parse().ok()).unwrap_or(otherwise)
}

fn close(ours: f64, theirs: f64) -> bool {
    (ours - theirs).abs() <= (SHARE * theirs.abs()).max(FLOOR)
}

fn nth(network: &Network, n: usize) -> Node {
    network.find(&network.names()[n]).unwrap()
}

/// Node voltages of many networks in one run, by the prefix `kN` and the node. Empty if the reference finds no operating point.
fn reference_volts(networks: &[&Network]) -> Option<BTreeMap<String, f64>> {
    let mut deck = "several networks\n".to_owned();
    for (k, network) in networks.iter().enumerate() {
        deck += &network.spice(&format!("k{k}n"));
        for n in 1..network.nodes() {
            deck += &format!("RTk{k}n{n} {} 0 {TIE_OHM:e}\n", network.spice_node(&format!("k{k}n"), nth(network, n)));
        }
    }
    // Between milliohms and a million megohms, tolerances tighter than its own are lost in rounding and the reference does not settle.
    deck += ".options gmin=1e-12\n.control\nset numdgt=12\nop\nprint all\n.endc\n.end\n";
    let text = ngspice(&deck)?;
    let mut found = values(&text);
    found.retain(|name, _| name.starts_with('k'));
    Some(found)
}

fn volt(found: &BTreeMap<String, f64>, network: &Network, k: usize, node: Node) -> f64 {
    if node == Network::REFERENCE { 0.0 } else { found[&network.spice_node(&format!("k{k}n"), node)] }
}

/// Between two values, uniform in the logarithm.
fn between(random: &mut fastrand::Rng, low: f64, high: f64) -> f64 {
    low * (high / low).powf(random.f64())
}

/// One to three parts, of which all but the first float: trees of resistances with resistances, lamps, diodes and sources across them, in
/// parallel and in series.
fn random_circuit(random: &mut fastrand::Rng) -> Network {
    let mut network = Network::new("0");
    for part in 0..1 + random.usize(..3) {
        let count = 3 + random.usize(..8);
        let mut nodes: Vec<Node> = (0..count)
            .map(|n| if part + n == 0 { Network::REFERENCE } else { network.node(&format!("p{part}n{n}")) })
            .collect();
        // Sources of voltage form no loop: each hangs a new node on an old one.
        for n in 1..count {
            let (a, b) = (nodes[n], nodes[random.usize(..n)]);
            let kind = match random.usize(..5) {
                0 => Kind::Voltage(between(random, 0.5, 24.0) * if random.bool() { 1.0 } else { -1.0 }),
                _ => Kind::Resistor(between(random, 1e-3, 1e4)),
            };
            network.add("tree", a, b, kind).unwrap();
        }
        // With more than one diode in a part, the reference does not settle on every tenth circuit.
        let mut diodes = 1;
        for _ in 0..2 * count {
            let (a, b) = (nodes[random.usize(..count)], nodes[random.usize(..count)]);
            if a == b {
                continue;
            }
            let kind = match random.usize(..6) {
                0 | 1 => Kind::Lamp(Lamp { volt: between(random, 6.0, 24.0), watt: between(random, 1.0, 60.0) }),
                2 => Kind::Current(between(random, 1e-5, 0.1)),
                3 if std::mem::take(&mut diodes) == 1 => {
                    Kind::Diode(Diode { saturation: between(random, 1e-14, 1e-9), emission: between(random, 1.0, 2.0) })
                }
                _ => Kind::Resistor(between(random, 1e-2, 1e7)),
            };
            // No source feeds a diode without resistance.
            let end = match kind {
                Kind::Diode(_) => {
                    let middle = network.node(&format!("p{part}m{}", network.nodes()));
                    network.add("series", middle, b, Kind::Resistor(between(random, 0.1, 1e3))).unwrap();
                    nodes.push(middle);
                    middle
                }
                _ => b,
            };
            network.add("across", a, end, kind).unwrap();
        }
    }
    network
}

#[test]
fn random_circuits_of_every_element_agree_with_ngspice() {
    let wanted = asked("PROBESIDE_CIRCUITS", 60);
    let mut random = fastrand::Rng::with_seed(asked("PROBESIDE_SEED", 20_261_130) as u64);
    let (mut worst, mut compared, mut bent) = (0f64, 0, 0);
    let (mut done, mut given_up) = (0, 0);
    while done < wanted {
        let networks: Vec<Network> = vec![random_circuit(&mut random)];
        let points: Vec<OperatingPoint> = networks
            .iter()
            .map(|network| network.operating_point().unwrap_or_else(|wrong| panic!("{wrong}\n{}", network.spice(""))))
            .collect();
        let all: Vec<&Network> = networks.iter().collect();
        let Some(found) = reference_volts(&all) else { return };
        if found.is_empty() {
            given_up += networks.len();
            continue;
        }
        done += networks.len();
        for (k, (network, point)) in networks.iter().zip(&points).enumerate() {
            bent += usize::from(network.elements().iter().any(|e| matches!(e.kind, Kind::Diode(_))));
            for n in 1..network.nodes() {
                // In a part that floats, against the part's first node.
                let node = nth(network, n);
                let Some(first) = (0..n).map(|m| nth(network, m)).find(|m| point.voltage(node, *m).is_some()) else {
                    continue;
                };
                let ours = point.voltage(node, first).unwrap();
                let theirs = volt(&found, network, k, node) - volt(&found, network, k, first);
                assert!(close(ours, theirs), "node {n}: {ours} V against {theirs} V in\n{}", network.spice(""));
                worst = worst.max((ours - theirs).abs() / theirs.abs().max(FLOOR / SHARE));
                compared += 1;
            }
        }
    }
    println!(
        "{wanted} circuits, {bent} with diodes: {compared} voltages, worst difference {:.4} %; \
         the reference did not settle on {given_up} more",
        100.0 * worst
    );
    assert!(compared > 5 * wanted && 2 * bent > wanted && 4 * given_up < wanted);
}

/// What to compute in the reference program for one reading, and how to compare it.
struct Reading {
    what: String,
    network: Network,
    ends: [Node; 2],
    point: Option<OperatingPoint>,
    seen: Observation,
    lamp: Lamp,
    shunt: f64,
    top: f64,
}

/// The circuit at rest with the instrument in it.
fn laid(model: &Model, wiring: &Wiring, tool: &Instrument, seen: Observation, what: String) -> Reading {
    let f = &wiring.figures;
    let lamp = Lamp { volt: model.bike.volt, watt: f.lamp_watt };
    let live = matches!(seen, Observation::NotValid(NotValid::Live));
    let mut network = Network::new(&wiring.ground);
    for branch in wiring.branches().iter().filter(|b| !b.parted) {
        let (a, b) = (network.node(&branch.a), network.node(&branch.b));
        // An ohmmeter is used with every source dead and every filament cold.
        let dead = tool.kind == InstrumentKind::Ohmmeter && !live;
        let kind = match &branch.kind {
            BranchKind::Ohm(ohm) => Kind::Resistor(*ohm),
            BranchKind::Capacitor { leak_ohm, .. } => Kind::Resistor(*leak_ohm),
            BranchKind::Emf(volt) => Kind::Voltage(if dead { 0.0 } else { *volt }),
            BranchKind::Lamp(lamp) if dead => Kind::Resistor(lamp.ohm(0.0)),
            BranchKind::Lamp(lamp) => Kind::Lamp(*lamp),
            BranchKind::Diode { .. } if dead => continue,
            BranchKind::Diode { diode, turned } => {
                let (anode, cathode) = if *turned { (b, a) } else { (a, b) };
                network.add(&branch.id, anode, cathode, Kind::Diode(*diode)).unwrap();
                continue;
            }
            BranchKind::Open => continue,
        };
        network.add(&branch.id, a, b, kind).unwrap();
    }
    let (a, b) = (network.node(&tool.first), network.node(&tool.second));
    let kind = match tool.kind {
        InstrumentKind::Lamp => Kind::Lamp(lamp),
        InstrumentKind::Ammeter => Kind::Resistor(f.ammeter_ohm),
        InstrumentKind::Ohmmeter if !live => Kind::Current(PROBE_AMPERE),
        _ => Kind::Resistor(f.voltmeter_ohm),
    };
    let (from, to) = if matches!(kind, Kind::Current(_)) { (b, a) } else { (a, b) };
    network.add("instrument", from, to, kind).unwrap();
    let point = network.operating_point().ok();
    let (shunt, top) = (f.ammeter_ohm, f.ohmmeter_top);
    Reading { what, network, ends: [a, b], point, seen, lamp, shunt, top }
}

/// Compares a reading with the reference's voltage between the leads.
fn judge(reading: &Reading, theirs: f64) {
    let what = &reading.what;
    match reading.seen {
        Observation::Volt(ours) => assert!(close(ours, theirs), "{what}: {ours} V against {theirs} V"),
        Observation::Ampere(ours) => {
            assert!(close(ours, theirs / reading.shunt), "{what}: {ours} A against {} A", theirs / reading.shunt);
        }
        Observation::Lamp(glow) => {
            let ours = reading.point.as_ref().and_then(|p| p.voltage(reading.ends[0], reading.ends[1])).unwrap_or(0.0);
            let [ampere, right] = [ours, theirs].map(|volt| reading.lamp.current(volt).0);
            assert!(close(ampere, right), "{what}: {ampere} A against {right} A");
            let light = reading.lamp.light(theirs);
            let near = [LOOKS.0, LOOKS.1].iter().any(|limit| (light / limit - 1.0).abs() < 0.1);
            let looks = match light {
                light if light < LOOKS.0 => Glow::Dark,
                light if light < LOOKS.1 => Glow::Dim,
                _ => Glow::Bright,
            };
            assert!(near || glow == looks, "{what}: {glow:?} against {looks:?}, {theirs} V");
        }
        Observation::Ohm(ours) => {
            assert!(close(ours, theirs / PROBE_AMPERE), "{what}: {ours} ohm against {} ohm", theirs / PROBE_AMPERE);
        }
        Observation::OverRange => {
            let ohm = theirs.abs() / PROBE_AMPERE;
            assert!(ohm > (1.0 - SHARE) * reading.top, "{what}: over range against {ohm} ohm");
        }
        Observation::NotValid(NotValid::Live) => assert!(theirs.abs() > LOOKS.2, "{what}: live against {theirs} V"),
        _ => {}
    }
}

/// The states of a procedure's steps with an instrument, one after another as the steps stand in the file, for one round of every loop.
fn states(procedure: &Procedure, bike: &Bike, random: &mut fastrand::Rng) -> Vec<(String, BikeState)> {
    let mut scope = Scope::new(as_value(bike, &EnglishWords));
    for each in &procedure.loops {
        if let Ok(items) = evaluate_list(&each.over, &scope)
            && !items.is_empty()
        {
            scope.bind(&each.bind, items[random.usize(..items.len())].clone());
        }
    }
    let mut state = BikeState::default();
    let mut all = Vec::new();
    for step in &procedure.steps {
        let Ok(need) = render_state(&step.state, &scope, bike) else { continue };
        state = state.after(&need);
        if need.instrument.is_some() {
            all.push((format!("{}, {}", procedure.id, *step.id), state.clone()));
        }
    }
    all
}

fn loaded<T, E: std::fmt::Display>(file: PathBuf, of: impl Fn(&std::path::Path) -> Result<T, Vec<E>>) -> T {
    of(&file).unwrap_or_else(|wrong| panic!("{}", wrong[0]))
}

#[test]
fn readings_under_the_librarys_faults_agree_with_ngspice() {
    let wanted = asked("PROBESIDE_READINGS", 200);
    let bikes: Vec<Bike> = yaml_in("procedures/bikes").into_iter().map(|f| loaded(f, probeside::bike::load)).collect();
    let procedures: Vec<Procedure> =
        yaml_in("procedures").into_iter().map(|f| loaded(f, probeside::procedure::load)).collect();
    let library = loaded(root().join("procedures/faults/ignition.yaml"), Library::load);
    let faults: Vec<Vec<Fault>> = bikes.iter().map(|bike| library.for_bike(bike).unwrap()).collect();
    let mut random = fastrand::Rng::with_seed(asked("PROBESIDE_SEED", 20_261_130) as u64);
    let (mut kinds, mut steps, mut tools) = (BTreeSet::new(), BTreeSet::new(), BTreeMap::<String, usize>::new());
    let mut compared = 0;
    let mut batch: Vec<Reading> = Vec::new();
    while compared + batch.len() < wanted {
        let n = random.usize(..bikes.len());
        let bike = &bikes[n];
        // Every kind alike, whatever the number of its places.
        let of_bike: Vec<&str> =
            faults[n].iter().map(|f| f.kind.as_str()).collect::<BTreeSet<_>>().into_iter().collect();
        let kind = of_bike[random.usize(..of_bike.len())];
        let of_kind: Vec<&Fault> = faults[n].iter().filter(|f| f.kind == kind).collect();
        let fault = of_kind[random.usize(..of_kind.len())];
        let model = Model::with(bike, fault.alterations.clone());
        let all = states(&procedures[random.usize(..procedures.len())], bike, &mut random);
        if all.is_empty() {
            continue;
        }
        let (step, mut state) = all[random.usize(..all.len())].clone();
        // No step measures a current. In every fifth state an ammeter takes the place of a connector.
        if random.usize(..5) == 0 {
            let connector = &bike.connectors[random.usize(..bike.connectors.len())];
            let [first, second] = [0, 1].map(|half| format!("{}.{}", connector.id, connector.halves[half]));
            state.unplugged.insert(connector.id.clone());
            state.instrument = Some(Instrument { kind: InstrumentKind::Ammeter, first, second });
        }
        let state = &state;
        let tool = state.instrument.clone().unwrap();
        let Ok(cases) = model.observe(state) else { continue };
        if matches!(tool.kind, InstrumentKind::SparkTester | InstrumentKind::Feeler) || cases.is_empty() {
            continue;
        }
        let case = &cases[random.usize(..cases.len())];
        if matches!(case.seen, Observation::NotValid(NotValid::NotIsolated)) || tool.first == tool.second {
            continue;
        }
        let wiring = model.wiring(state, &case.closed).unwrap();
        let what =
            format!("{}, {}, {step}, {:?} from {} to {}", bike.name, fault.id, tool.kind, tool.first, tool.second);
        batch.push(laid(&model, &wiring, &tool, case.seen, what));
        kinds.insert(kind.to_owned());
        steps.insert(step);
        *tools.entry(format!("{:?}", tool.kind)).or_default() += 1;
        if batch.len() == BATCH || compared + batch.len() == wanted {
            let networks: Vec<&Network> = batch.iter().map(|reading| &reading.network).collect();
            let Some(found) = reference_volts(&networks) else { return };
            assert!(!found.is_empty(), "the reference gave no operating point");
            for (k, reading) in batch.iter().enumerate() {
                let [a, b] = reading.ends.map(|node| volt(&found, &reading.network, k, node));
                judge(reading, a - b);
            }
            compared += batch.len();
            batch.clear();
        }
    }
    println!("{compared} readings under {} kinds of fault, at {} steps: {tools:?}", kinds.len(), steps.len());
    assert!(kinds.len() >= 40 && tools.len() == 4, "{kinds:?} {tools:?}");
}
