//! The walker against a plain model, for as many random events as are asked for: `cargo run --release --example machine -- EVENTS [SEED]`.
//! What must hold is in `tests/support/machine.rs`; the first thing that does not ends it.

#![allow(dead_code)]

#[path = "../support/machine.rs"]
mod machine;
#[path = "../support/mechanic.rs"]
mod mechanic;
#[path = "../support/stage.rs"]
mod stage;

use machine::{Machine, STORIES, Seen, Story};
use std::time::Instant;

/// Steps of one walk at most; after that the next begins.
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
