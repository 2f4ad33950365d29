//! Measures the recogniser, and fits its calibration. `cargo run --release --example hearing -- MODE`:
//!
//! - `fit [SHARE [MINUTES]]`: runs the development voices and noises; writes `src/hear/decode/fitted.rs`
//! - `refit`: the same from the trials that the last `fit` or `develop` left
//! - `develop`, `test` `[SHARE [MINUTES]]`: the tables for the development or the test voices, noises and strangers
//! - `rivals [SHARE [MINUTES [SOUNDS]]]`: the test, then a comparison with two other recognition methods
//! - `harder [SHARE]`: the test voices two metres away, in a bare garage, over an engine, shouted, breathless
//! - `found`, `develop-found` `[SHARE [MINUTES]]`: the trials of `test`, and of the development voices in noises that come in bursts, as
//!   the voice activity detection finds them in longer sound
//! - `cut`, `develop-cut` `[SHARE]`: the detection alone on the same sounds, without recognition
//! - `suppressed [SHARE]`: the trials of `test` after noise suppression
//! - `learnt [SHARE]`: every test voice enrolled from three takes, next to the same without enrolment
//! - `chatter MINUTES [SEED]`: a radio around a waiting step; `PROBESIDE_TELL=1` prints the outcome of every true answer
//! - `folder DIR`: any folder of WAV files with a table of answers, see `folder.rs`
//! - `digits`: real digits in `PROBESIDE_DIGITS` (or ../shared/speech/digits) as a choice of ten
//! - `people-cut [SHARE]`: the detection of real people's utterances
//! - `people [SHARE [MINUTES]]`: real people's recordings in `PROBESIDE_PEOPLE`: numbers, and strangers
//! - `say WORDS`: one phrase in every development voice; `listens`: the grammars used for measuring
//!
//! The trials of a run go to `tests/measure/out/`, one line of JSON each.

mod bounds;
mod chatter;
mod digits;
mod fit;
mod folder;
mod found;
mod learnt;
mod neural;
mod noises;
mod p56;
mod people;
mod recorded;
mod report;
mod rivals;
mod sayings;
mod shipped;
mod spread;
#[path = "../support/stage.rs"]
#[allow(dead_code)]
mod stage;
mod strangers;
mod suppressed;
mod trials;
mod voices;
mod ways;

use std::path::Path;
use trials::Side;

fn main() {
    let mut args = std::env::args().skip(1);
    let mode = args.next().unwrap_or_default();
    let rest: Vec<String> = args.collect();
    let number = |at: usize| rest.get(at).and_then(|n: &String| n.parse::<f64>().ok());
    let (share, minutes) = (number(0).unwrap_or(1.0), number(1).unwrap_or(f64::INFINITY).min(1e6));
    match mode.as_str() {
        "fit" => fit::write(&trials::run(Side::Fitting, share, minutes)),
        "refit" => fit::write_again(&trials::saved(Side::Fitting)),
        "test" => report::print(&trials::run(Side::Testing, share, minutes)),
        "suppressed" => {
            let trials = trials::run_treated(Side::Testing, share, minutes, suppressed::SUPPRESSED);
            report::print(&trials);
        }
        "found" => report::print(&trials::run_treated(Side::Testing, share, minutes, found::FOUND)),
        "develop-found" => report::print(&trials::run_treated(Side::InBursts, share, minutes, found::FOUND)),
        "cut" => found::cut(Side::Testing, share),
        "develop-cut" => found::cut(Side::InBursts, share),
        "people-cut" => found::cut(Side::People, share),
        "learnt" => learnt::run(share),
        "harder" => report::print(&trials::run(Side::Harder, share, minutes)),
        "develop" => report::print(&trials::run(Side::Fitting, share, minutes)),
        "digits" => digits::score(),
        "people" => people::run(share, minutes),
        neural::SPEAK => neural::serve(),
        "rivals" => {
            let trials = trials::run(Side::Testing, share, minutes);
            report::print(&trials);
            rivals::print(&trials, number(2).unwrap_or(1e9) as usize);
        }
        "chatter" => {
            let outcome = chatter::run_shared(share, number(1).unwrap_or(41.0) as u64);
            chatter::print(&outcome, share);
        }
        "folder" => {
            let trials = folder::run(Path::new(rest.first().map_or(".", String::as_str)));
            report::print(&trials);
            rivals::print(&trials, usize::MAX);
        }
        "listens" => shipped::listens().iter().for_each(|l| println!("{} {}", l.place, l.is_number())),
        "say" => trials::show(&rest.join(" ")),
        _ => eprintln!(
            "one of: fit, refit, develop, test, found, develop-found, rivals, harder, learnt, suppressed, chatter, folder, digits, people, people-cut, say, listens; see the head of tests/measure/hearing.rs"
        ),
    }
}
