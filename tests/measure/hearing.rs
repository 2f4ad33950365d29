//! Measures the recogniser, and fits its calibration.
//!
//! `cargo run --release --example hearing -- fit` runs the development voices and noises and writes `src/hear/fitted.rs`;
//! `... -- test` runs the test voices, noises and strangers and prints what was taken, asked and refused; `... -- digits`
//! scores the real digits at `PROBESIDE_DIGITS` (or ../shared/speech/digits) ten ways; `... -- say WORDS` shows one.
//! Trials of a run go to `tests/measure/out/`.

mod bounds;
mod digits;
mod fit;
mod neural;
mod noises;
mod p56;
mod report;
mod sayings;
mod shipped;
#[path = "../support/stage.rs"]
#[allow(dead_code)]
mod stage;
mod strangers;
mod trials;
mod voices;

use trials::Side;

fn main() {
    let mut args = std::env::args().skip(1);
    let mode = args.next().unwrap_or_default();
    let rest: Vec<String> = args.collect();
    let number = |at: usize| rest.get(at).and_then(|n: &String| n.parse::<f64>().ok());
    let (share, minutes) = (number(0).unwrap_or(1.0), number(1).unwrap_or(f64::INFINITY).min(1e6));
    match mode.as_str() {
        "fit" => fit::write(&trials::run(Side::Fitting, share, minutes)),
        "test" => report::print(&trials::run(Side::Testing, share, minutes)),
        "develop" => report::print(&trials::run(Side::Fitting, share, minutes)),
        "digits" => digits::score(),
        "listens" => shipped::listens().iter().for_each(|l| println!("{} {}", l.place, l.is_number())),
        "say" => trials::show(&rest.join(" ")),
        _ => eprintln!("one of: fit, test, develop, digits, say WORDS"),
    }
}
