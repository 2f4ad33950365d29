//! Walks of the real program that are killed (SIGKILL) at random moments between their first words and their end. A third of the resumed
//! walks are killed again. Every reading that was read back must be in the journal, the walk must reach the right end, its record must be
//! complete, and the archive must accept it.

use super::mechanic::Mechanic;
use super::stage::{Stage, procedures, walker};
use super::typed::program;
use super::typed_round::{ANSWERS, Round};
use probeside::advice::Weighed;
use probeside::diagnose::Adviser;
use probeside::hear::write_wav;
use probeside::review::verify;
use probeside::session::{Entry, Folder, JOURNAL_FILE, Kind, Now, Record};
use probeside::speak::{Espeak, Voice};
use probeside::walk::{Answered, Effect, Event, SayKind, Walker, World};
use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// Most tries for a walk that ends before it is killed.
const MOST_TRIES: usize = 20;
/// More answers than this mean that the walk goes in a circle.
const MOST_ANSWERS: usize = 400;
/// Most resumes of a killed walk until it ends: once for a second kill, once by voice, once by typing.
const MOST_TAKEN_UP: usize = 4;
/// The answering voice, and the silence after each answer in seconds.
const VOICE: &str = "en-us";
const PAUSE_S: f32 = 1.5;
/// The words of a number that is read back digit by digit.
const DIGITS: [&str; 12] =
    ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "point", "minus"];

/// How a walk is answered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum How {
    /// No spark, with typed answers.
    Typed,
    /// A short round, with answers recognised from a sound file and kept as clips.
    Spoken,
    /// No spark in the best order, with typed answers.
    Best,
}

impl How {
    pub const ALL: [How; 3] = [How::Typed, How::Spoken, How::Best];
}

/// What the kills hit.
#[derive(Default, Debug)]
pub struct Tally {
    /// Number of killed walks.
    pub killed: AtomicU64,
    /// Readings read back before the kills.
    pub promised: AtomicU64,
    /// Walks killed again after resuming.
    pub twice: AtomicU64,
    /// Walks at their conclusion when killed.
    pub over: AtomicU64,
    /// Records that reached their end, complete.
    pub ended: AtomicU64,
}

/// The moment of a kill: this long after this many of the walk's lines. It is counted in lines, because a walk takes many times as long
/// under load.
#[derive(Clone, Copy, Debug)]
struct Moment {
    lines: usize,
    after: Duration,
}

/// A walk's output, exit status and standard error, and its duration from the first line on.
struct Watched {
    lines: Vec<String>,
    status: ExitStatus,
    why: String,
    took: Duration,
}

/// A kind of walk, walked once undisturbed.
pub struct Course {
    how: How,
    round: Option<Round>,
    world: Arc<World>,
    mechanic: Mechanic,
    adviser: Mutex<Option<Adviser>>,
    folder: tempfile::TempDir,
    answers: String,
    /// Lines that the undisturbed walk printed, and its duration.
    lines: usize,
    took: Duration,
    /// The readings it took, and its conclusion.
    read: Vec<(u32, String)>,
    conclusion: String,
    /// The archive takes one session at a time.
    archive: Mutex<()>,
    pub tally: Tally,
}

/// Complete lines of the journal, as seen by a reader that repairs nothing, and whether its end is torn.
fn journal(folder: &Path) -> (Vec<Entry>, bool) {
    let bytes = std::fs::read(folder.join(JOURNAL_FILE)).unwrap_or_default();
    let text = String::from_utf8_lossy(&bytes);
    let entries: Vec<Entry> = text.lines().map_while(|line| serde_json::from_str(line).ok()).collect();
    let torn = entries.len() < text.lines().count() || !text.ends_with('\n');
    (entries, torn)
}

fn records(entries: &[Entry]) -> impl Iterator<Item = Record> {
    entries.iter().filter(|e| e.is(Kind::Record)).filter_map(Entry::body_as)
}

