//! How the journal's thread handles entries that cannot be written, now or ever, and the end of a session.

use crate::bench::noted;
use crate::disk::{Disk, Fault};
use probeside::session::{
    Header, JOURNAL_FILE, JobDetails, Journal, Kind, Now, Remark, Reply, Room, SessionError, There, Writer, limits,
};
use std::sync::mpsc::channel;

fn journal_on(disk: &Disk) -> Journal {
    let header = Header::new("s", JobDetails::default(), serde_json::Value::Null);
    Journal::create(Box::new(disk.folder()), header, vec![], &now()).unwrap()
}

fn now() -> Now {
    Now { mono_ms: 1, wall: "2026-11-25T10:14:03.120+01:00".into() }
}

#[test]
fn what_is_waited_for_is_given_back_and_all_else_is_written_late_in_its_order() {
    let disk = Disk::new();
    let (send, answers) = channel();
    let writer = Writer::start(journal_on(&disk), move |reply| send.send(reply).unwrap()).unwrap();
    writer.append(1, Kind::Event, &"first", &now()).unwrap();
    assert!(matches!(answers.recv().unwrap(), Reply::Recorded { id: 1, seq: 1, room: Room::Ample }));
    // The disk is full for the next three commands: one that is kept, one that is waited for, one more that is kept.
    disk.fail(disk.operations()..u64::MAX, Fault::Full);
    writer.append(2, Kind::Said, &"second", &now()).unwrap();
    writer.record(3, &noted("waited for"), &now(), true).unwrap();
    writer.record(4, &noted("kept"), &now(), false).unwrap();
    let three: Vec<Reply> = answers.iter().take(3).collect();
    assert!(matches!(three[0], Reply::Late { id: 2, why: SessionError::Full { .. } }), "{three:?}");
    assert!(matches!(three[1], Reply::Failed { id: 3, .. }), "{three:?}");
    assert!(matches!(three[2], Reply::Late { id: 4, .. }), "{three:?}");
    disk.mend();
    writer.record(5, &noted("waited for"), &now(), true).unwrap();
    writer.clip(6, "a", vec![0.0; 160], &now()).unwrap();
    let digest = writer.end(&now()).unwrap();
    let rest: Vec<Reply> = answers.iter().collect();
    assert!(matches!(rest[0], Reply::Recorded { id: 2, seq: 2, .. }), "{rest:?}");
    assert!(matches!(rest[1], Reply::Recorded { id: 4, seq: 3, .. }), "{rest:?}");
    assert!(matches!(rest[2], Reply::Recorded { id: 5, seq: 4, .. }), "{rest:?}");
    assert!(matches!(&rest[3], Reply::ClipStored { id: 6, clip } if clip == "a"), "{rest:?}");
    assert_eq!(rest.len(), 4);
    let there = Journal::open(Box::new(disk.folder())).unwrap();
    assert_eq!(digest, there.journal.digest());
    assert!(there.entries.last().unwrap().is(Kind::End));
}

/// Remarks in the journal, in their order.
fn remarks(disk: &Disk) -> Vec<String> {
    let there = Journal::open(Box::new(disk.folder())).unwrap().entries;
    there.iter().filter(|e| e.is(Kind::Note)).filter_map(|e| Some(e.body_as::<Remark>()?.text)).collect()
}

#[test]
fn an_entry_that_can_never_be_written_holds_up_nothing_and_its_absence_is_noted() {
    // At once, and behind an entry that is late because the disk is full.
    for full in [false, true] {
        let disk = Disk::new();
        let (send, answers) = channel();
        let writer = Writer::start(journal_on(&disk), move |reply| send.send(reply).unwrap()).unwrap();
        if full {
            disk.fail(disk.operations()..u64::MAX, Fault::Full);
            writer.record(9, &noted("late"), &now(), false).unwrap();
        }
        writer.append(1, Kind::Said, &"x".repeat(2 << 20), &now()).unwrap();
        writer.record(2, &noted(&"y".repeat(2 << 20)), &now(), true).unwrap();
        if full {
            let late: Vec<Reply> = answers.iter().take(3).collect();
            assert!(matches!(late[2], Reply::Failed { id: 2, .. }), "{late:?}");
            disk.mend();
        }
        for id in 3..6 {
            writer.record(id, &noted(&format!("after {id}")), &now(), true).unwrap();
        }
        drop(writer.end(&now()).unwrap());
        let all: Vec<Reply> = answers.iter().collect();
        let refused = |id| {
            all.iter().any(|r| matches!(r, Reply::Refused { id: of, why: SessionError::TooLarge { .. } } if *of == id))
        };
        assert!(refused(1) && refused(2) != full, "{all:?}");
        let recorded: Vec<u64> =
            all.iter().filter(|r| matches!(r, Reply::Recorded { .. })).map(reply_id).filter(|id| *id != 0).collect();
        assert_eq!(recorded, if full { vec![9, 3, 4, 5] } else { vec![3, 4, 5] }, "{all:?}");
        assert!(remarks(&disk)[0].starts_with("an entry of kind said was left out here: "), "{:?}", remarks(&disk));
    }
    assert!(Writer::fits(Kind::Said, &"x".repeat(limits::LINE as usize - 2_000)).is_ok());
    assert!(Writer::fits(Kind::Said, &"x".repeat(limits::LINE as usize - 1_000)).is_err());
}

fn reply_id(reply: &Reply) -> u64 {
    match reply {
        Reply::Recorded { id, .. } | Reply::ClipStored { id, .. } => *id,
        Reply::Late { id, .. } | Reply::Failed { id, .. } | Reply::Refused { id, .. } => *id,
    }
}

#[test]
fn a_session_is_kept_only_if_all_of_it_is_on_the_disk_where_its_path_leads() {
    let begun = || {
        let disk = Disk::new();
        let writer = Writer::start(journal_on(&disk), |_| ()).unwrap();
        writer.record(1, &noted("one"), &now(), true).unwrap();
        (disk, writer)
    };
    let (_, writer) = begun();
    writer.end(&now()).unwrap();
    // An entry that is late is missing.
    let (disk, writer) = begun();
    let settled = writer.close().unwrap();
    let writer = Writer::start(settled, |_| ()).unwrap();
    disk.fail(disk.operations()..u64::MAX, Fault::Full);
    writer.record(2, &noted("two"), &now(), false).unwrap();
    let lost = writer.end(&now()).unwrap_err();
    assert!(matches!(lost.why, SessionError::Full { .. }), "{lost:?}");
    // What is there cannot be read either while every operation fails.
    assert_eq!(lost.there, There::default());
    for (meddle, entries) in [
        (&(|bytes: &mut Vec<u8>| bytes.truncate(bytes.len() - 5)) as &dyn Fn(&mut Vec<u8>), 1),
        (&|bytes: &mut Vec<u8>| bytes.clear(), 0),
        (&|bytes: &mut Vec<u8>| bytes.extend_from_slice(b"{}\n"), 2),
    ] {
        let (disk, writer) = begun();
        let writer = Writer::start(writer.close().unwrap(), |_| ()).unwrap();
        disk.meddle(JOURNAL_FILE, meddle);
        let there = disk.contents(JOURNAL_FILE);
        let lost = writer.end(&now()).unwrap_err();
        assert!(matches!(lost.why, SessionError::Meddled { .. }), "{lost:?}");
        assert_eq!(lost.there.entries, entries);
        assert_eq!(disk.contents(JOURNAL_FILE), there, "it is left as it is");
    }
}
