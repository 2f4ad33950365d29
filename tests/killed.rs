//! A typed walk is killed (SIGKILL) at random moments, from its first words to its end; a third of those taken up again are killed
//! again. Every reading that was read back is in the journal, and the walk comes to its right end.
//!
//! The seed is printed; `PROBESIDE_SEED` repeats it. What a kill cannot show, that records are synced before they are read back, the
//! walks over the storage double in `src/commands/power.rs` show.
#![cfg(unix)]

mod support;

use probeside::session::{Entry, JOURNAL_FILE, Kind, Now, Record};
use probeside::walk::{Event, World};
use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};
use support::mechanic::Mechanic;
use support::stage::{Stage, procedures, world};

const KILLS: u64 = 50;
const STORY: &str = "two-dead-sides";
const CONCLUSION: &str = "feed-part-resistive";
/// A walk that came to its end before it was killed is tried again so often.
const MOST_TRIES: usize = 20;
/// More answers than this mean that the walk goes in a circle.
const MOST_ANSWERS: usize = 400;

/// All answers from where the stage is to the end of the walk, a line each.
fn answers(stage: &mut Stage, mechanic: &Mechanic) -> String {
    let mut lines = String::new();
    for _ in 0..MOST_ANSWERS {
        if stage.finished.is_some() {
            return lines;
        }
        let (step, round) = stage.walker.place();
        let listen = stage.listen.as_ref().unwrap_or_else(|| panic!("nobody listens at {step}"));
        let words = mechanic.answer(step, round, stage.walker.is_asking(), &listen.grammar);
        let words = words.unwrap_or_else(|| panic!("no answer at {step} {round:?}"));
        stage.answer(&words);
        lines += &words;
        lines.push('\n');
    }
    panic!("the walk goes in a circle at {:?}", stage.walker.place());
}

/// A walk with all its answers waiting in the pipe.
fn start(arguments: &[&str], into: &Path, answers: &str) -> Child {
    let mut child = Command::new(env!("CARGO_BIN_EXE_probeside"))
        .arg("walk")
        .args(arguments)
        .arg(into)
        .args(["--hear", "typed", "--say", "printed"])
        .env("PROBESIDE_PROCEDURES", procedures())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    // Fits into the pipe, so that nobody has to wait for a reader.
    assert!(answers.len() < 60_000);
    let _ = child.stdin.take().expect("a pipe").write_all(answers.as_bytes());
    child
}

/// When a walk is killed: so long after so many of its lines. Counted in lines, because under load a walk takes many times as long.
#[derive(Clone, Copy, Debug)]
struct Moment {
    lines: usize,
    after: Duration,
}

/// What a walk printed, its exit, what it complained of, and how long it took from its first line on. Killed at a moment, if asked.
fn watch(mut child: Child, kill: Option<Moment>) -> (Vec<String>, ExitStatus, String, Duration) {
    let mut out = BufReader::new(child.stdout.take().expect("a pipe")).lines().map_while(Result::ok);
    let mut lines = Vec::from_iter(out.next());
    let began = Instant::now();
    if let Some(Moment { lines: many, after }) = kill {
        lines.extend(out.by_ref().take(many.saturating_sub(lines.len())));
        // What it prints meanwhile fits into the pipe.
        std::thread::sleep(after);
        child.kill().expect("killed");
    }
    lines.extend(out);
    let took = began.elapsed();
    let end = child.wait_with_output().expect("the program ends");
    (lines, end.status, String::from_utf8_lossy(&end.stderr).into_owned(), took)
}

/// Whole lines of the journal, as a reader that repairs nothing sees them, and whether its end is torn.
fn journal(folder: &Path) -> (Vec<Entry>, bool) {
    let bytes = std::fs::read(folder.join(JOURNAL_FILE)).unwrap_or_default();
    let text = String::from_utf8_lossy(&bytes);
    let entries: Vec<Entry> = text.lines().map_while(|line| serde_json::from_str(line).ok()).collect();
    let torn = entries.len() < text.lines().count() || !text.ends_with('\n');
    (entries, torn)
}

fn entries(folder: &Path) -> Vec<Entry> {
    journal(folder).0
}

fn records(entries: &[Entry]) -> impl Iterator<Item = Record> {
    entries.iter().filter(|e| e.is(Kind::Record)).filter_map(Entry::body_as)
}

fn numbers(entries: &[Entry]) -> Vec<u32> {
    let readings = records(entries).filter_map(|r| match r {
        Record::Read { number, .. } => Some(number),
        _ => None,
    });
    readings.collect()
}

/// The conclusion that the walk ended in.
fn ended_in(entries: &[Entry]) -> Option<String> {
    records(entries).find_map(|r| match r {
        Record::Concluded { conclusion, last: true, .. } => Some(conclusion),
        _ => None,
    })
}

/// What is going to be said and answered from where the stage is to the end of the walk.
struct Rest {
    answers: String,
    said: Vec<String>,
    read_back: Vec<(usize, u32)>,
}