/// Numbers and values of the readings.
fn read(entries: &[Entry]) -> Vec<(u32, String)> {
    let readings = records(entries).filter_map(|r| match r {
        Record::Read { number, name, reading, .. } => Some((number, format!("{name} {}", reading.value))),
        _ => None,
    });
    readings.collect()
}

/// The conclusion that ended the walk.
fn ended_in(entries: &[Entry]) -> Option<String> {
    records(entries).find_map(|r| match r {
        Record::Concluded { conclusion, last: true, .. } => Some(conclusion),
        _ => None,
    })
}

/// Printed lines that read a number back: "Twelve point six volts: one two point six."
fn read_back(lines: &[String]) -> BTreeMap<&str, usize> {
    let mut found = BTreeMap::new();
    for line in lines {
        let digits = line.strip_suffix('.').and_then(|line| line.rsplit_once(": "));
        if digits.is_some_and(|(_, digits)| digits.split(' ').all(|word| DIGITS.contains(&word))) {
            *found.entry(line.as_str()).or_default() += 1;
        }
    }
    found
}

fn events(entries: &[Entry]) -> Vec<(Event, Now)> {
    entries.iter().filter(|e| e.is(Kind::Event)).filter_map(|e| Some((e.body_as()?, e.at()))).collect()
}

/// Starts a walk, with its answers waiting in the pipe.
fn start(arguments: &[&str], into: &Path, hear: &str, answers: &str) -> Child {
    let mut child = Command::new(program())
        .arg("walk")
        .args(arguments)
        .arg(into)
        .args(["--hear", hear, "--say", "printed"])
        .env("PROBESIDE_PROCEDURES", procedures())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    // Fits into the pipe, so nobody waits for a reader.
    assert!(answers.len() < 60_000);
    let _ = child.stdin.take().expect("a pipe").write_all(answers.as_bytes());
    child
}

/// Watches a walk to its end, or kills it at this moment.
fn watch(mut child: Child, kill: Option<Moment>) -> Watched {
    let mut out = BufReader::new(child.stdout.take().expect("a pipe")).lines().map_while(Result::ok);
    let mut lines = Vec::from_iter(out.next());
    let began = Instant::now();
    if let Some(Moment { lines: many, after }) = kill {
        lines.extend(out.by_ref().take(many.saturating_sub(lines.len())));
        // Its output in the meantime fits into the pipe.
        std::thread::sleep(after);
        child.kill().expect("killed");
    }
    lines.extend(out);
    let took = began.elapsed();
    let end = child.wait_with_output().expect("the program ends");
    Watched { lines, status: end.status, why: String::from_utf8_lossy(&end.stderr).into_owned(), took }
}

