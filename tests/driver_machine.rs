//! The driver and its walker under what is drawn: prompts that end and are cut, answers, speech without an end, pedals, a microphone and a loudspeaker
//! that come and go, a disk that fails, a clock set back, long silence. The source is the program's own contract (`tests/support/machine.rs`,
//! `tests/support/driven.rs`). `cargo run --release --example machine -- EVENTS [SEED]` runs more of it.

mod support;

use support::driven::walk;
use support::machine::{STORIES, Seen, Story};

#[test]
fn the_driver_loses_no_guard_no_caution_and_no_record() {
    let mut all = Seen::default();
    for (at, name) in STORIES.iter().enumerate() {
        all += walk(&Story::of(name), at as u64, 1_000);
    }
    println!("{all:?}");
    let Seen { guards, acknowledged, echoes, ends, .. } = all;
    assert!([guards, acknowledged, echoes, ends].iter().all(|n| *n > 0), "{all:?}");
}
