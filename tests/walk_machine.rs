//! The walker against a simple model of its invariants, under random events: answers of every kind, misses, endless speech, both pedals,
//! prompts that finish and that are cut, timers, a microphone and a loudspeaker that come and go, a clock set back, failing records, stops,
//! kills. `cargo run --release --example machine -- EVENTS [SEED]` runs more. The expectations are the program's own contract
//! (`tests/support/machine.rs`).

mod support;

use proptest::prelude::*;
use std::cell::RefCell;
use std::collections::BTreeMap;
use support::machine::{Machine, STORIES, Seen, Story};

thread_local! {
    static TOLD: RefCell<BTreeMap<usize, Story>> = const { RefCell::new(BTreeMap::new()) };
}

fn story(at: usize) -> Story {
    TOLD.with_borrow_mut(|all| all.entry(at).or_insert_with(|| Story::of(STORIES[at])).clone())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 40, max_shrink_iters: 400, ..ProptestConfig::default() })]

    #[test]
    fn no_guard_is_lost_no_caution_unheard_and_no_answer_without_its_record(
        at in 0..STORIES.len(),
        advised in any::<bool>(),
        acts in prop::collection::vec((any::<u8>(), any::<u8>()), 100..500),
    ) {
        let story = story(at);
        let mut machine = if advised { Machine::advised(&story) } else { Machine::new(&story) };
        for (what, how) in acts {
            machine.act(what, how);
            if machine.is_over() {
                break;
            }
        }
        machine.replays();
    }
}

/// A run in which nothing happened would prove nothing, so this one is fixed and gets far.
#[test]
fn a_run_meets_guards_cautions_echoes_and_ends() {
    let mut all = Seen::default();
    let mut random = fastrand::Rng::with_seed(17);
    for at in 0..STORIES.len() {
        for _ in 0..3 {
            let mut machine = Machine::new(&story(at));
            for _ in 0..400 {
                machine.act(random.u8(..), random.u8(..));
                if machine.is_over() {
                    break;
                }
            }
            all += machine.seen;
        }
    }
    println!("{all:?}");
    let Seen { guards, confirmed, acknowledged, again, echoes, ends, resumed, told, .. } = all;
    assert!([guards, confirmed, acknowledged, again, echoes, ends, resumed, told].iter().all(|n| *n > 0), "{all:?}");
}