impl Course {
    /// Walks it once without a kill. `None`, with a message, if the machine lacks the recogniser or the voice.
    pub fn new(how: How) -> Option<Self> {
        let round = (how == How::Spoken).then(Round::new);
        let best: &[(&str, &str)] = &[
            ("complaint", "it went weaker and then stopped"),
            ("vapour", "air is clear"),
            ("fuse-look", "whole"),
            ("lead-pull", "firm"),
            ("drop-faces", "clean"),
            ("points-faces", "clean"),
            ("plug-leak", "point oh two"),
            ("old-plug", "nothing"),
            ("good-plug", "it sparks"),
            ("plug-gap", "point five five"),
            ("touch", "lit"),
            ("whole", "it sparks"),
            ("points-gap", "point four"),
            ("primary-back", "as drawn"),
            ("advancer", "snaps back"),
            ("battery-rest", "six point four"),
            ("battery-load", "six point two"),
            ("trigger", "it sparks"),
            ("trigger-condenser", "it sparks"),
            ("condenser-farad", "point two two"),
            ("condenser-leak", "open line"),
            ("coil-alone", "one point six"),
            ("bridge-ohms", "one point six"),
            ("primary-ohms", "one point six"),
            ("points-turn", "on and off"),
            ("drop-feed", "point one"),
            ("drop-wire", "point oh four"),
            ("drop-points", "point oh two"),
            ("drop-ground", "point oh one"),
            ("primary-power", "lit"),
            ("feed-key-on", "lit"),
            ("case-ground", "lit"),
            ("part-again", "lit"),
            ("flick", "it sparks"),
            ("plug-shunt", "point oh two"),
            ("wire-open", "six point three"),
            ("wire-closed", "point oh one"),
            ("high-side", "eight"),
            ("cap-ohms", "five"),
            ("battery-working", "six point one"),
        ];
        let mut short: Vec<(&str, &str)> = ANSWERS.iter().map(|(step, all)| (*step, all[0])).collect();
        short[0].1 = "it lights";
        let (world, mechanic, adviser) = match how {
            How::Typed => (super::stage::world("no-spark", "borage-twin"), Mechanic::of_story("two-dead-sides"), None),
            How::Spoken => (round.as_ref()?.world(), Mechanic::new(&short), None),
            How::Best => {
                let world = super::stage::world("no-spark", "fennel-single");
                let adviser = Stage::ordering(&world);
                (world, Mechanic::new(best), Some(adviser))
            }
        };
        let mut course = Self {
            how,
            round,
            world,
            mechanic,
            adviser: Mutex::new(adviser),
            folder: tempfile::tempdir().expect("a folder"),
            answers: String::new(),
            lines: 0,
            took: Duration::ZERO,
            read: Vec::new(),
            conclusion: String::new(),
            archive: Mutex::new(()),
            tally: Tally::default(),
        };
        course.answers = course.rest(&[], false)?;
        let into = course.folder.path().join("whole");
        let whole = watch(course.begin(&into)?, None);
        if whole.status.code() == Some(3) {
            eprintln!("left out: {}", whole.why);
            return None;
        }
        assert!(whole.status.success(), "{how:?}: {}\n{:#?}", whole.why, whole.lines);
        let (there, _) = journal(&into);
        (course.lines, course.took, course.read) = (whole.lines.len(), whole.took, read(&there));
        course.conclusion = ended_in(&there).expect("a conclusion");
        course.whole(&into, "not killed");
        let all: usize = read_back(&whole.lines).values().sum();
        // A walk in best order is short: it may need one reading only.
        let least = if how == How::Best { 1 } else { 2 };
        assert!(all == course.read.len() && all >= least, "each reading is read back: {all}, {:?}", course.read);
        Some(course)
    }

    /// The remaining answers after these entries. `None` if the walk is over.
    fn rest(&self, entries: &[Entry], torn: bool) -> Option<String> {
        // One at a time: all share the adviser's calculations.
        let mut adviser = self.adviser.lock().expect("no panic");
        let mut stage = Stage::taken_up_by(self.world.clone(), &events(entries), torn, adviser.take());
        let over = stage.finished.is_some();
        let answers = self.answers_of(&mut stage);
        *adviser = stage.adviser.take();
        (!over).then_some(answers)
    }

    /// All answers from the stage's position to the end of the walk, one per line.
    fn answers_of(&self, stage: &mut Stage) -> String {
        let mut lines = String::new();
        for _ in 0..MOST_ANSWERS {
            if stage.finished.is_some() {
                return lines;
            }
            let (step, round) = stage.walker.place();
            let listen = stage.listen.as_ref().unwrap_or_else(|| panic!("nobody listens at {step}"));
            let words = self.mechanic.answer(step, round, stage.walker.is_asking(), &listen.grammar);
            let words = words.unwrap_or_else(|| panic!("no answer at {step} {round:?}"));
            stage.answer(&words);
            lines += &words;
            lines.push('\n');
        }
        panic!("the walk goes in a circle at {:?}", stage.walker.place());
    }

