//! Bikes of other layouts. The format can describe them, `check` finds them sound, their circuits fire and faults in them can be told
//! apart. An impossible layout is reported with its place.

use probeside::bike::{self, Bike, BikeState, Engine, Instrument, InstrumentKind, PointsAt};
use probeside::circuit::{Alteration, Glow, Model, Observation, Strength};
use std::path::{Path, PathBuf};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/bikes")
}

fn load(name: &str) -> Bike {
    bike::load(&folder().join(name)).unwrap_or_else(|wrong| panic!("{}", wrong[0]))
}

/// Ready for the road: everything connected, kicked.
fn kicked() -> BikeState {
    let switches = [("key", "connects"), ("kill", "connects")];
    let switches = switches.into_iter().map(|(name, at)| (name.to_owned(), at.to_owned())).collect();
    BikeState { switches, engine: Some(Engine::Kicked), ..BikeState::default() }
}

fn held(mut state: BikeState, kind: InstrumentKind, first: &str, second: &str) -> BikeState {
    state.instrument = Some(Instrument { kind, first: first.into(), second: second.into() });
    state
}

const LAYOUTS: [&str; 4] = ["bare-single.yaml", "wasted-twin.yaml", "triple.yaml", "wasted-four.yaml"];

#[test]
fn every_layout_is_sound_and_fires_at_every_plug_and_not_with_the_ignition_off() {
    for name in LAYOUTS {
        let bike = load(name);
        assert_eq!(probeside::check::bike(&bike), [], "{name}");
        let model = Model::new(&bike);
        for plug in &bike.plugs {
            assert_eq!(model.fires(&kicked(), &plug.id).unwrap(), Strength::Strong, "{name}, {}", plug.id);
            for switch in ["key", "kill"].into_iter().filter(|switch| bike.switch(switch).is_some()) {
                let mut off = kicked();
                off.switches.insert(switch.to_owned(), "disconnects".to_owned());
                assert_eq!(model.fires(&off, &plug.id).unwrap(), Strength::None, "{name}, {switch} off");
            }
        }
    }
}

#[test]
fn a_two_lead_coil_needs_both_its_ways_whole() {
    for (name, one, other) in [("wasted-twin.yaml", "left", "right"), ("wasted-four.yaml", "one", "four")] {
        let bike = load(name);
        let fires = |changes: Vec<Alteration>, state: &BikeState, plug: &str| {
            Model::with(&bike, changes).fires(state, plug).unwrap()
        };
        // Common practice, no source: with one lead off or open neither plug of the pair fires; a fouled plug lets its pair fire.
        let open = Alteration::Open { branch: format!("cap-{other}") };
        assert_eq!(fires(vec![open], &kicked(), one), Strength::None, "{name}");
        let mut off = kicked();
        off.unplugged.insert(format!("cap-{other}"));
        assert_eq!(fires(vec![], &off, one), Strength::None, "{name}");
        let fouled = Alteration::Ohm { branch: format!("plug-{other}"), ohm: 1000.0 };
        assert_eq!(fires(vec![fouled.clone()], &kicked(), one), Strength::Strong, "{name}");
        // A tester on one lead sparks if the other lead is clipped to the engine, but not if it hangs free.
        let tester = held(off.clone(), InstrumentKind::SparkTester, &format!("cap-{one}.top"), "engine");
        let mut tester = BikeState { unplugged: [format!("cap-{other}"), format!("cap-{one}")].into(), ..tester };
        let seen = |state: &BikeState| Model::new(&bike).observe(state).unwrap()[0].seen;
        assert_eq!(seen(&tester), Observation::Spark(Strength::None), "{name}");
        tester.fitted.insert("clip".into(), [format!("cap-{other}.top"), "engine".into()]);
        assert_eq!(seen(&tester), Observation::Spark(Strength::Strong), "{name}");
    }
}

#[test]
fn a_kill_switch_that_grounds_the_points_means_the_same_everywhere() {
    let bike = load("triple.yaml");
    let model = Model::new(&bike);
    let lamp = |kill: &str| {
        let mut state = kicked();
        state.engine = Some(Engine::Still);
        state.switches.insert("kill".into(), kill.into());
        state.points = bike.points.iter().map(|set| (set.id.clone(), PointsAt::Open)).collect();
        let state = held(state, InstrumentKind::Lamp, "battery.live", "left-points.coil-side");
        model.observe(&state).unwrap()[0].seen
    };
    // With the feed on both ends the lamp is dark. Where the kill switch grounds the wire, it lights.
    assert_eq!(lamp("connects"), Observation::Lamp(Glow::Dark));
    assert_eq!(lamp("run"), Observation::Lamp(Glow::Dark));
    assert_eq!(lamp("disconnects"), Observation::Lamp(Glow::Bright));
    assert_eq!(lamp("stop"), Observation::Lamp(Glow::Bright));
    assert!(bike.terminals().contains("kill.left") && !bike.terminals().contains("kill.supply"));
}

