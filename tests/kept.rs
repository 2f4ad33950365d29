//! What the user learns about the record while the real program runs a typed walk and the folder is removed, or the journal is cut, edited,
//! replaced or may not grow. An answer that was not stored is not read back, and is not called stored. Also the times and misses in the
//! journal.
#![cfg(unix)]

mod support;

use probeside::phrase::Verdict;
use probeside::session::{Entry, JOURNAL_FILE, Kind, Miss, Record};
use probeside::walk::{Event, World};
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};
use support::mechanic::Mechanic;
use support::stage::{Stage, world};
use support::typed::TypedWalk;

const STORY: &str = "two-dead-sides";
const ARGS: [&str; 7] = ["walk", "no-spark", "--bike", "borage-twin", "--faults", "none", "--into"];

/// One answer of the walk, and the number of lines spoken from then until the next.
struct Turn {
    answer: String,
    says: usize,
    /// How the reading it gives is read back.
    reading: Option<String>,
}

/// The walk's first lines, then its turns up to the second reading.
fn turns(world: &Arc<World>) -> (usize, Vec<Turn>) {
    let (mut stage, mechanic) = (Stage::new(world.clone()), Mechanic::of_story(STORY));
    let first = stage.said.len();
    let mut turns = Vec::new();
    while stage.read_back.len() < 2 {
        let (step, round) = stage.walker.place();
        let listen = stage.listen.as_ref().expect("somebody listens");
        let answer = mechanic.answer(step, round, stage.walker.is_asking(), &listen.grammar).expect("an answer");
        let (before, read) = (stage.said.len(), stage.read_back.len());
        stage.answer(&answer);
        let reading = stage.read_back.get(read).map(|(at, _)| stage.said[*at].1.clone());
        turns.push(Turn { answer, says: stage.said.len() - before, reading });
    }
    (first, turns)
}

fn readings(journal: &Path) -> usize {
    let text = fs::read_to_string(journal).unwrap_or_default();
    let entries = text.lines().map_while(|line| serde_json::from_str::<Entry>(line).ok());
    let is_reading = |e: &Entry| matches!(e.body_as(), Some(Record::Read { .. }));
    entries.filter(|e| e.is(Kind::Record)).filter(is_reading).count()
}

/// Waits until the walk has written everything its last prompts led to, and is waiting for an answer.
fn wait_until_quiet(journal: &Path) {
    const QUIET: Duration = Duration::from_secs(1);
    let length = || fs::metadata(journal).expect("a journal").len();
    let mut since = (length(), Instant::now());
    while since.1.elapsed() < QUIET {
        std::thread::sleep(QUIET / 20);
        let now = length();
        if now != since.0 {
            since = (now, Instant::now());
        }
    }
}

/// Walks to the first reading, lets `meanwhile` change the session's folder, gives the second reading, and stops. Returns the output since
/// then, the exit code, and the error output.
fn disturbed(meanwhile: impl FnOnce(&Path)) -> (Option<i32>, String, String, PathBuf, tempfile::TempDir) {
    let temp = tempfile::tempdir().expect("a folder");
    let folder = temp.path().join("session");
    let (first, turns) = turns(&world("no-spark", "borage-twin"));
    let mut walk = TypedWalk::start(&[&ARGS[..], &[folder.to_str().expect("a path")]].concat(), temp.path());
    assert_eq!(walk.lines(first).len(), first);
    let last = turns.len() - 1;
    for turn in &turns[..last] {
        walk.answer(&turn.answer);
        assert_eq!(walk.lines(turn.says).len(), turn.says, "after {}", turn.answer);
    }
    assert_eq!(turns[..last].iter().filter(|turn| turn.reading.is_some()).count(), 1);
    assert_eq!(readings(&folder.join(JOURNAL_FILE)), 1, "what was read back is there");
    wait_until_quiet(&folder.join(JOURNAL_FILE));
    meanwhile(&folder);
    for words in [&turns[last].answer, "stop now", "yes", "stop now", "yes"] {
        walk.answer(words);
    }
    let (code, said, complaint) = walk.end();
    (code, said, complaint, folder, temp)
}

/// Whether the second reading is read back.
fn is_read_back(said: &str) -> bool {
    let (_, turns) = turns(&world("no-spark", "borage-twin"));
    let echo = turns.last().and_then(|turn| turn.reading.clone()).expect("a reading");
    said.lines().any(|line| line == echo)
}