    fn begin(&self, into: &Path) -> Option<Child> {
        let short = self.round.as_ref().map(Round::procedure);
        let (procedure, bike, more): (&str, &str, &[&str]) = match self.how {
            How::Typed => ("no-spark", "borage-twin", &["--faults", "none"]),
            How::Spoken => (short.as_ref()?.to_str()?, "borage-twin", &["--faults", "none"]),
            How::Best => ("no-spark", "fennel-single", &["--order", "best"]),
        };
        let arguments = [&[procedure, "--bike", bike], more, &["--into"]].concat();
        self.walk(&arguments, into, &self.answers, self.how == How::Spoken)
    }

    /// Starts a walk with its answers typed, or spoken into a file beside the session's folder.
    fn walk(&self, arguments: &[&str], into: &Path, answers: &str, spoken: bool) -> Option<Child> {
        if !spoken {
            return Some(start(arguments, into, "typed", answers));
        }
        let wav = sound(self.folder.path(), into, answers)?;
        Some(start(arguments, into, wav.to_str()?, ""))
    }

    /// Kills one walk, a third of them twice, and checks that nothing is lost and nothing is stuck.
    pub fn kill(&self, number: u64, seed: u64) {
        let mut dice = fastrand::Rng::with_seed(seed.wrapping_add(number));
        let mut moment = |of: usize| Moment {
            lines: dice.usize(1..=of),
            after: Duration::from_micros(dice.u64(..=2 * self.took.as_micros() as u64 / self.lines as u64)),
        };
        let killed = (0..MOST_TRIES).find_map(|again| {
            let into = self.folder.path().join(format!("session-{number}-{again}"));
            let at = moment(self.lines);
            let watched = watch(self.begin(&into)?, Some(at));
            // A walk that ended first was not killed.
            watched.status.code().is_none().then_some((into, at, watched.lines))
        });
        let (into, at, lines) = killed.expect("a walk lives long enough to be killed");
        let what = format!("{:?}, seed {seed}, kill {number} at {at:?}", self.how);
        self.tally.killed.fetch_add(1, Ordering::Relaxed);
        self.tally.promised.fetch_add(read_back(&lines).values().sum::<usize>() as u64, Ordering::Relaxed);
        let mut printed = vec![lines];
        let mut again = number.is_multiple_of(3);
        for time in 0..MOST_TAKEN_UP {
            let (there, torn) = journal(&into);
            self.kept(&there, &printed, &what);
            if ended_in(&there).is_some() {
                self.tally.over.fetch_add(1, Ordering::Relaxed);
            }
            let rest = self.rest(&there, torn).unwrap_or_default();
            let kill = std::mem::take(&mut again).then(|| moment(rest.lines().count().max(1)));
            // A walk that misunderstood the sound file is finished by typing.
            let spoken = self.how == How::Spoken && time < 2 && !rest.is_empty();
            let walk = self.walk(&["--resume"], &into, &rest, spoken).expect("as before");
            let watched = watch(walk, kill);
            printed.push(watched.lines);
            if watched.status.code().is_none() {
                self.tally.twice.fetch_add(1, Ordering::Relaxed);
                continue;
            }
            if spoken && ended_in(&journal(&into).0).is_none() {
                continue;
            }
            assert!(watched.status.success() || watched.why.contains("this walk is over"), "{what}: {}", watched.why);
            let (there, _) = journal(&into);
            self.kept(&there, &printed, &what);
            assert_eq!(read(&there), self.read, "{what}: {printed:#?}");
            assert_eq!(ended_in(&there), Some(self.conclusion.clone()), "{what}");
            self.whole(&into, &what);
            self.tally.ended.fetch_add(1, Ordering::Relaxed);
            std::fs::remove_dir_all(&into).expect("it is removed");
            return;
        }
        panic!("{what}: it did not come to its end");
    }

