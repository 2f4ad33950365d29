//! Tests: what a walk by the real driver says about its own record: that it is kept, is not kept, is nearly full, was written to by
//! something else, or drops audio.

use super::keep::KeepSound;
use super::power::{in_journal, read_back};
use super::power_bench::{Files, Room, drive, drive_in};
use super::session::Session;
use crate::review::{gather, verify};
use crate::session::disk::{Disk, Fault, Keep};
use crate::session::{JOURNAL_FILE, Now, Remark, limits};
use std::path::Path;

const KEPT: [&str; 2] = ["The record is kept.", "The record is closed."];
const NOT_KEPT: &str = "The record could not be kept:";

fn says(said: &[String], words: &str) -> usize {
    said.iter().filter(|s| s.contains(words)).count()
}

fn is_said_to_be_kept(said: &[String]) -> bool {
    KEPT.iter().any(|words| says(said, words) > 0)
}

/// Contract 2: nothing is acknowledged that is not on disk. The end acknowledges everything.
#[test]
fn what_something_else_does_to_the_journal_is_noticed_before_the_next_answer_is_said_back() {
    let files = Files::new();
    let cut = |bytes: &mut Vec<u8>| bytes.truncate(bytes.len() - 1);
    let emptied = |bytes: &mut Vec<u8>| bytes.clear();
    let edited = |bytes: &mut Vec<u8>| {
        let at = bytes.len() / 2;
        bytes[at] ^= 1;
    };
    let zeroed = |bytes: &mut Vec<u8>| *bytes.last_mut().unwrap() = 0;
    let added = |bytes: &mut Vec<u8>| bytes.extend_from_slice(b"{}\n");
    type Change = fn(&mut Vec<u8>);
    let all: [(&str, Change); 5] =
        [("cut", cut), ("emptied", emptied), ("edited", edited), ("zeroed", zeroed), ("added to", added)];
    for (how, meddle) in all {
        for answer in 0..5 {
            let (disk, room, what) = (Disk::new(), Room::default(), format!("{how} after {answer} answers"));
            let (there, before) = (disk.clone(), std::rc::Rc::new(std::cell::RefCell::new(Vec::new())));
            let left = before.clone();
            room.at_answer(answer, move || {
                there.meddle(JOURNAL_FILE, meddle);
                *left.borrow_mut() = there.contents(JOURNAL_FILE).unwrap();
            });
            let (end, said) = drive_in(&room, files.begin(&disk).unwrap(), true);
            // The answers before it were said back, none after it: the caution first, then lamp, 12.6, 12.1, 0.25.
            assert_eq!(read_back(&said).len(), answer.saturating_sub(2), "{what}: {said:#?}");
            assert!(says(&said, "I could not write that down:") > 0, "{what}: {said:#?}");
            assert!(!is_said_to_be_kept(&said) && says(&said, NOT_KEPT) == 1, "{what}: {said:#?}");
            assert_eq!(end, Ok(1), "{what}");
            assert!(disk.contents(JOURNAL_FILE).unwrap() == *before.borrow(), "{what}: it is left as it is");
        }
    }
}

#[test]
fn a_record_that_cannot_be_ended_is_not_said_to_be_kept() {
    let files = Files::new();
    for answer in [0, 2, 4] {
        for fault in Fault::ALL {
            let (disk, room, what) = (Disk::new(), Room::default(), format!("{fault:?} from answer {answer}"));
            let there = disk.clone();
            room.at_answer(answer, move || there.fail(there.operations()..u64::MAX, fault));
            let (end, said) = drive_in(&room, files.begin(&disk).unwrap(), false);
            assert!(!is_said_to_be_kept(&said) && says(&said, NOT_KEPT) == 1, "{what}: {said:#?}");
            assert_eq!(end, Ok(1), "{what}");
        }
        let (disk, room) = (Disk::new(), Room::default());
        let there = disk.clone();
        room.at_answer(answer, move || there.cut_now(Keep::Nothing));
        let (end, said) = drive_in(&room, files.begin(&disk).unwrap(), false);
        assert!(!is_said_to_be_kept(&said) && end == Ok(1), "the power is cut at answer {answer}: {said:#?}");
    }
    let disk = Disk::new();
    let (end, said) = drive(files.begin(&disk).unwrap(), false);
    assert!(end == Ok(0) && is_said_to_be_kept(&said), "{said:#?}");
    assert!(verify(&mut disk.folder(), None).unwrap().sound);
}

