//! How the journal's thread handles audio that waits for a full disk.

use super::*;
use crate::session::disk::{Disk, Fault};
use crate::session::{Header, JobDetails, Storage};

fn now() -> Now {
    Now { mono_ms: 1, wall: "2026-11-25T10:14:03.120+01:00".into() }
}

/// The journal's remarks, in order.
fn remarks(disk: &Disk) -> Vec<String> {
    let there = Journal::open(Box::new(disk.folder())).unwrap().entries;
    there.iter().filter(|e| e.is(Kind::Note)).filter_map(|e| Some(e.body_as::<Remark>()?.text)).collect()
}

#[test]
fn sound_that_waits_for_a_full_disk_has_a_bound_and_the_gap_is_noted() {
    let disk = Disk::new();
    let (send, answers) = channel();
    let header = Header::new("s", JobDetails::default(), serde_json::Value::Null);
    let journal = Journal::create(Box::new(disk.folder()), header, vec![], &now()).unwrap();
    let writer = Writer::start(journal, move |reply| send.send(reply).unwrap()).unwrap();
    disk.fail(disk.operations()..u64::MAX, Fault::Full);
    let at = |ms: u64| Now { mono_ms: ms, ..now() };
    let piece = |ms: u64| Piece { began_ms: ms, sound: vec![0.25; super::super::PIECE] };
    let (mut kept, mut dropped) = (0, 0);
    for number in 0..60 {
        let ms = (number + 1) * 30_000;
        match writer.piece(0, piece(ms - 30_000), &at(ms)) {
            Ok(()) => kept += 1,
            Err(SessionError::SoundDropped) => dropped += 1,
            Err(why) => panic!("{why}"),
        }
    }
    assert_eq!((kept, dropped), (limits::WAITING_SOUND / super::super::PIECE, 60 - kept), "half an hour");
    assert!(writer.backlog.samples() <= limits::WAITING_SOUND);
    let short = writer.piece(0, Piece { began_ms: 1_800_000, sound: vec![0.25; 16_000] }, &at(1_801_000));
    assert!(matches!(short, Err(SessionError::SoundDropped)), "a short piece ends no gap: {short:?}");
    disk.mend();
    // The next entry brings everything to the disk. Then there is room again.
    writer.append(1, Kind::Event, &"room", &at(1_810_000)).unwrap();
    assert!(answers.iter().any(|r| matches!(r, Reply::Recorded { id: 1, .. })));
    assert_eq!(writer.backlog.samples(), 0);
    writer.piece(0, piece(1_810_000), &at(1_840_000)).unwrap();
    drop(writer.end(&at(1_850_000)).unwrap());
    let seconds = dropped * 30 + 1;
    let said = format!(
        "sound of {seconds} s, from 0:{:02}:00 to 0:30:01 of the session, is missing: the disk took none",
        kept / 2
    );
    assert_eq!(remarks(&disk), [said]);
    let clips = disk.folder().list().unwrap().into_iter().filter(|f| f.ends_with(".flac")).count();
    assert_eq!(clips, kept + 1);
}
