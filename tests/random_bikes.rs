//! Bikes drawn from the catalogue with their wiring: order and number of parts in the feed and on the way home, connectors, switches, coils to
//! points. Nothing that passes the gate may end a walk with an error of the program's own.
//!
//! A few are tried in the normal run. `PROBESIDE_BIKES=300 cargo test --release --test random_bikes -- --nocapture` tries many and says how many
//! layouts they were, and how many of these the gate let through.

use probeside::circuit::faults::Library;
use probeside::diagnose::{self, CircuitObserver, Wanted};
use probeside::run::load;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Faults that each walk is led under, beside the healthy bike.
const FAULTS: usize = 12;
/// Bikes of the normal run.
const USUAL: u64 = 3;

fn shipped() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures")
}

/// A profile under construction.
struct Drawn {
    parts: String,
    wires: String,
    /// What distinguishes its layout.
    layout: String,
}

impl Drawn {
    fn part(&mut self, id: &str, what: &str) {
        let _ = writeln!(self.parts, "  {id}: {{{what}}}");
    }

    fn wire(&mut self, from: &str, to: &str) {
        let _ = writeln!(self.wires, "  - {{from: {from}, to: {to}, colour: TQ, metre: 0.4, mm2: 1.5}}");
    }

    fn touch(&mut self, from: &str, to: &str) {
        let _ = writeln!(self.wires, "  - {{from: {from}, to: {to}}}");
    }
}

