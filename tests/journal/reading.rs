//! The review of a journal, both honest and altered.

use crate::bench::*;
use crate::disk::Disk;
use crate::walked::Walk;
use probeside::review::{Review, csv, gather, text, vtt};
use probeside::session::{JOURNAL_FILE, Kind, Miss, Now, Record, Remark, SessionError, limits};
use proptest::prelude::*;

fn review(disk: &Disk) -> Review {
    gather(&mut disk.folder()).unwrap()
}

/// A session with a correction, a caution, a check left out and a conclusion.
fn corrected() -> Disk {
    let disk = Disk::new();
    let mut walk = Walk::begin(job());
    walk.say_all(&["measure the battery", "twelve point four"]).correct("twelve point six");
    walk.say_all(&["the points", "have not got one", "they never close"]);
    let mut journal = walk.write(disk.folder());
    walk.stage.now_ms += 3_590_000;
    let later = walk.stage.now();
    journal.append(Kind::Note, &Remark { by: "Grace".into(), text: "seen".into(), about: Some(2) }, &later).unwrap();
    let back = Now { mono_ms: later.mono_ms + 1_000, wall: "2026-11-25T10:14:00.000+01:00".into() };
    journal.append(Kind::Note, &Remark::own("clock"), &back).unwrap();
    disk
}

#[test]
fn corrections_keep_both_and_the_latest_counts() {
    let review = review(&corrected());
    let told: Vec<_> = review.readings.iter().map(|r| (r.number, r.value, r.amended_by, r.effective)).collect();
    assert_eq!(told, [(1, Some(12.4), Some(1), false), (1, Some(12.6), None, true)]);
    assert_eq!(review.cautions[0].signal, "WARNING");
    assert_eq!(review.untested[0].what, "have-not");
    assert_eq!(review.notes[0].what, "Grace: seen");
    assert_eq!(review.gaps.len(), 2, "{:?}", review.gaps);
    assert!(review.gaps[0].what.contains("59 min") && review.gaps[1].what.contains("set back"));
    let shown = text(&review);
    assert!(shown.find("CONCLUSION") < shown.find("READINGS"));
    assert!(
        shown.contains("corrected later")
            && shown.contains("the corrected value")
            && shown.contains("The left points never close.")
    );
}

/// The keys that design.md promises, and numbers as they were said.
#[test]
fn json_has_the_promised_keys() {
    let json = serde_json::to_value(review(&corrected())).unwrap();
    assert_eq!(json["version"], 1);
    assert_eq!(json["conclusion"]["cause"], "The left points never close.");
    assert!(json["conclusion"]["remedy"].is_string() && json["events"].is_array());
    let reading = &json["readings"][0];
    assert_eq!(
        (reading["step"].as_str(), reading["quantity"].as_str(), reading["value"].as_f64(), reading["unit"].as_str()),
        (Some("battery-rest"), Some("voltage"), Some(12.4), Some("V"))
    );
    assert_eq!(reading["verdict"], "good");
    assert!(reading["time"].as_str().is_some_and(|time| time.parse::<jiff::Timestamp>().is_ok()));
}

#[test]
fn csv_and_vtt_of_a_session() {
    let (disk, _) = finished();
    let review = review(&disk);
    let table = csv(&review);
    assert_eq!(table.matches("\r\n").count(), READINGS as usize + 1);
    assert!(table.contains(",twelve point five,"), "{table}");
    let track = vtt(&review);
    assert!(track.starts_with("WEBVTT\n\n"));
    assert!(
        track
            .contains("00:00:02.800 --> 00:00:03.200\n<v Probeside>Twelve point five volts: one two point five.</v>\n"),
        "{track}"
    );
    assert!(review.session.finished && review.chain.state == "whole");
}

#[test]
fn a_table_keeps_commas_and_quotes_of_altered_words() {
    let disk = Disk::new();
    let mut altered = renumbered(1);
    if let Record::Read { words, .. } = &mut altered {
        *words = "twelve point four, \"about\"".into();
    }
    begin(disk.folder()).unwrap().record(&altered, &now(1)).unwrap();
    assert!(csv(&review(&disk)).contains(",\"twelve point four, \"\"about\"\"\","));
}

/// A walk's record of something that was not taken, with another reason.
fn no_answer(other: Miss) -> Record {
    let mut walk = Walk::begin(job());
    walk.overhear("la la");
    let mut records = walk.stage.records.iter();
    let mut record = records.find(|one| matches!(one, Record::NoAnswer { .. })).expect("it is written down").clone();
    if let Record::NoAnswer { why, .. } = &mut record {
        *why = other;
    }
    record
}

#[test]
fn misses_of_old_journals_are_read_and_replayed() {
    // As format 1 wrote it before misses had the names of the standard.
    let old = |name: &str| {
        let mut record = serde_json::to_value(no_answer(Miss::NoMatch)).unwrap();
        record["why"] = name.into();
        record
    };
    let read = |value: &serde_json::Value| serde_json::from_value::<Record>(value.clone());
    for (name, is) in [("unsure", Miss::NoMatch), ("silence", Miss::NoInput), ("over-prompt", Miss::NoMatch)] {
        assert_eq!(read(&old(name)).unwrap(), no_answer(is), "{name}");
        assert!(no_answer(is).is_stored_as(&old(name)), "{name}");
    }
    assert!(no_answer(Miss::NoMatch).is_stored_as(&old("stranger")));
    assert!(no_answer(Miss::Stranger).is_stored_as(&old("stranger")));
    assert!(!no_answer(Miss::NoInput).is_stored_as(&old("stranger")));
    assert!(!no_answer(Miss::NoInput).is_stored_as(&old("unsure")));
    assert!(!no_answer(Miss::NoMatch).is_stored_as(&old("nonsense")) && read(&old("nonsense")).is_err());
    let record = no_answer(Miss::NoMatch);
    assert!(record.is_stored_as(&serde_json::to_value(&record).unwrap()));
}