fn not_kept(what: &str, (code, said, complaint): (Option<i32>, &str, &str)) {
    assert!(said.contains("I could not write that down"), "{what}: it says so\n{said}\n{complaint}");
    assert!(!is_read_back(said), "{what}: it is not read back\n{said}");
    assert!(!said.contains("The record is kept"), "{what}: {said}");
    assert!(!complaint.contains("digest "), "{what}: {complaint}");
    assert!(said.contains("could not be kept"), "{what}: {said}\n{complaint}");
    assert!(complaint.contains("could not be kept"), "{what}: what is there is said\n{complaint}");
    assert_eq!(code, Some(1), "{what}: {complaint}");
}

#[test]
fn undisturbed_it_is_kept_and_said_so() {
    let (code, said, complaint, folder, _temp) = disturbed(|_| {});
    assert!(is_read_back(&said), "{said}");
    assert!(said.contains("The record is kept"), "{said}");
    assert!(complaint.contains("digest ") && complaint.contains("--resume"), "{complaint}");
    assert_eq!((code, readings(&folder.join(JOURNAL_FILE))), (Some(1), 2));
}

#[test]
fn a_folder_that_is_removed_is_not_said_to_be_kept() {
    let (code, said, complaint, folder, _temp) = disturbed(|folder| fs::remove_dir_all(folder).expect("removed"));
    not_kept("removed", (code, &said, &complaint));
    assert!(!folder.exists(), "it is not made anew with half a record");
}

#[test]
fn a_journal_that_is_cut_is_noticed_and_left_as_it_is() {
    for keep in [0, 100, 100_000] {
        let mut left = Vec::new();
        let (code, said, complaint, folder, _temp) = disturbed(|folder| {
            let bytes = fs::read(folder.join(JOURNAL_FILE)).expect("a journal");
            left = bytes[..keep.min(bytes.len() - 1)].to_vec();
            fs::OpenOptions::new()
                .write(true)
                .open(folder.join(JOURNAL_FILE))
                .and_then(|file| file.set_len(left.len() as u64))
                .expect("cut");
        });
        not_kept(&format!("cut to {keep}"), (code, &said, &complaint));
        assert!(fs::read(folder.join(JOURNAL_FILE)).expect("a journal") == left, "cut to {keep}: nothing is added");
    }
}

#[test]
fn a_journal_that_is_edited_in_place_is_noticed() {
    let mut left = String::new();
    let (code, said, complaint, folder, _temp) = disturbed(|folder| {
        // The same length, in the same file.
        let text = fs::read_to_string(folder.join(JOURNAL_FILE)).expect("a journal");
        left = text.replacen("\"number\":1", "\"number\":7", 1);
        assert_ne!(left, text);
        fs::write(folder.join(JOURNAL_FILE), &left).expect("edited");
    });
    not_kept("edited", (code, &said, &complaint));
    assert_eq!(fs::read_to_string(folder.join(JOURNAL_FILE)).expect("a journal"), left);
}

#[test]
fn a_journal_that_is_replaced_or_added_to_is_noticed() {
    let (code, said, complaint, ..) = disturbed(|folder| {
        let journal = folder.join(JOURNAL_FILE);
        fs::copy(&journal, folder.join("copy")).expect("copied");
        fs::rename(folder.join("copy"), &journal).expect("replaced");
    });
    not_kept("replaced", (code, &said, &complaint));
    let (code, said, complaint, ..) = disturbed(|folder| {
        use std::io::Write;
        let mut file = fs::OpenOptions::new().append(true).open(folder.join(JOURNAL_FILE)).expect("a journal");
        file.write_all(b"{}\n").expect("added");
    });
    not_kept("added to", (code, &said, &complaint));
}

/// Merely touching the file, as a backup does, does no harm. Nor does moving the folder away and back.
#[test]
fn a_journal_that_is_whole_is_gone_on_with() {
    let (_, said, complaint, folder, _temp) = disturbed(|folder| {
        let journal = folder.join(JOURNAL_FILE);
        let bytes = fs::read(&journal).expect("a journal");
        fs::write(&journal, bytes).expect("written anew, the same");
        fs::rename(folder, folder.with_extension("away")).expect("moved");
        fs::rename(folder.with_extension("away"), folder).expect("moved back");
    });
    assert!(is_read_back(&said) && said.contains("The record is kept"), "{said}\n{complaint}");
    assert_eq!(readings(&folder.join(JOURNAL_FILE)), 2);
}