fn bike(seed: u64) -> (String, String) {
    let mut random = fastrand::Rng::with_seed(seed);
    let mut drawn = Drawn { parts: String::new(), wires: String::new(), layout: String::new() };
    let six = random.bool();
    let (volt, ohm) = if six { (6, 1.7) } else { (12, 4.2) };
    let cylinders = random.usize(1..=4);
    let name = |random: &mut fastrand::Rng, kind: &str, n: usize| {
        let names = [kind.to_owned(), format!("{kind}{n}"), format!("the-{kind}"), format!("x{n}")];
        format!("{}-{n}", names[random.usize(..names.len())])
    };
    drawn.part("battery", "kind: battery");
    drawn.part("engine", "kind: engine");
    drawn.part("frame", "kind: frame");
    // The feed: a random order of what may stand in it, the key always among it.
    let kill = random.usize(..3);
    let mut feed = vec!["key-switch"];
    let fuse_at = random.usize(..3);
    feed.extend((fuse_at == 0).then_some("fuse"));
    feed.extend(random.bool().then_some("ammeter"));
    feed.extend((0..random.usize(..3)).map(|_| "connector"));
    feed.extend((kill == 1).then_some("kill-switch"));
    random.shuffle(&mut feed);
    feed.extend((!six && random.usize(..4) == 0).then_some("ballast"));
    feed.extend(random.bool().then_some("connector"));
    let lamps = random.usize(..3);
    let mut at = "battery.live".to_owned();
    for (n, kind) in feed.iter().enumerate() {
        let id = name(&mut random, kind, n);
        let (into, out) = match *kind {
            "key-switch" => {
                let also: String = (0..lamps).map(|lamp| format!(", [a, lamp{lamp}]")).collect();
                let [off, on] = [["\"off\"", "\"on\""], ["\"0\"", "\"1\""], ["shut", "open"]][random.usize(..3)];
                drawn.part(
                    &id,
                    &format!("kind: key-switch, where: \"here\", positions: {{{off}: [], {on}: [[a, b]{also}]}}"),
                );
                for lamp in 0..lamps {
                    drawn.part(&format!("bulb{lamp}"), &format!("kind: bulb, words: \"bulb {lamp}\", watt: 3"));
                    drawn.wire(&format!("{id}.lamp{lamp}"), &format!("bulb{lamp}.live"));
                    drawn.wire(&format!("bulb{lamp}.case"), "frame");
                }
                ("a", "b")
            }
            "kill-switch" => {
                drawn.part(&id, "kind: kill-switch, where: \"here\", positions: {stop: [], run: [[a, b]], halt: []}");
                ("a", "b")
            }
            "connector" => {
                drawn.part(
                    &id,
                    &format!("kind: connector, words: \"connector {n}\", halves: [one, two], where: \"here\""),
                );
                ("one", "two")
            }
            "fuse" => {
                drawn.part(&id, "kind: fuse, ampere: 15, where: \"here\"");
                ("supply", "load")
            }
            "ballast" => {
                drawn.part(&id, "kind: ballast, ohm: 0.5");
                ("supply", "load")
            }
            _ => {
                drawn.part(&id, "kind: ammeter, where: \"here\"");
                ("supply", "load")
            }
        };
        drawn.wire(&at, &format!("{id}.{into}"));
        at = format!("{id}.{out}");
    }
    let _ = write!(drawn.layout, "{} | {lamps} lamps | ", feed.join(" "));
    // The way home.
    let mut home = Vec::new();
    home.extend((fuse_at == 1).then_some("fuse"));
    home.extend((0..random.usize(..2)).map(|_| "connector"));
    random.shuffle(&mut home);
    drawn.wire("engine", "frame");
    let mut ground = "frame".to_owned();
    for (n, kind) in home.iter().enumerate() {
        let id = format!("home{n}");
        let (into, out) = if *kind == "fuse" { ("supply", "load") } else { ("one", "two") };
        let rest = if *kind == "fuse" { "ampere: 15" } else { "words: \"ground connector\", halves: [one, two]" };
        drawn.part(&id, &format!("kind: {kind}, {rest}, where: \"here\""));
        drawn.wire(&ground, &format!("{id}.{into}"));
        ground = format!("{id}.{out}");
    }
    drawn.wire(&ground, "battery.ground");
    let _ = write!(drawn.layout, "{} | ", home.join(" "));
    // What fires: a coil for each cylinder, one for two, or one for three by a distributor.
    let two_leads = cylinders.is_multiple_of(2) && random.bool();
    let distributor = cylinders == 3 && random.bool();
    let sets = if distributor {
        1
    } else if two_leads {
        cylinders / 2
    } else {
        cylinders
    };
    let sides = ["left", "right", "centre", "centre"];
    let crank = if distributor { false } else { random.bool() };
    let mut kills = Vec::new();
    for (set, side) in sides.into_iter().enumerate().take(sets) {
        let side = if sets == 1 { "centre" } else { side };
        let kind = if two_leads { "coil-two-leads" } else { "coil" };
        drawn.part(&format!("coil-{set}"), &format!("kind: {kind}, side: {side}, primary-ohm: {ohm}"));
        drawn.part(
            &format!("points-{set}"),
            &format!("kind: points, side: {side}, lobes: {}", if distributor { 3 } else { 1 }),
        );
        drawn.part(&format!("condenser-{set}"), "kind: condenser, microfarad: 0.24");
        drawn.wire(&at, &format!("coil-{set}.feed"));
        let connectors = if random.usize(..12) == 0 { 0 } else { random.usize(1..3) };
        let mut low = format!("coil-{set}.points");
        let mut places = vec![low.clone()];
        for n in 0..connectors {
            let id = format!("low{set}{n}");
            drawn.part(
                &id,
                "kind: connector, words: \"points connector\", halves: [coil-side, points-side], where: \"here\"",
            );
            drawn.wire(&low, &format!("{id}.coil-side"));
            low = format!("{id}.points-side");
            places.extend([format!("{id}.coil-side"), low.clone()]);
        }
        drawn.wire(&low, &format!("points-{set}.wire"));
        places.push(format!("points-{set}.wire"));
        drawn.wire(&places[random.usize(1..places.len())], &format!("condenser-{set}.lead"));
        drawn.wire(&format!("condenser-{set}.case"), if random.bool() { "engine" } else { "frame" });
        drawn.touch(&format!("points-{set}.plate"), "engine");
        kills.push(places[random.usize(1..places.len())].clone());
        let _ = write!(drawn.layout, "set with {connectors}, ");
    }
    if kill == 2 {
        let contacts: Vec<String> = (0..sets).map(|set| format!("[w{set}, case]")).collect();
        drawn.part(
            "stop",
            &format!("kind: kill-switch, where: \"here\", positions: {{free: [], down: [{}]}}", contacts.join(", ")),
        );
        for (set, place) in kills.iter().enumerate() {
            drawn.wire(place, &format!("stop.w{set}"));
        }
        drawn.touch("stop.case", "frame");
        drawn.layout += "grounding kill, ";
    }
    if distributor {
        drawn.part("rotor", "kind: distributor, where: \"here\"");
        drawn.wire("coil-0.lead", "rotor.coil");
    }
    for n in 0..cylinders {
        drawn.part(&format!("cap-{n}"), "kind: cap");
        drawn.part(
            &format!("plug-{n}"),
            &format!("kind: plug, side: {}", if cylinders == 1 { "centre" } else { sides[n] }),
        );
        let tower = match () {
            () if distributor => format!("rotor.{}", ["first", "second", "third"][n]),
            () if two_leads => format!("coil-{}.{}", n / 2, ["lead", "second-lead"][n % 2]),
            () => format!("coil-{n}.lead"),
        };
        drawn.wire(&tower, &format!("cap-{n}.lead"));
        drawn.touch(&format!("cap-{n}.top"), &format!("plug-{n}.top"));
        drawn.touch(&format!("plug-{n}.thread"), "engine");
    }
    let _ = write!(drawn.layout, "{cylinders} cylinders, two leads {two_leads}, distributor {distributor}");
    let ground = if random.bool() { "negative" } else { "positive" };
    let starter = ["kick", "electric", "both"][random.usize(..3)];
    let cam = if crank { "crank" } else { "camshaft" };
    let dwell = if distributor { (70, 78) } else { (190, 205) };
    let text = format!(
        "bike: \"Drawn {seed}\"\nmaker: \"Nobody (invented)\"\nvolt: {volt}\nground: {ground}\nstarter: {starter}\npoints-cam: {cam}\nparts:\n{}wires:\n{}\
         specified:\n  points-gap: {{low: 0.3, high: 0.4, unit: mm, source: \"drawn\"}}\n  dwell: {{low: {}, high: {}, unit: deg, source: \"drawn\"}}\n",
        drawn.parts, drawn.wires, dwell.0, dwell.1
    );
    (text, drawn.layout)
}

