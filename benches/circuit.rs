//! One operating point against one run of ngspice on the same netlist: each invented bike with the key on, its points
//! closed and a test lamp held to it. Run with `cargo bench --bench circuit`.

use probeside::bike::{self, Bike, BikeState};
use probeside::circuit::{Kind, Lamp, Model, Network};
use std::path::Path;
use std::process::{Command, ExitCode};
use std::time::Instant;

const OURS: u32 = 2000;
const THEIRS: u32 = 20;

fn median(mut seconds: Vec<f64>) -> f64 {
    seconds.sort_by(f64::total_cmp);
    seconds[seconds.len() / 2]
}

fn main() -> ExitCode {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures/bikes");
    let bikes =
        ["heron-twin.yaml", "wren-single.yaml"].map(|name| bike::load(&folder.join(name)).expect("a sound bike"));
    if bikes.iter().all(compared) { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// False when ngspice is there and gives no answer.
fn compared(bike: &Bike) -> bool {
    let mut state = BikeState::default();
    state.switches.insert("key".into(), "on".into());
    let closed = bike.points.iter().map(|p| p.id.value.clone()).collect();
    let wiring = Model::new(bike).wiring(&state, &closed);
    let (mut network, _) = wiring.and_then(|w| w.network()).expect("the bike has a netlist");
    let lamp = Kind::Lamp(Lamp { volt: bike.volt, watt: 5.0 });
    let (a, b) = (network.node("engine"), network.node(&format!("coil-{}.feed", bike.coils[0].id.value)));
    network.add("lamp", a, b, lamp).expect("a lamp fits");
    let timed = |run: &mut dyn FnMut()| {
        let start = Instant::now();
        run();
        start.elapsed().as_secs_f64()
    };
    let point = || assert!(network.operating_point().is_ok());
    let ours = median((0..OURS).map(|_| timed(&mut || point())).collect());
    println!(
        "{}: operating point, {} nodes, one lamp: {:.1} us (median of {OURS})",
        bike.name,
        network.nodes(),
        ours * 1e6
    );

    let mut tied = network.clone();
    for name in network.names().iter().skip(1) {
        let node = tied.node(name);
        tied.add("tie", node, Network::REFERENCE, Kind::Resistor(1e12)).expect("a resistor fits");
    }
    let folder = tempfile::tempdir().expect("a folder for the deck");
    let file = folder.path().join("twin.cir");
    let deck = format!("twin\n{}.control\nop\nprint all\n.endc\n.end\n", tied.spice("n"));
    std::fs::write(&file, deck).expect("the deck is written");
    let run = || Command::new("ngspice").arg("-b").arg(&file).output();
    match run() {
        Err(error) => {
            println!("ngspice does not start ({error}): nothing to compare with; `apt install ngspice` mends it");
            return true;
        }
        Ok(out) if !String::from_utf8_lossy(&out.stdout).contains("n1 = ") => {
            println!("ngspice gave no operating point: {}", String::from_utf8_lossy(&out.stderr));
            return false;
        }
        Ok(_) => {}
    }
    let theirs = median((0..THEIRS).map(|_| timed(&mut || drop(run()))).collect());
    println!("run of ngspice on the same netlist: {:.2} ms (median of {THEIRS})", theirs * 1e3);
    println!("ratio: {:.0}", theirs / ours);
    true
}
