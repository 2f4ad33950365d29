//! Damages the journal of a typed walk: sets every byte to 0x00 and to 0xFF, flips each of its bits, and cuts off everything from it on,
//! with and without the digest. `cargo build`, then `cargo run --example damage [-- STRIDE]`. The output of verify and review is checked
//! for every STRIDE-th byte (20). Stops if a journal is silently shorter. Otherwise a dated line goes to `tests/measure/RESULTS.md`.

#[path = "dated.rs"]
mod dated;
#[path = "../support/mod.rs"]
mod support;

use std::collections::BTreeMap;
use std::sync::Mutex;
use support::damage::{Change, Fate, Written};

fn main() {
    let stride = std::env::args().nth(1).map_or(20, |number| number.parse::<usize>().expect("STRIDE"));
    let written = Written::walked();
    let bytes = written.journal().len();
    println!("{bytes} bytes");
    let fates = Mutex::new(BTreeMap::<Fate, u64>::new());
    let threads = std::thread::available_parallelism().map_or(2, usize::from);
    std::thread::scope(|scope| {
        for first in 0..threads {
            let (written, fates) = (&written, &fates);
            scope.spawn(move || {
                for at in (first..bytes).step_by(threads) {
                    for change in Change::ALL {
                        for digest in [false, true] {
                            let fate = written.damaged(at, change, digest, at.is_multiple_of(stride));
                            if let Some(fate) = fate {
                                *fates.lock().expect("no panic").entry(fate).or_default() += 1;
                            }
                        }
                    }
                }
            });
        }
    });
    let fates = fates.into_inner().expect("no panic");
    let told: Vec<String> = fates.iter().map(|(fate, count)| format!("{fate:?} {count}")).collect();
    let all: u64 = fates.values().sum();
    let what = format!("{all} damaged journals of {bytes} bytes: {}; none silently shorter", told.join(", "));
    println!("{what}");
    dated::line("damage", &what);
}
