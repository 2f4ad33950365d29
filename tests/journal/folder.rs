//! Real folders: locks between processes, kills, folders that disappear.

use crate::bench::*;
use probeside::session::{Folder, Journal, Kind, SessionError};
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, Command, Stdio};

/// Set for a copy of this test program that plays the other process; its value is the session's folder.
const OTHER: &str = "PROBESIDE_TEST_OTHER_PROCESS";

/// Another process that writes to the session without end, and prints the number of every reading that may be spoken back.
fn other_process(folder: &Path) -> Child {
    Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "folder::the_other_process", "--nocapture", "--test-threads=1"])
        .env(OTHER, folder)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

/// Not a test by itself: the other process of those below.
#[test]
fn the_other_process() {
    let Some(path) = std::env::var_os(OTHER) else { return };
    let path = Path::new(&path);
    let (mut journal, mut number, clock) = if path.join("journal.jsonl").exists() {
        let opened = open(Folder::at(path)).unwrap();
        let last = readings(&opened.entries).last().copied().unwrap_or(0);
        (opened.journal, last, opened.clock)
    } else {
        (begin(Folder::create(path).unwrap()).unwrap(), 0, clock())
    };
    loop {
        number += 1;
        journal.append(Kind::Event, &event(), &clock.now()).unwrap();
        journal.record(&renumbered(number), &clock.now()).unwrap();
        println!("\nspoken {number}");
        std::io::stdout().flush().unwrap();
        if number % 7 == 0 {
            journal.clip(&format!("{number:05}"), &[0.5; 1600], &clock.now()).unwrap();
        }
    }
}

/// Reads until `count` more readings were spoken back.
fn wait_for(child: &mut Child, count: usize) -> (Vec<u32>, BufReader<std::process::ChildStdout>) {
    let mut lines = BufReader::new(child.stdout.take().unwrap());
    let mut spoken = Vec::new();
    while spoken.len() < count {
        let mut line = String::new();
        assert_ne!(lines.read_line(&mut line).unwrap(), 0, "the other process ended");
        spoken.extend(line.trim().strip_prefix("spoken ").and_then(|n| n.parse::<u32>().ok()));
    }
    (spoken, lines)
}

#[test]
fn two_processes_cannot_have_one_folder() {
    let temp = tempfile::tempdir().unwrap();
    let path = temp.path().join("session");
    let mut other = other_process(&path);
    let (_, lines) = wait_for(&mut other, 2);
    let refused = open(Folder::at(&path));
    let anew = begin(Folder::at(&path));
    other.kill().unwrap();
    other.wait().unwrap();
    drop(lines);
    assert!(matches!(refused, Err(SessionError::Locked { .. })));
    assert!(matches!(anew, Err(SessionError::Locked { .. })));
    let opened = open(Folder::at(&path)).unwrap();
    assert!(matches!(open(Folder::at(&path)), Err(SessionError::Locked { .. })), "nor can one process twice");
    drop(opened);
    assert!(matches!(begin(Folder::at(&path)), Err(SessionError::AlreadyThere { .. })));
}

#[test]
fn kills_lose_no_reading_that_was_spoken_back() {
    let kills = times(50, 1_000);
    let temp = tempfile::tempdir().unwrap();
    let path = temp.path().join("session");
    let (mut spoken, mut dice) = (Vec::new(), fastrand::Rng::with_seed(7));
    for kill in 0..kills {
        let mut other = other_process(&path);
        let (more, mut lines) = wait_for(&mut other, 1 + dice.usize(..6));
        spoken.extend(more);
        std::thread::sleep(std::time::Duration::from_micros(dice.u64(..3000)));
        other.kill().unwrap();
        other.wait().unwrap();
        let mut line = String::new();
        while lines.read_line(&mut line).is_ok_and(|read| read > 0) {
            if line.ends_with('\n') {
                spoken.extend(line.trim().strip_prefix("spoken ").and_then(|n| n.parse::<u32>().ok()));
            }
            line.clear();
        }
        let opened = open(Folder::at(&path)).unwrap_or_else(|error| panic!("after kill {kill}: {error}"));
        let there = readings(&opened.entries);
        assert!(spoken.iter().all(|number| there.contains(number)), "after kill {kill}");
    }
    let found = probeside::review::verify(&mut Folder::at(&path), None).unwrap();
    assert!(found.sound, "{:?}", found.faults);
}

#[test]
fn a_folder_that_vanished_is_noticed() {
    let temp = tempfile::tempdir().unwrap();
    let path = temp.path().join("session");
    let mut journal = begin(Folder::create(&path).unwrap()).unwrap();
    step(&mut journal, 1).unwrap();
    std::fs::rename(&path, temp.path().join("elsewhere")).unwrap();
    assert!(matches!(step(&mut journal, 5), Err(SessionError::Vanished { .. })));
    assert!(matches!(step(&mut journal, 6), Err(SessionError::Vanished { .. })));
    std::fs::rename(temp.path().join("elsewhere"), &path).unwrap();
    assert_eq!(step(&mut journal, 5).unwrap(), Some(2), "put back, it goes on");
    drop(journal);
    assert_eq!(readings(&open(Folder::at(&path)).unwrap().entries), [1, 2]);
}

#[test]
fn what_is_no_session_is_said_and_left_alone() {
    let temp = tempfile::tempdir().unwrap();
    let missing = Journal::open(Box::new(Folder::at(temp.path().join("nowhere"))));
    assert!(matches!(missing, Err(SessionError::NotASession { .. })));
    assert!(matches!(open(Folder::at(temp.path())), Err(SessionError::NotASession { .. })));
    assert_eq!(std::fs::read_dir(temp.path()).unwrap().count(), 0, "nothing was put there");
}

#[cfg(unix)]
#[test]
fn links_in_a_strangers_folder_are_not_followed() {
    let temp = tempfile::tempdir().unwrap();
    let path = temp.path().join("session");
    let mut journal = begin(Folder::create(&path).unwrap()).unwrap();
    for number in 0..STEPS {
        step(&mut journal, number).unwrap();
    }
    drop(journal);
    assert!(probeside::review::verify(&mut Folder::at(&path), None).unwrap().sound);
    let secret = temp.path().join("secret");
    std::fs::rename(path.join(clip_file(1)), &secret).unwrap();
    std::os::unix::fs::symlink(&secret, path.join(clip_file(1))).unwrap();
    let found = probeside::review::verify(&mut Folder::at(&path), None).unwrap();
    assert_eq!(found.faults[0].place, clip_file(1));
    let journal = path.join("journal.jsonl");
    std::fs::rename(&journal, &secret).unwrap();
    std::os::unix::fs::symlink(&secret, &journal).unwrap();
    assert!(matches!(open(Folder::at(&path)), Err(SessionError::Name { .. })));
}
