//! A session as a walk of no-spark leaves it, made without walking: as many readings as wanted, sound, a correction, cautions, a check left
//! out, and words that would be markup if anybody obeyed them.

use crate::disk::Disk;
use probeside::advice::{Because, Doubtful, Suspect, Weighed};
use probeside::bike::{BikeState, Instrument, InstrumentKind};
use probeside::phrase::{Answer, Reading, ReadingKind};
use probeside::session::{Header, Job, Journal, Miss, Now, Record, Storage};
use probeside::units::{Quantity, Unit};
use std::path::Path;

/// Words of a stranger.
pub const EVIL: &str = "</title></script><script>document.title='run'</script><img src=x onerror=\"document.title='run'\">'\"{{ 7*7 }}\u{202e}";

fn now(ms: u64) -> Now {
    let (s, m) = (ms / 1000 % 60, ms / 60_000 % 60);
    Now { mono_ms: ms, wall: format!("2026-11-25T{:02}:{m:02}:{s:02}.000+01:00", 8 + ms / 3_600_000) }
}

fn shipped(name: &str) -> Vec<u8> {
    std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures").join(name)).unwrap()
}

fn drop_reading(number: u32, round: &str, value: f64, amends: Option<u32>, clip: Option<String>) -> Record {
    let bad = value >= 0.18;
    Record::Read {
        step: "drop-part".into(),
        round: Some(round.into()),
        number,
        name: "part_drop".into(),
        quantity: Quantity::Voltage,
        reading: Reading { kind: ReadingKind::Plain, value, unit: Unit::Volt, said_unit: None },
        unit: Unit::Volt,
        band: Some(if bad { "high" } else { "good" }.into()),
        verdict: if bad { "bad" } else { "good" }.into(),
        low: None,
        high: Some(0.18),
        source: "common practice, no source".into(),
        words: if number == 2 { EVIL.into() } else { "point oh five".into() },
        confidence: if number == 3 { 0.7 } else { 0.98 },
        confirmed: number == 3,
        amends,
        clip,
    }
}

/// Writes the session with this many readings, `clips` of them with sound.
pub fn write(storage: impl Storage + 'static, readings: u32, clips: u32) {
    let job = Job {
        bike: "Borage Twin".into(),
        mileage: "23450 km".into(),
        complaint: EVIL.into(),
        temperature_c: Some(18.0),
        instruments: vec!["digital meter".into()],
        person: "Marta Quill".into(),
    };
    let header = Header::new("2026-11-25T080000-borage-twin", job, serde_json::Value::Null);
    let files = vec![
        ("procedure/no-spark.yaml".to_owned(), shipped("no-spark.yaml")),
        ("bike/bike.yaml".to_owned(), shipped("bikes/borage-twin.yaml")),
    ];
    let mut journal = Journal::create(Box::new(storage), header, files, &now(0)).unwrap();
    let parts = ["coil-feed", "kill", "key", "main", "fuse"];
    let ends = [
        ["coil-feed.supply-side", "coil-feed.load-side"],
        ["kill.supply", "kill.load"],
        ["key.supply", "key.load"],
        ["main.supply-side", "main.load-side"],
        ["fuse.supply", "fuse.load"],
    ];
    let mut ms = 1000;
    for number in 1..=readings {
        let at = number as usize % parts.len();
        let leads =
            Instrument { kind: InstrumentKind::Voltmeter, first: ends[at][0].into(), second: ends[at][1].into() };
        let state = BikeState { instrument: Some(leads), ..BikeState::default() };
        let round = Some(parts[at].to_owned());
        let mut put = |record: Record| {
            journal.record(&record, &now(ms)).unwrap();
            ms += 1500;
        };
        if number % 50 == 1 {
            put(Record::Acknowledged {
                step: "drop-part".into(),
                round: round.clone(),
                caution: "short-circuit".into(),
                signal: ["DANGER", "WARNING", "CAUTION", "NOTICE"][number as usize / 50 % 4].into(),
                said: "A probe that bridges a live wire to metal burns wires and skin.".into(),
                printed: false,
            });
        }
        put(Record::State { step: "drop-part".into(), told: vec!["Voltmeter there.".into()], state });
        put(Record::Entered {
            procedure: "no-spark".into(),
            step: "drop-part".into(),
            round: round.clone(),
            asked: "Voltmeter there. Across it, way in to way out. What does the meter read?".into(),
        });
        let clip = (number <= clips).then(|| format!("a{number}"));
        let value = if parts[at] == "key" { 0.7 } else { 0.05 };
        put(drop_reading(number, parts[at], value, (number == 4).then_some(3), clip.clone()));
        if let Some(id) = clip {
            let tone: Vec<f32> = (0..8000).map(|n| 0.3 * (n as f32 * 0.17).sin()).collect();
            journal.clip(&id, &tone, &now(ms)).unwrap();
        }
    }
    let step = "vapour".to_owned();
    let asked = "Can you smell petrol?".to_owned();
    let mut put = |record: Record| journal.record(&record, &now(ms)).unwrap();
    put(Record::Entered { procedure: "no-spark".into(), step: step.clone(), round: None, asked });
    put(Record::NotTaken { step: step.clone(), why: Miss::Stranger, free: Some(EVIL.into()), clip: None });
    put(Record::Answered {
        step: step.clone(),
        round: None,
        answer: Answer::Choice("clear".into()),
        words: "air is clear".into(),
        echo: "no petrol in the air".into(),
        means: "good".into(),
        confidence: 0.99,
        confirmed: false,
        clip: Some("gone".into()),
    });
    for (left, weight) in [(7, 0.3), (2, 0.9)] {
        let because =
            Because { step: "drop-part".into(), round: Some("key".into()), answer: EVIL.into(), evidence: 1.2 };
        let suspect = Suspect {
            fault: "key-resistive".into(),
            words: "the key switch connects badly".into(),
            parts: vec!["key".into()],
            weight,
            because: vec![because],
        };
        let doubtful =
            Doubtful { number: 1, step: step.clone(), round: None, answer: "no petrol in the air".into(), weight: 0.4 };
        let doubtful = Some(doubtful).filter(|_| left == 7);
        let weighed = Weighed { suspects: vec![suspect], others: 0.95 - weight, outside: 0.05, left, doubtful };
        put(Record::Weighed { step: "drop-part".into(), round: Some("key".into()), weighed });
    }
    put(Record::Untested { step: "points-gap".into(), round: Some("left".into()), why: "have not got one".into() });
    put(Record::Noted { step, round: None, text: EVIL.into(), clip: None });
    put(Record::Concluded {
        procedure: "no-spark".into(),
        conclusion: "part-resistive".into(),
        round: Some("key".into()),
        cause: "The key switch loses 0.7 volts: it conducts badly.".into(),
        remedy: "Clean the switch's contacts or replace it.".into(),
        rules_out: vec!["Battery.".into()],
        not_tested: vec!["Points drop, ground side, spark.".into()],
        not_ruled_out: vec!["The kill switch connects badly, four per cent.".into()],
        recheck: vec!["Drop from battery to coil feed.".into()],
        put_back: vec!["Key off.".into()],
        last: true,
    });
    journal.finish(&now(ms)).unwrap();
}

/// The session in memory.
#[allow(dead_code)]
pub fn in_memory(readings: u32, clips: u32) -> Disk {
    let disk = Disk::new();
    write(disk.folder(), readings, clips);
    disk
}

/// Its page.
pub fn page(disk: &Disk) -> String {
    let review = probeside::review::gather(&mut disk.folder()).unwrap();
    probeside::review::page(&review, &mut disk.folder()).unwrap()
}
