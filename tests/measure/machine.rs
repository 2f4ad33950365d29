//! Runs the walker against a simple model for a given number of random events: `cargo run --release --example machine -- EVENTS [SEED]`.
//! The invariants are in `tests/support/machine.rs`. The first violation ends the run.

#![allow(dead_code)]

#[path = "../support/machine.rs"]
mod machine;
#[path = "../support/mechanic.rs"]
mod mechanic;
#[path = "../support/stage.rs"]
mod stage;

use machine::{Machine, STORIES, Seen, Story};
use std::time::Instant;

/// Most steps in one walk. Then the next walk starts.
const MOST_STEPS: usize = 2_000;

fn main() {
    let mut arguments = std::env::args().skip(1).filter_map(|given| given.parse::<u64>().ok());
    let events = arguments.next().unwrap_or(100_000);
    let seed = arguments.next().unwrap_or_else(|| fastrand::u64(..));
    println!("seed {seed}");
    let stories: Vec<Story> = STORIES.iter().map(|name| Story::of(name)).collect();
    let mut random = fastrand::Rng::with_seed(seed);
    let begun = Instant::now();
    let (mut all, mut walks) = (Seen::default(), 0_u64);
    while all.events < events {
        let story = &stories[walks as usize % stories.len()];
        let mut machine = if random.bool() { Machine::advised(story) } else { Machine::new(story) };
        for _ in 0..MOST_STEPS {
            machine.act(random.u8(..), random.u8(..));
            if machine.is_over() {
                break;
            }
        }
        machine.replays();
        walks += 1;
        all += machine.seen;
    }
    println!("{walks} walks in {:.0} s: {all:?}", begun.elapsed().as_secs_f64());
}