    /// Checks that everything read back is in the journal. `printed` is divided by part of the walk: a resumed part may read back again
    /// what the previous one read back last.
    fn kept(&self, entries: &[Entry], printed: &[Vec<String>], what: &str) {
        let mut walker = walker(&self.world, self.how == How::Best);
        let (mut read, mut echoes): (bool, Vec<String>) = (false, Vec::new());
        // The last answer may not have been written yet.
        let late = |walker: &Walker| {
            let recorded = walker.waits_for_record().map(|id| Event::Recorded { id });
            recorded.or_else(|| Some(Event::Weighed(Answered::to(walker.waits_for_advice()?, Weighed::default()))))
        };
        let mut all = events(entries).into_iter();
        let mut last = None;
        while let Some((event, now)) = all.next().or_else(|| Some((late(&walker)?, last.clone()?))) {
            for effect in walker.handle(event, &now) {
                match effect {
                    Effect::Record { record: Record::Read { .. }, .. } => read = true,
                    Effect::Say { text, kind: SayKind::Echo, .. } if std::mem::take(&mut read) => echoes.push(text),
                    _ => {}
                }
            }
            last = Some(now);
        }
        let there = read_back(&echoes);
        for (line, times) in printed.iter().flat_map(|part| read_back(part)) {
            let found = there.get(line).copied().unwrap_or_default();
            assert!(times <= found, "{what}: {line:?} was said {times} times, and is {found} times in the journal");
        }
    }

    /// Checks that the record is ended and complete.
    fn whole(&self, into: &Path, what: &str) {
        let found = verify(&mut Folder::at(into), None).unwrap_or_else(|why| panic!("{what}: {why}"));
        assert!(found.sound && found.ended, "{what}: {:?}", found.faults);
        if cfg!(feature = "shop") {
            let _one = self.archive.lock().expect("no panic");
            let out = Command::new(program())
                .args(["shop", "add"])
                .arg(into)
                .env("PROBESIDE_ARCHIVE", self.folder.path().join("archive.db"))
                .output()
                .expect("the program starts");
            assert!(out.status.success(), "{what}: {}", String::from_utf8_lossy(&out.stderr));
        }
    }
}

/// Answers as one sound file beside a session's folder. `None`, with a message, if there is no voice.
fn sound(cache: &Path, into: &Path, answers: &str) -> Option<PathBuf> {
    let mut samples = Vec::new();
    let mut rate = 0;
    for words in answers.lines() {
        let said = cache.join(format!("{}.wav", words.replace(' ', "-")));
        if !said.exists() {
            match Espeak::new(VOICE).synthesise(words, 1.0) {
                Ok(pcm) => {
                    let part = said.with_extension(format!("{:?}.part", std::thread::current().id()));
                    write_wav(&part, &pcm.samples, pcm.rate).expect("a file");
                    std::fs::rename(&part, &said).expect("a file");
                }
                Err(why) => {
                    eprintln!("left out: {why}");
                    return None;
                }
            }
        }
        let (its_rate, its) = probeside::hear::read_wav_as_is(&said).expect("a file");
        rate = its_rate;
        samples.extend(std::iter::repeat_n(0.0, (rate as f32 * PAUSE_S) as usize));
        samples.extend(its);
    }
    samples.extend(std::iter::repeat_n(0.0, (rate as f32 * PAUSE_S) as usize));
    let wav = into.with_extension("wav");
    write_wav(&wav, &samples, rate).expect("a file");
    Some(wav)
}

/// Makes this many kills of each kind of walk, on as many threads as the machine has cores. Returns what they hit, by kind.
pub fn kills(counts: &[(How, u64)], seed: u64) -> Vec<(How, u64, Course)> {
    let courses = counts.iter().filter_map(|(how, count)| Some((*how, *count, Course::new(*how)?)));
    let courses: Vec<(How, u64, Course)> = courses.collect();
    let threads = std::thread::available_parallelism().map_or(2, usize::from) as u64;
    std::thread::scope(|scope| {
        for first in 0..threads {
            let courses = &courses;
            scope.spawn(move || {
                for (_, count, course) in courses {
                    (first..*count).step_by(threads as usize).for_each(|number| course.kill(number, seed));
                }
            });
        }
    });
    courses
}
