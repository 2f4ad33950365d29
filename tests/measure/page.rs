//! Measures the review's page of a long session: the time to build it, and to open it in a real browser. `cargo run --release --example
//! page`.

#[path = "../page/browser.rs"]
#[allow(dead_code)]
mod browser;
#[path = "../support/disk.rs"]
mod disk;
#[path = "../page/session.rs"]
mod session;
#[path = "../support/stage.rs"]
#[allow(dead_code)]
mod stage;
#[path = "../support/walked.rs"]
mod walked;

use std::time::Instant;

/// Readings in the long session, and how many of them have audio.
const SESSION: (u32, u32) = (2_000, 200);
/// How often the page is opened, each time in a new browser.
const OPENED: usize = 5;

fn main() {
    let disk = session::in_memory(SESSION.0, SESSION.1);
    let began = Instant::now();
    let page = session::page(&disk);
    println!(
        "{} readings, {} clips: made in {:.2} s, {:.1} MB",
        SESSION.0,
        SESSION.1,
        began.elapsed().as_secs_f64(),
        page.len() as f64 / 1e6
    );
    if browser::program().is_none() {
        eprintln!("no chromium on this machine; models/setup test installs it");
        std::process::exit(3);
    }
    // From the start of the navigation to the second frame drawn after everything has loaded.
    let script = "addEventListener('load', () => requestAnimationFrame(() => requestAnimationFrame(() => \
        console.log('PROBESIDE-REPORT ' + Math.round(performance.now())))));";
    let folder = tempfile::tempdir().expect("a folder for the page");
    let file = folder.path().join("page.html");
    std::fs::write(&file, browser::with_script(&page, script, false)).expect("the page is written");
    let mut taken: Vec<u64> = (0..OPENED)
        .map(|run| browser::report(&file, &folder.path().join(format!("home-{run}"))).0.parse().expect("milliseconds"))
        .collect();
    taken.sort_unstable();
    println!("opened {OPENED} times: median {} ms, slowest {} ms", taken[OPENED / 2], taken[OPENED - 1]);
}
