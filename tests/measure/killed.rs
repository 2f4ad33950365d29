//! Kills walks at random moments, in large numbers: a third typed, a third spoken, a third in the best order, and a third of all killed
//! again while they are resumed. `cargo build --release --features shop`, then `cargo run --release --features shop --example killed --
//! COUNT [SEED]`. Stops at the first lost reading or stuck session. Otherwise a dated line goes to `tests/measure/RESULTS.md`.

#[path = "dated.rs"]
mod dated;
#[path = "../support/mod.rs"]
mod support;

use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Instant;
use support::killed::{How, kills};

fn main() {
    let mut numbers = std::env::args().skip(1).map(|number| number.parse::<u64>().expect("COUNT [SEED]"));
    let count = numbers.next().unwrap_or(30);
    let seed = numbers.next().unwrap_or_else(|| fastrand::u64(..));
    println!("{count} kills, seed {seed}");
    let began = Instant::now();
    let third = count.div_ceil(How::ALL.len() as u64);
    let counts = How::ALL.map(|how| (how, third));
    let done = kills(&counts, seed);
    let of = |number: &AtomicU64| number.load(Ordering::Relaxed);
    let (mut words, mut killed, mut ended) = (Vec::new(), 0, 0);
    for (how, _, course) in &done {
        let tally = &course.tally;
        (killed, ended) = (killed + of(&tally.killed), ended + of(&tally.ended));
        words.push(format!(
            "{how:?} {}: {} readings read back before, {} killed again, {} at their conclusion",
            of(&tally.killed),
            of(&tally.promised),
            of(&tally.twice),
            of(&tally.over)
        ));
    }
    let what = format!(
        "{killed} walks killed (seed {seed}), {} lost, {} stuck, in {:.0} minutes. {}",
        0,
        killed - ended,
        began.elapsed().as_secs_f64() / 60.0,
        words.join("; ")
    );
    println!("{what}");
    assert!(killed == ended && done.len() == How::ALL.len(), "all three ways, each to its end");
    dated::line(&format!("killed -- {count} {seed}"), &what);
}
