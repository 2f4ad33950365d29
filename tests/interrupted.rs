//! Ctrl-C, SIGTERM and SIGHUP to the real program at random moments of a busy walk. Each ends it with the journal closed; a second signal
//! within two seconds. The expectations are the program's own contract.
#![cfg(unix)]

#[path = "support/signal.rs"]
mod signal;

use signal::send;
use std::io::Write;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// Number of times each signal is sent.
const TIMES: usize = 25;
/// Number of walks at the same time.
const AT_ONCE: usize = 5;
/// Time limit for a walk's last words after a first signal. After a second one the limit is two seconds, and as much again for a machine
/// that runs other tests.
const LAST_WORDS: Duration = Duration::from_secs(20);
const AFTER_SECOND: Duration = Duration::from_secs(4);
/// Pause between the signals: the system merges a signal with an identical pending one (POSIX.1-2017, System Interfaces 2.4.1).
const APART: Duration = Duration::from_millis(250);

/// A typed walk that always has something to do until it is told to end.
fn busy(into: &Path) -> Child {
    let mut child = Command::new(env!("CARGO_BIN_EXE_probeside"))
        .args([
            "walk",
            "prove-lamp",
            "--bike",
            "borage-twin",
            "--faults",
            "none",
            "--hear",
            "typed",
            "--say",
            "printed",
        ])
        .arg("--into")
        .arg(into)
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    let mut answers = child.stdin.take().expect("a pipe");
    std::thread::spawn(move || while answers.write_all(b"say again\n").is_ok() {});
    child
}

fn ends_within(child: &mut Child, limit: Duration) -> Option<std::process::ExitStatus> {
    let until = Instant::now() + limit;
    while Instant::now() < until {
        if let Some(status) = child.try_wait().expect("its status") {
            return Some(status);
        }
        std::thread::sleep(Duration::from_millis(10));
    }
    None
}

fn begun(into: &Path) {
    let until = Instant::now() + LAST_WORDS;
    while Instant::now() < until {
        let journal = into.join("journal.jsonl");
        if std::fs::metadata(&journal).is_ok_and(|m| m.len() > 0) {
            return;
        }
        std::thread::sleep(Duration::from_millis(5));
    }
    panic!("the walk never began");
}

#[test]
fn every_interrupt_ends_a_busy_walk() {
    let seed = std::env::var("PROBESIDE_SEED").ok().and_then(|s| s.parse().ok()).unwrap_or_else(|| fastrand::u64(..));
    println!("PROBESIDE_SEED={seed}");
    let folder = tempfile::tempdir().expect("a folder");
    let mut random = fastrand::Rng::with_seed(seed);
    let all: Vec<(usize, &str, u64, bool)> = ["INT", "TERM", "HUP"]
        .iter()
        .flat_map(|signal| (0..TIMES).map(move |n| (n, *signal)))
        .map(|(n, signal)| (n, signal, random.u64(0..400), n % 5 == 4))
        .collect();
    for some in all.chunks(AT_ONCE) {
        std::thread::scope(|scope| {
            for (n, signal, after_ms, twice) in some {
                let into = folder.path().join(format!("{signal}-{n}"));
                scope.spawn(move || {
                    let mut child = busy(&into);
                    begun(&into);
                    std::thread::sleep(Duration::from_millis(*after_ms));
                    send(signal, &child);
                    if *twice {
                        std::thread::sleep(APART);
                        // A walk that has already ended gets no signal.
                        let _ = Command::new("kill").args(["-s", signal, &child.id().to_string()]).status();
                    }
                    let limit = if *twice { AFTER_SECOND } else { LAST_WORDS };
                    let status = ends_within(&mut child, limit);
                    let _ = child.kill();
                    let what = format!("{signal} number {n} after {after_ms} ms");
                    assert!(status.is_some(), "{what}: lost");
                    if !twice {
                        assert_eq!(status.and_then(|s| s.code()), Some(1), "{what}");
                        assert!(into.join("digest.json").exists(), "{what}: the journal is closed");
                    }
                });
            }
        });
    }
}