#[test]
fn large_entries_are_refused_and_nothing_is_lost() {
    let disk = Disk::new();
    let mut journal = begin(disk.folder()).unwrap();
    let large = "x".repeat(limits::LINE as usize);
    assert!(matches!(journal.append(Kind::Event, &large, &now(1)), Err(SessionError::TooLarge { .. })));
    assert_eq!(step(&mut journal, 1).unwrap(), Some(1));
    drop(journal);
    let mut bytes = disk.contents(JOURNAL_FILE).unwrap();
    bytes.extend(std::iter::repeat_n(b'[', 3 << 20));
    bytes.push(b'\n');
    disk.put(JOURNAL_FILE, &bytes);
    assert_eq!(review(&disk).chain.state, "torn");
    disk.put(JOURNAL_FILE, &vec![b' '; limits::JOURNAL as usize + 1]);
    assert!(matches!(gather(&mut disk.folder()), Err(SessionError::TooLarge { .. })));
}

#[test]
fn a_strangers_lines_are_named_and_shown_harmlessly() {
    let disk = Disk::new();
    let mut journal = begin(disk.folder()).unwrap();
    // A walk's reading, altered by a stranger.
    let mut evil = renumbered(1);
    if let Record::Read { step, words, source, clip, .. } = &mut evil {
        *step = "\u{1b}[2J".into();
        *words = "<script>alert(1)</script>\r\n\u{1b}]0;x\u{7} --> ".into();
        source.clone_from(words);
        *clip = Some("../../x".into());
    }
    journal.record(&evil, &now(1)).unwrap();
    journal.append(Kind::Record, &serde_json::json!({"record": "read", "number": 1e300}), &now(2)).unwrap();
    journal.append(Kind::Heard, &serde_json::json!({"text": 5}), &now(3)).unwrap();
    drop(journal);
    let review = review(&disk);
    assert_eq!(review.unread.len(), 2);
    let shown = text(&review);
    assert!(!shown.chars().any(|c| c.is_control() && c != '\n'));
    assert!(shown.lines().all(|line| line.chars().count() <= 80));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// A journal with bytes of anybody's in it, at any place: an answer, never a panic, and a page that fits a terminal.
    #[test]
    fn any_journal_is_read_or_refused(bytes in proptest::collection::vec(any::<u8>(), 0..200), at in 0usize..4000, cut in 0usize..40) {
        let disk = corrected();
        let mut journal = disk.contents(JOURNAL_FILE).unwrap();
        let at = at % (journal.len() + 1);
        let end = (at + cut).min(journal.len());
        journal.splice(at..end, bytes);
        disk.put(JOURNAL_FILE, &journal);
        if let Ok(review) = gather(&mut disk.folder()) {
            prop_assert!(text(&review).lines().all(|line| line.chars().count() <= 80));
            prop_assert!(csv(&review).ends_with("\r\n"));
            prop_assert!(vtt(&review).starts_with("WEBVTT\n"));
        }
        match open(disk.folder()) {
            Ok(opened) => prop_assert!(!opened.entries.is_empty()),
            Err(error) => prop_assert!(!error.to_string().is_empty()),
        }
    }
}

#[test]
fn commands_write_files_and_spare_the_record() {
    use probeside::commands::{review, verify};
    use probeside::session::Folder;
    let temp = tempfile::tempdir().unwrap();
    let session = temp.path().join("session");
    walk(Folder::create(&session).unwrap(), &mut Vec::new()).unwrap();
    let record = std::fs::read(session.join(JOURNAL_FILE)).unwrap();
    let ask = |csv: std::path::PathBuf, vtt: Option<std::path::PathBuf>| {
        review::run(&review::Args {
            session: session.clone(),
            csv: Some(csv),
            vtt,
            sound: None,
            html: None,
            customer: None,
            json: true,
        })
    };
    let table = temp.path().join("readings.csv");
    assert_eq!(ask(table.clone(), Some(temp.path().join("walk.vtt"))), 0);
    assert_eq!(std::fs::read_to_string(&table).unwrap(), csv(&gather(&mut Folder::at(&session)).unwrap()));
    assert!(std::fs::read_to_string(temp.path().join("walk.vtt")).unwrap().starts_with("WEBVTT"));
    assert_eq!(ask(table, None), 0, "replaced, which is said");
    for spared in ["journal.jsonl", "digest.json", &clip_file(1), "lock", "../session/journal.jsonl"] {
        assert_eq!(ask(session.join(spared), None), 1, "{spared}");
    }
    assert_eq!(std::fs::read(session.join(JOURNAL_FILE)).unwrap(), record);
    let sound = |digest: Option<&str>| {
        verify::run(&verify::Args { session: session.clone(), digest: digest.map(String::from), json: false })
    };
    assert_eq!((sound(None), sound(Some("0000 0000"))), (0, 1));
    std::fs::write(session.join(clip_file(1)), b"RIFF").unwrap();
    assert_eq!(sound(None), 1);
    let nothing = review::Args {
        session: temp.path().into(),
        csv: None,
        vtt: None,
        sound: None,
        html: None,
        customer: None,
        json: false,
    };
    assert_eq!(review::run(&nothing), 1);
}