/// Contract: wall times come from the machine. A typed walk takes less time than its words would, and is not dated into the future.
#[test]
fn wall_times_are_the_machines_and_counted_time_is_named_so() {
    let began = jiff::Timestamp::now();
    let (.., folder, _temp) = disturbed(|_| {});
    let ended = jiff::Timestamp::now();
    let text = fs::read_to_string(folder.join(JOURNAL_FILE)).expect("a journal");
    let entries: Vec<Entry> = text.lines().map(|line| serde_json::from_str(line).expect("an entry")).collect();
    for entry in &entries {
        let wall: jiff::Timestamp = entry.wall.parse().expect("a time");
        // Times in the journal have millisecond resolution.
        assert!(wall >= began - jiff::SignedDuration::from_millis(1) && wall <= ended, "{}: {wall}", entry.seq);
    }
    let counted = entries.last().expect("an entry").mono_ms;
    let took = ended.duration_since(began).as_millis();
    assert!(i128::from(counted) > took, "{counted} ms of prompts were printed in {took} ms");
    let named = entries.iter().find(|e| e.kind == "time").expect("it is said how session time passes");
    assert_eq!(named.body, serde_json::json!({"session_time": "counted"}));
    let review = probeside::review::gather(&mut probeside::session::Folder::at(&folder)).expect("a review");
    assert!(review.gaps.is_empty(), "no clock was set and nothing was waited for: {:?}", review.gaps);
    assert!(probeside::review::verify(&mut probeside::session::Folder::at(&folder), None).expect("verified").sound);
}

/// The system limits files to half of the journal (`ulimit -f`, without its signal, which kills).
#[test]
fn a_journal_that_may_grow_no_further_is_not_said_to_be_kept() {
    let temp = tempfile::tempdir().expect("a folder");
    // The limit must not hit the copies, so the header is larger than they are.
    let long = "x".repeat(120_000);
    let folder = temp.path().join("session");
    let (first, turns) = turns(&world("no-spark", "borage-twin"));
    let walk = |blocks: u64| {
        let _ = fs::remove_dir_all(&folder);
        let limited = format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" \"$@\"");
        let path = folder.to_str().expect("a path");
        let args = [&ARGS[..], &[path, "--complaint", &long, "--mileage", &long]].concat();
        let mut walk = TypedWalk::start_in("sh", &["-c", &limited], &args, temp.path());
        walk.lines(first);
        for turn in &turns {
            walk.answer(&turn.answer);
        }
        for words in ["stop now", "yes", "stop now", "yes"] {
            walk.answer(words);
        }
        walk.end()
    };
    let (code, said, complaint) = walk(1 << 20);
    assert!(said.contains("The record is kept"), "{code:?} {said}\n{complaint}");
    let journal = fs::read(folder.join(JOURNAL_FILE)).expect("a journal");
    let header = journal.iter().position(|b| *b == b'\n').expect("a line");
    // `sh` counts blocks of 512 bytes.
    let (code, said, complaint) = walk((header + (journal.len() - header) / 2) as u64 / 512);
    not_kept("limited", (code, &said, &complaint));
    assert!(complaint.contains("ulimit -f"), "{complaint}");
}

/// In the terms of spoken dialogue; "somebody else" only if that was decided.
#[test]
fn a_miss_is_recorded_as_what_it_was() {
    let misses = |stage: &Stage| -> Vec<Miss> {
        let why = |record: &Record| match record {
            Record::NoAnswer { why, .. } => Some(*why),
            _ => None,
        };
        stage.records.iter().filter_map(why).collect()
    };
    let world = world("no-spark", "borage-twin");
    let (mut stage, mechanic) = (Stage::new(world.clone()), Mechanic::of_story(STORY));
    // Continue past the complaint, which accepts any words.
    while !matches!(stage.would_be("blah blah"), Some(Verdict::Reject { .. })) {
        let (step, round) = stage.walker.place();
        let listen = stage.listen.as_ref().expect("somebody listens");
        let answer = mechanic.answer(step, round, stage.walker.is_asking(), &listen.grammar).expect("an answer");
        stage.answer(&answer);
    }
    stage.answer("blah blah");
    assert_eq!(misses(&stage), [Miss::NoMatch], "typed");
    let said = |stage: &mut Stage, stranger| {
        let listen = stage.listen.as_ref().expect("somebody listens").id;
        let verdict = Verdict::Reject { free: Some("la la".into()), stranger };
        stage.give(Event::Heard { listen, verdict, begin: 0, end: 16_000, clip: None });
    };
    said(&mut stage, false);
    said(&mut stage, true);
    assert_eq!(misses(&stage)[1..], [Miss::NoMatch, Miss::Stranger], "spoken");
    let mut stage = Stage::new(world);
    stage.silence(600_000);
    assert_eq!(misses(&stage), [Miss::NoInput]);
    let names: Vec<String> = [Miss::NoMatch, Miss::NoInput].map(|miss| miss.to_string()).into();
    assert_eq!(names, ["nomatch", "noinput"], "W3C VoiceXML 2.0, 5.2.6");
}
