//! The driver and its walker under what is drawn: prompts that end and are cut, answers, speech without an end, pedals, a microphone and a loudspeaker
//! that come and go, a disk that fails, a clock set back, long silence. The source is the program's own contract (`tests/support/machine.rs`,
//! `tests/support/driven.rs`). `cargo run --release --example machine -- EVENTS [SEED]` runs more of it.

mod support;

use support::driven::walk;
use support::machine::{STORIES, Seen, Story};

/// Every story is walked so many times at most.
const MOST_ROUNDS: u64 = 3;

#[test]
fn the_driver_loses_no_guard_no_caution_and_no_record() {
    let mut all = Seen::default();
    let complete = |all: &Seen| [all.guards, all.acknowledged, all.echoes, all.ends].iter().all(|n| *n > 0);
    // How far a walk comes within what is drawn depends on the machine's load, so more are drawn until everything was seen.
    for round in 0..MOST_ROUNDS {
        for (at, name) in STORIES.iter().enumerate() {
            all += walk(&Story::of(name), at as u64 + 100 * round, 1_000);
        }
        if complete(&all) {
            break;
        }
    }
    println!("{all:?}");
    assert!(complete(&all), "{all:?}");
}
