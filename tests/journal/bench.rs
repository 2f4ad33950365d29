//! A short session that every test here writes, step by step.

use crate::disk::Disk;
use probeside::phrase::{Reading, ReadingKind};
use probeside::session::{
    Clock, Entry, Header, Job, Journal, Kind, Now, Opened, Record, SessionError, Spoken, Storage,
};
use probeside::units::{Quantity, Unit};

/// Readings in the session.
pub const READINGS: u32 = 3;
/// Steps of the session: for each reading an event, the reading, its clip and the prompt; then the end.
pub const STEPS: u32 = READINGS * 4 + 1;

pub fn now(step: u32) -> Now {
    let ms = u64::from(step) * 700;
    Now { mono_ms: ms, wall: format!("2026-11-25T10:14:{:02}.{:03}+01:00", ms / 1000, ms % 1000) }
}

pub fn job() -> Job {
    Job { bike: "Borage Twin".into(), complaint: "will not fire".into(), person: "Ada".into(), ..Job::default() }
}

pub fn read(number: u32, value: f64, amends: Option<u32>) -> Record {
    Record::Read {
        step: "battery-rest".into(),
        round: None,
        number,
        name: "rest_voltage".into(),
        quantity: Quantity::Voltage,
        reading: Reading { kind: ReadingKind::Plain, value, unit: Unit::Volt, said_unit: None },
        unit: Unit::Volt,
        band: Some("good".into()),
        verdict: "good".into(),
        low: Some(12.2),
        high: None,
        source: "common practice, no source".into(),
        words: "twelve point four, \"about\"".into(),
        confidence: 0.97,
        confirmed: false,
        amends,
        clip: Some(format!("a{number}")),
    }
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
    match step % 4 {
        0 => journal
            .append(Kind::Event, &serde_json::json!({"heard": number, "words": "twelve point four"}), &now)
            .map(|_| None),
        1 => journal.record(&read(number, 12.0 + f64::from(number) / 10.0, None), &now).map(|_| Some(number)),
        2 => journal.clip(&format!("a{number}"), &[0.25; 160], &now).map(|_| None),
        _ => {
            let said = Spoken {
                id: u64::from(number),
                text: "twelve point four volts".into(),
                began_ms: now.mono_ms,
                ended_ms: now.mono_ms + 400,
                cut: false,
                clip: None,
            };
            journal.append(Kind::Said, &said, &now).map(|_| None)
        }
    }
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
    journal.record(&read(99, 12.0, None), &clock.now()).unwrap();
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