#[test]
fn points_open_one_after_the_other_by_the_crank_angle() {
    let bike = load("triple.yaml");
    let model = Model::new(&bike);
    let open = |crank: f64| {
        let closed = model.closed_at(crank);
        let open = bike.points.iter().map(|set| set.id.as_str()).filter(|id| !closed.contains(*id));
        open.collect::<Vec<_>>().join(" ")
    };
    // They open at 0, 120 and 240, and each stays open for 160 of 360 degrees.
    for (crank, expected) in [
        (10.0, "left right"),
        (50.0, "left"),
        (130.0, "left middle"),
        (170.0, "middle"),
        (250.0, "middle right"),
        (359.0, "right"),
    ] {
        assert_eq!(open(crank), expected, "at {crank}");
        assert_eq!(open(crank + 360.0), expected, "at {crank} a turn later");
    }
    assert_eq!(model.standings(&kicked()).len(), 6);
    let at = BikeState { crank: Some(50), ..BikeState::default() };
    assert_eq!(model.standings(&at), [["middle", "right"].map(String::from).into()]);
    // Only by hand: no crank angle gives this combination.
    let card = bike.points.iter().map(|set| (set.id.clone(), PointsAt::Open)).collect();
    assert_eq!(model.standings(&BikeState { points: card, ..BikeState::default() }), [Default::default()]);
}

#[test]
fn the_profiles_own_figures_reach_the_circuit() {
    let bike = load("bare-single.yaml");
    let model = Model::new(&bike);
    let state = held(BikeState::default(), InstrumentKind::Voltmeter, "battery.live", "battery.ground");
    let volt = |model: &Model| match model.observe(&state).unwrap()[0].seen {
        Observation::Volt(volt) => volt,
        other => panic!("{other:?}"),
    };
    assert!((volt(&model) - 6.33).abs() < 1e-3);
    assert!((volt(&Model::with(&bike, [Alteration::set("battery", "charge", 0.5)])) - 6.12).abs() < 1e-3);
    let figures = &model.figures;
    assert_eq!(figures.coils["only"].ratio, 85.0);
    assert_eq!(figures.coils["only"].primary_henry, 0.0038);
    assert_eq!(figures.values["cap-only"]["ohm"], 5000.0);
    let wiring = model.wiring(&kicked(), &["only".to_owned()].into()).unwrap();
    for (branch, ohm) in
        [("fuse", 0.008), ("key", 0.015), ("coil-feed", 0.003), ("points-only", 0.015), ("cap-only", 5000.0)]
    {
        assert_eq!(wiring.branch(branch).unwrap().kind, probeside::circuit::BranchKind::Ohm(ohm), "{branch}");
    }
}

#[test]
fn what_cannot_be_is_told_with_its_place() {
    let file = std::fs::read_to_string(folder().join("bare-single.yaml")).unwrap();
    let told = |from: &str, to: &str| {
        assert!(file.contains(from), "{from}");
        bike::parse(&file.replacen(from, to, 1), "b.yaml").unwrap_err()[0].to_string()
    };
    let line = |text: &str| file.lines().position(|line| line.contains(text)).unwrap() + 1;
    let at = |text: &str| format!("b.yaml:{}:", line(text));
    assert!(told("volt-50: 6.12", "volt-50: 61.2").starts_with(&at("battery: {")));
    assert!(told("volt-50: 6.12", "volt-50: 61.2").contains("needs a number from 0.1 to 60"));
    assert!(
        told("volt-50: 6.12", "volt-60: 6.12").contains("Did you mean `volt-0`?"),
        "{}",
        told("volt-50: 6.12", "volt-60: 6.12")
    );
    assert!(told("closed-as-set: 370", "closed-as-set: 720").starts_with(&at("points-only: {")));
    assert!(told("closed-as-set: 370", "closed-as-set: 720").contains("every 720 degrees"));
    assert!(told("closed-as-set: 370, every: 720", "dwell: 360").contains("every 720 degrees"));
    assert!(told("ratio: 85", "ratio: 0").contains("`ratio` of `coil-only` needs a number from 1"));
    assert!(told("ohm: 0.015}", "ohm: -1}").contains("`ohm` of `points-only` needs a number"));
    assert!(told("ohm: 5000", "ohms: 5000").contains("Did you mean `ohm`?"));
    assert!(told("{kind: battery, ", "{kind: batery, ").contains("[unknown-kind]"));
    assert!(told("[supply-side, load-side]", "[side, side]").contains("two different names"));
    assert!(told("[[supply, load]]", "[[supply, supply]]").contains("between two different terminals"));
    // What is computed has limits too: an empty battery has 150 times the resistance of a full one.
    assert!(
        told("ohm-full: 0.015, ohm-empty: 0.04", "ohm-full: 100")
            .contains("`ohm-empty` of `battery` comes out as 15000")
    );
    // Both are the coil `only`.
    let second = "  only: {kind: coil, primary-ohm: 1.5}\n  condenser-only:";
    assert!(told("  condenser-only:", second).contains("both have the short name `only`"));
}