impl Rest {
    fn of(mut stage: Stage, mechanic: &Mechanic) -> Self {
        let answers = answers(&mut stage, mechanic);
        let said = stage.said.into_iter().map(|(_, text)| text).collect();
        Self { answers, said, read_back: stage.read_back }
    }

    /// Of a killed session, whose events are in its journal.
    fn of_session(world: &Arc<World>, mechanic: &Mechanic, entries: &[Entry], torn: bool) -> Self {
        let events: Vec<(Event, Now)> =
            entries.iter().filter(|e| e.is(Kind::Event)).filter_map(|e| Some((e.body_as()?, e.at()))).collect();
        Self::of(Stage::taken_up(world.clone(), &events, torn), mechanic)
    }

    /// The numbers of the readings that these printed lines read back. The lines must be what was to be said, as far as they go.
    fn promised(&self, lines: &[String], what: &str) -> Vec<u32> {
        let both = lines.len().min(self.said.len());
        assert_eq!(lines[..both], self.said[..both], "{what}: it says what the stage says");
        self.read_back.iter().filter(|(at, _)| *at < lines.len()).map(|(_, number)| *number).collect()
    }
}

/// What the kills hit.
#[derive(Default, Debug)]
struct Tally {
    /// Readings read back before the kills.
    promised: AtomicU64,
    /// Killed again after they were taken up.
    twice: AtomicU64,
    /// At their conclusion when they were killed.
    over: AtomicU64,
}

#[test]
fn killed_at_fifty_random_moments_no_reading_that_was_read_back_is_lost() {
    let seed = std::env::var("PROBESIDE_SEED").ok().and_then(|s| s.parse().ok()).unwrap_or_else(|| {
        std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).map_or(0, |t| t.as_nanos() as u64)
    });
    println!("PROBESIDE_SEED={seed}");
    let (world, mechanic) = (world("no-spark", "borage-twin"), Mechanic::of_story(STORY));
    let whole = Rest::of(Stage::new(world.clone()), &mechanic);
    let folder = tempfile::tempdir().expect("a folder");
    let new =
        |into: &Path| start(&["no-spark", "--bike", "borage-twin", "--faults", "none", "--into"], into, &whole.answers);
    let (lines, status, why, took) = watch(new(&folder.path().join("whole")), None);
    assert!(status.success(), "{why}");
    let all = whole.promised(&lines, "not killed");
    assert_eq!(all, numbers(&entries(&folder.path().join("whole"))), "each reading is read back");
    assert!(all.len() >= 6, "{all:?}");
    let tally = Tally::default();
    let one = |number: u64| {
        let mut dice = fastrand::Rng::with_seed(seed.wrapping_add(number));
        let mut moment = |of: usize| Moment {
            lines: dice.usize(1..=of),
            after: Duration::from_micros(dice.u64(..=2 * took.as_micros() as u64 / lines.len() as u64)),
        };
        let killed = (0..MOST_TRIES).find_map(|again| {
            let (into, at) = (folder.path().join(format!("session-{number}-{again}")), moment(lines.len()));
            let (lines, status, ..) = watch(new(&into), Some(at));
            // One that came to its end first was not killed.
            status.code().is_none().then_some((into, at, lines))
        });
        let (into, at, lines) = killed.expect("a walk lives long enough to be killed");
        let what = format!("seed {seed}, kill {number} at {at:?}");
        let mut promised = whole.promised(&lines, &what);
        tally.promised.fetch_add(promised.len() as u64, Ordering::Relaxed);
        for again in [number.is_multiple_of(3), false] {
            let (there, torn) = journal(&into);
            let found = numbers(&there);
            assert!(
                promised.iter().all(|n| found.contains(n)),
                "{what}: read back {promised:?}, in the journal {found:?}"
            );
            if ended_in(&there).is_some() {
                tally.over.fetch_add(1, Ordering::Relaxed);
            }
            let rest = Rest::of_session(&world, &mechanic, &there, torn);
            let kill = again.then(|| moment(rest.said.len().max(1)));
            let (lines, status, why, _) = watch(start(&["--resume"], &into, &rest.answers), kill);
            promised.extend(rest.promised(&lines, &what));
            if status.code().is_none() {
                tally.twice.fetch_add(1, Ordering::Relaxed);
                continue;
            }
            assert!(status.success() || why.contains("This walk is over"), "{what}: {why}\n{lines:#?}");
            let there = entries(&into);
            assert_eq!(numbers(&there), all, "{what}: {lines:#?}");
            assert_eq!(ended_in(&there).as_deref(), Some(CONCLUSION), "{what}");
            return;
        }
        panic!("{what}: it did not come to its end");
    };
    std::thread::scope(|scope| {
        for half in 0..2 {
            let one = &one;
            scope.spawn(move || (half..KILLS).step_by(2).for_each(one));
        }
    });
    println!("{KILLS} kills over {took:?} of walking: {tally:?}");
    assert!(tally.promised.load(Ordering::Relaxed) > KILLS, "the kills hit after readings too: {tally:?}");
}