#[test]
fn what_passes_the_gate_is_walked_to_an_end() {
    let wanted = std::env::var("PROBESIDE_BIKES").ok().and_then(|n| n.parse().ok()).unwrap_or(USUAL);
    let folder = tempfile::tempdir().unwrap();
    let library = Library::load(&shipped().join("faults/ignition.yaml")).unwrap_or_else(|wrong| panic!("{}", wrong[0]));
    let words = shipped().join("vocabulary/en.yaml");
    let mut procedures: Vec<PathBuf> =
        std::fs::read_dir(shipped()).unwrap().map(|entry| entry.unwrap().path()).collect();
    procedures.retain(|file| file.extension().is_some_and(|end| end == "yaml"));
    procedures.sort();
    if wanted == USUAL {
        procedures
            .retain(|file| ["no-spark.yaml", "points.yaml", "blown-fuse.yaml"].iter().any(|name| file.ends_with(name)));
    }
    let (mut layouts, mut let_through, mut walks) = (BTreeSet::new(), BTreeSet::new(), 0);
    let mut refused: BTreeMap<String, usize> = BTreeMap::new();
    let mut wrong = Vec::new();
    for seed in 1..=wanted {
        let (text, layout) = bike(seed);
        let file = folder.path().join(format!("drawn-{seed}.yaml"));
        std::fs::write(&file, &text).unwrap();
        let profile = probeside::bike::load(&file).unwrap_or_else(|wrong| panic!("{}\n{text}", wrong[0]));
        assert_eq!(probeside::check::bike(&profile), [], "{seed}: {layout}\n{text}");
        layouts.insert(layout.clone());
        for procedure in &procedures {
            let name = procedure.file_stem().unwrap().to_string_lossy().into_owned();
            let world = match load::world(procedure, &file, &words) {
                Ok(loaded) => Arc::new(loaded.world),
                Err(why) => {
                    if name == "no-spark" {
                        *refused.entry(why[0].message.replace(&format!("Drawn {seed}"), "bike")).or_default() += 1;
                    }
                    continue;
                }
            };
            if name == "no-spark" {
                let_through.insert(layout.clone());
            }
            let faults =
                library.for_bike_in(&world.bike, &world.vocabulary).unwrap_or_else(|wrong| panic!("{}", wrong[0]));
            let mut random = fastrand::Rng::with_seed(seed);
            let some: Vec<_> = (0..FAULTS).map(|_| faults[random.usize(..faults.len())].clone()).collect();
            let observer = CircuitObserver::new(&world.bike, &library, &some);
            let proved = diagnose::prove(&world, &some, &observer, Wanted::default(), &|_, _, _| {});
            let proved = proved.unwrap_or_else(|why| panic!("{name} on {seed}, {layout}: {why}\n{text}"));
            walks += some.len() + 1;
            if !proved.proof.healthy.right {
                wrong.push(format!("{name} on {seed} ({layout}): {}", proved.proof.healthy.conclusion));
            }
        }
    }
    println!(
        "{wanted} bikes of {} layouts, {} of them led through no-spark; {walks} walks",
        layouts.len(),
        let_through.len()
    );
    println!("{} walks of a sound bike end as if it were faulty", wrong.len());
    wrong.iter().for_each(|walk| println!("  {walk}"));
    refused.iter().for_each(|(why, n)| println!("no-spark refused {n} times: {why}"));
    assert!(!let_through.is_empty());
}