/// A session whose journal has only this many bytes left.
fn nearly_full(files: &Files, disk: &Disk, left: u64) -> Session {
    const LONG: u64 = 1_000_000;
    let mut session = files.begin(disk).unwrap();
    let length = || disk.contents(JOURNAL_FILE).unwrap().len() as u64;
    let now = Now { mono_ms: 0, wall: "2026-11-25T10:14:03.120+01:00".into() };
    loop {
        let room = limits::JOURNAL - length() - left;
        if room <= limits::AROUND_BODY {
            return session;
        }
        let text = "x".repeat(room.min(LONG + limits::AROUND_BODY) as usize - limits::AROUND_BODY as usize);
        session.journal.remark(&Remark::own(text), &now).unwrap();
    }
}

#[test]
fn before_its_limit_the_journal_warns_once_and_the_walk_can_be_ended() {
    let (files, disk) = (Files::new(), Disk::new());
    let (end, said) = drive(nearly_full(&files, &disk, limits::WARNED + 8_000), false);
    assert_eq!(says(&said, "The record is nearly full."), 1, "{said:#?}");
    assert!(end == Ok(0) && is_said_to_be_kept(&said), "{said:#?}");
    assert_eq!(read_back(&said).len(), 3, "{said:#?}");
    assert!(verify(&mut disk.folder(), None).unwrap().sound);
    let over = Session::resume_on(Box::new(disk.folder()), Path::new("memory")).err().map(|why| why.to_string());
    assert!(over.is_some_and(|why| why.contains("walk is over")), "the journal replays");
}

#[test]
fn at_its_limit_the_walk_is_ended_and_its_end_is_written() {
    let (files, disk) = (Files::new(), Disk::new());
    let (end, said) = drive(nearly_full(&files, &disk, limits::ENDING + 3_000), false);
    assert!(end == Ok(1) && says(&said, "Ended.") == 1 && is_said_to_be_kept(&said), "{said:#?}");
    let found = verify(&mut disk.folder(), None).unwrap();
    assert!(found.sound, "{:?}", found.faults);
    assert!(disk.contents(JOURNAL_FILE).unwrap().len() as u64 <= limits::JOURNAL - limits::ENDING + 100_000);
    let (read, _) = in_journal(&disk);
    assert_eq!(read, read_back(&said), "what was read back is there, and nothing was read in vain");
}

/// More than half an hour of audio arrives while the disk is full for most of it.
#[test]
fn sound_that_a_full_disk_does_not_take_is_dropped_after_a_while_said_once_and_journalled() {
    let (files, disk, room) = (Files::new(), Disk::new(), Room::default());
    room.longer.set(120);
    let (fills, mends) = (disk.clone(), disk.clone());
    room.at_answer(1, move || fills.fail(fills.operations()..u64::MAX, Fault::Full));
    room.at_answer(25, move || mends.mend());
    let (end, said) = drive_in(&room, files.begin_keeping(&disk, KeepSound::Everything).unwrap(), true);
    assert_eq!(end, Ok(0), "{said:#?}");
    assert_eq!(says(&said, "The disk takes no more sound."), 1, "{said:#?}");
    assert_eq!(read_back(&said).len(), 3, "{said:#?}");
    let review = gather(&mut disk.folder()).unwrap();
    let gaps: Vec<&str> = review.notes.iter().map(|note| note.what.as_str()).collect();
    assert!(matches!(gaps[..], [gap] if gap.contains("of the session, is missing: the disk took none")), "{gaps:?}");
    let told = review.interruptions.iter().filter(|r| r.what.starts_with("sound-not-kept")).count();
    assert_eq!(told, 1, "{:?}", review.interruptions);
    let samples: u64 = review.clips.iter().map(|clip| clip.samples).sum();
    let heard = room.heard.borrow().len() as u64;
    assert!(samples > limits::WAITING_SOUND as u64 / 2 && samples < heard, "{samples} of {heard}");
    assert!(verify(&mut disk.folder(), None).unwrap().sound);
    let over = Session::resume_on(Box::new(disk.folder()), Path::new("memory")).err().map(|why| why.to_string());
    assert!(over.is_some_and(|why| why.contains("walk is over")), "the journal replays");
}
