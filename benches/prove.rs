//! Every single fault of the twin through the whole walk, then every pair: `cargo observer --observer prove`.

use probeside::circuit::faults::Library;
use probeside::diagnose::{CircuitObserver, Wanted, prove};
use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

fn main() {
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures");
    let file = |name: &str| shipped.join(name);
    let loaded = probeside::run::load::world(
        &file("no-spark.yaml"),
        &file("bikes/borage-twin.yaml"),
        &file("vocabulary/en.yaml"),
    );
    let world = match loaded {
        Ok(loaded) => Arc::new(loaded.world),
        Err(all) => panic!("{all:?}"),
    };
    let library = Library::load(&file("faults/ignition.yaml")).expect("the library loads");
    let faults = library.for_bike(&world.bike).expect("the library fits the bike");
    for (what, wanted) in [
        ("every single fault", Wanted::default()),
        ("every single fault, and with one slip", Wanted { slips: true, ..Wanted::default() }),
        ("every single fault and every pair", Wanted { pairs: true, ..Wanted::default() }),
    ] {
        let start = Instant::now();
        let observer = CircuitObserver::new(&world.bike, &library, &faults);
        if let Err(why) = prove(&world, &faults, &observer, wanted, &|_, _, _| ()) {
            panic!("{why}");
        }
        println!("{what}: {:.2} s", start.elapsed().as_secs_f64());
    }
}
