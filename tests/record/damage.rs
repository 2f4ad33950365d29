//! A seeded sample of what `cargo run --example damage` does to every byte.

use crate::support::damage::{Change, Fate, Written};
use std::collections::BTreeMap;

const TRIES: u64 = 600;
/// In one of so many review and verify are looked at, too.
const THOROUGH: u64 = 6;

#[test]
fn a_damaged_journal_is_refused_or_whole_and_never_silently_shorter() {
    let seed = std::env::var("PROBESIDE_SEED").ok().and_then(|s| s.parse().ok()).unwrap_or_else(|| fastrand::u64(..));
    println!("PROBESIDE_SEED={seed}");
    let mut dice = fastrand::Rng::with_seed(seed);
    let written = Written::walked();
    let bytes = written.journal().len();
    let last = written.journal()[..bytes - 1].iter().rposition(|byte| *byte == b'\n').expect("two lines") + 1;
    let mut fates = BTreeMap::<Fate, u64>::new();
    for number in 0..TRIES {
        let change = Change::ALL[dice.usize(..Change::ALL.len())];
        // Line feeds and the last line are hit more often than their share.
        let at = match number % 4 {
            0 => dice.usize(last..bytes),
            1 => {
                let from = dice.usize(..bytes);
                from + written.journal()[from..].iter().position(|byte| *byte == b'\n').expect("a line feed")
            }
            _ => dice.usize(..bytes),
        };
        let fate = written.damaged(at, change, number.is_multiple_of(2), number.is_multiple_of(THOROUGH));
        *fates.entry(fate.unwrap_or(Fate::Refused)).or_default() += 1;
    }
    println!("{fates:?}");
    assert!(fates[&Fate::Refused] > TRIES / 2 && fates[&Fate::Torn] > 10, "{fates:?}");
}
