//! A short session, from a walk, that every test here writes step by step.

use crate::disk::Disk;
use crate::stage::{Handed, JournalLine};
use crate::walked::{Walk, is_answer, put};
use probeside::session::{
    Clock, Entry, Header, JobDetails, Journal, Kind, Now, Opened, Record, SessionError, Spoken, Storage,
};
use probeside::walk::Event;
use std::sync::OnceLock;

/// Readings in the session.
pub const READINGS: u32 = 3;
/// Steps of the session: for each reading an event, the reading, its clip and the prompt; then the end.
pub const STEPS: u32 = READINGS * 4 + 1;
/// What is said at each reading.
const SAID: [&str; READINGS as usize] = ["twelve point five", "twelve point six", "twelve point seven"];

pub fn now(step: u32) -> Now {
    let ms = u64::from(step) * 700;
    Now { mono_ms: ms, wall: format!("2026-11-25T10:14:{:02}.{:03}+01:00", ms / 1000, ms % 1000) }
}

pub fn job() -> JobDetails {
    JobDetails {
        bike: "Borage Twin".into(),
        complaint: "will not fire".into(),
        person: "Ada".into(),
        ..JobDetails::default()
    }
}

/// What a walk hands over about each reading: the event, the record, the sound, and what is said back.
fn handed() -> &'static [[Handed; 4]] {
    static HANDED: OnceLock<Vec<[Handed; 4]>> = OnceLock::new();
    HANDED.get_or_init(|| {
        let mut walk = Walk::begin(job());
        walk.say("measure the battery");
        let reading = |(number, words): (usize, &&str)| {
            if number > 0 {
                walk.say("once more");
            }
            walk.ready();
            let before = walk.lines().len();
            walk.say_aloud(words, 0.97, Some(vec![0.25; 160]));
            let after = &walk.lines()[before..];
            let first = |wanted: &dyn Fn(&JournalLine) -> bool| {
                after.iter().find(|line| wanted(line)).expect("the walk hands it over").what.clone()
            };
            [
                first(&is_answer),
                first(&|line| matches!(&line.what, Handed::Record(Record::Read { .. }))),
                first(&|line| matches!(line.what, Handed::Clip(..))),
                first(&|line| matches!(&line.what, Handed::Said(said) if said.text.contains("volts"))),
            ]
        };
        SAID.iter().enumerate().map(reading).collect()
    })
}

/// The walk's first reading, under another number.
pub fn renumbered(other: u32) -> Record {
    let Handed::Record(mut record) = handed()[0][1].clone() else { unreachable!("a record stands there") };
    if let Record::Read { number, .. } = &mut record {
        *number = other;
    }
    record
}

/// A walk's note, with another text.
pub fn noted(other: &str) -> Record {
    static NOTED: OnceLock<Record> = OnceLock::new();
    let mut record = NOTED
        .get_or_init(|| {
            let mut walk = Walk::begin(job());
            walk.say("take a note").stage.answer("it stopped in the rain");
            let mut records = walk.stage.records.iter();
            records.find(|one| matches!(one, Record::Noted { .. })).expect("it is written down").clone()
        })
        .clone();
    if let Record::Noted { text, .. } = &mut record {
        other.clone_into(text);
    }
    record
}

/// The event of the walk's first reading.
pub fn event() -> Event {
    match &handed()[0][0] {
        Handed::Event(event) => event.clone(),
        other => unreachable!("{other:?} stands there"),
    }
}

/// What is said back of the first reading.
pub fn said_back() -> Spoken {
    match &handed()[0][3] {
        Handed::Said(said) => said.clone(),
        other => unreachable!("{other:?} stands there"),
    }
}

/// The name of the clip of a reading.
pub fn clip(number: u32) -> String {
    match &handed()[number as usize - 1][2] {
        Handed::Clip(id, _) => id.clone(),
        other => unreachable!("{other:?} stands there"),
    }
}

/// The file of that clip.
pub fn clip_file(number: u32) -> String {
    format!("clips/{}.flac", clip(number))
}

pub fn begin(storage: impl Storage + 'static) -> Result<Journal, SessionError> {
    let header = Header::new("2026-11-25T101400-borage-twin", job(), serde_json::Value::Null);
    let files = vec![
        ("procedure/no-spark.yaml".to_owned(), b"procedure: no-spark\n".to_vec()),
        ("bike/borage.yaml".to_owned(), b"bike: Borage Twin\n".to_vec()),
    ];
    Journal::create(Box::new(storage), header, files, &now(0))
}

pub fn open(storage: impl Storage + 'static) -> Result<Opened, SessionError> {
    Journal::open(Box::new(storage))
}

/// One step of the session. `Some` number of the reading that may be spoken back from now on.
pub fn step(journal: &mut Journal, step: u32) -> Result<Option<u32>, SessionError> {
    let (number, now) = (step / 4 + 1, now(step + 1));
    if step + 1 == STEPS {
        return journal.finish(&now).map(|_| None);
    }
    let mut what = handed()[number as usize - 1][step as usize % 4].clone();
    if let Handed::Said(said) = &mut what {
        (said.began_ms, said.ended_ms) = (now.mono_ms, now.mono_ms + 400);
    }
    let recorded = matches!(what, Handed::Record(_)).then_some(number);
    put(journal, &JournalLine { now: now.clone(), what }, &now).map(|()| recorded)
}

/// The whole session, stopping at the first error; what may be spoken back is put into `spoken`.
pub fn walk(storage: impl Storage + 'static, spoken: &mut Vec<u32>) -> Result<(), SessionError> {
    let mut journal = begin(storage)?;
    for number in 0..STEPS {
        spoken.extend(step(&mut journal, number)?);
    }
    Ok(())
}

/// A finished session, and how many operations it took.
pub fn finished() -> (Disk, u64) {
    let disk = Disk::new();
    walk(disk.folder(), &mut Vec::new()).unwrap();
    let operations = disk.operations();
    (disk, operations)
}

/// Numbers of the readings in a journal, in order.
pub fn readings(entries: &[Entry]) -> Vec<u32> {
    let number = |entry: &Entry| match entry.body_as::<Record>()? {
        Record::Read { number, .. } => Some(number),
        _ => None,
    };
    entries.iter().filter(|entry| entry.is(Kind::Record)).filter_map(number).collect()
}

/// After whatever happened: the session can be taken up again, holds every reading that was spoken back, and takes more.
pub fn resumes(disk: &Disk, spoken: &[u32], what: &str) {
    let Opened { mut journal, entries, clock, .. } = match open(disk.folder()) {
        Ok(opened) => opened,
        Err(SessionError::NotASession { .. }) if spoken.is_empty() => return,
        Err(error) => panic!("{what}: {error}"),
    };
    let there = readings(&entries);
    assert!(spoken.iter().all(|number| there.contains(number)), "{what}: spoken back {spoken:?}, there {there:?}");
    journal.record(&renumbered(99), &clock.now()).unwrap();
    drop(journal);
    disk.restart();
    let opened = open(disk.folder()).unwrap();
    assert!(opened.repair.is_none(), "{what}: {:?}", opened.repair);
    assert_eq!(readings(&opened.entries), [there, vec![99]].concat(), "{what}");
}

/// How often something random is tried: `few`, or `many` with PROBESIDE_MANY set, as `models/setup test` does.
pub fn times(few: u64, many: u64) -> u64 {
    if std::env::var_os("PROBESIDE_MANY").is_some() { many } else { few }
}

/// A clock for sessions in real folders.
pub fn clock() -> Clock {
    Clock::start()
}
