//! Kills walks of the real program, typed, spoken and in the best order, at random moments: a seeded sample of what `cargo run --release
//! --features shop --example killed -- 1000` does. `tests/support/killed.rs` lists the requirements.
//!
//! The seed is printed; `PROBESIDE_SEED` repeats it. A kill cannot show that records are synced before they are read back. The walks over
//! the storage double in `src/run/power.rs` show that.
#![cfg(unix)]

mod support;

use std::sync::atomic::Ordering;
use support::killed::{How, kills};

const KILLS: [(How, u64); 3] = [(How::Typed, 36), (How::Spoken, 6), (How::Best, 6)];

#[test]
fn killed_at_random_moments_no_reading_that_was_read_back_is_lost() {
    let seed = std::env::var("PROBESIDE_SEED").ok().and_then(|s| s.parse().ok()).unwrap_or_else(|| {
        std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).map_or(0, |t| t.as_nanos() as u64)
    });
    println!("PROBESIDE_SEED={seed}");
    let done = kills(&KILLS, seed);
    for (how, count, course) in &done {
        println!("{how:?}: {count} kills, {:?}", course.tally);
        assert_eq!(course.tally.ended.load(Ordering::Relaxed), *count, "{how:?}: {:?}", course.tally);
    }
    let typed = &done[0].2.tally;
    assert!(typed.promised.load(Ordering::Relaxed) > KILLS[0].1, "the kills hit after readings too: {typed:?}");
}
