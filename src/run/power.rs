//! Tests: whole walks by the real driver over the storage double. The power is cut at every storage operation, and everything unsynced is
//! lost (at every third cut, only some of it). Every operation also fails once. Afterwards every reading that was read back aloud must be
//! in the journal, and the walk must reach its correct end. If the whole session's audio is kept, at most the open piece is lost.

use super::keep::KeepSound;
use super::power_bench::{Files, READ_BACK, Room, SOUND, drive, drive_in, sixteen_bits};
use super::session::{Session, TakenUp};
use crate::review::{gather, pieces, to_be_done, verify, whole};
use crate::session::disk::{Disk, Fault, Keep};
use crate::session::{Clip, Journal, Kind, Record, SetClock, Storage, clip_sound, limits};
use std::path::Path;

/// Number of readings in a whole walk.
const READINGS: usize = 3;
/// The walk's conclusion.
const CONCLUSION: &str = "drop-is-large";
/// Values of the readings that were read back, in order.
pub(super) fn read_back(said: &[String]) -> Vec<f64> {
    said.iter().filter_map(|s| READ_BACK.iter().find(|(words, _)| s == words).map(|(_, value)| *value)).collect()
}

/// The readings and conclusions in the journal on this disk.
pub(super) fn in_journal(disk: &Disk) -> (Vec<f64>, Vec<String>) {
    let opened = Journal::open(Box::new(disk.folder())).unwrap_or_else(|why| panic!("{why}"));
    let records: Vec<Record> =
        opened.entries.iter().filter(|e| e.is(Kind::Record)).filter_map(|e| e.body_as()).collect();
    let readings = records.iter().filter_map(|r| match r {
        Record::Read { reading, .. } => Some(reading.value),
        _ => None,
    });
    let conclusions = records.iter().filter_map(|r| match r {
        Record::Concluded { conclusion, .. } => Some(conclusion.clone()),
        _ => None,
    });
    (readings.collect(), conclusions.collect())
}

/// Resumes the session on this disk; its walk goes on.
fn taken_up(disk: &Disk) -> Session {
    match Session::resume_on(Box::new(disk.folder()), Path::new("memory")) {
        Ok(TakenUp::Walk(session)) => *session,
        Ok(TakenUp::Ended { .. }) => panic!("the walk was over"),
        Err(why) => panic!("{why}"),
    }
}

/// Resumes the session and walks it to its end. Every reading that was read back must be in the journal before, all of them after, and the
/// record must be whole.
fn resumes(disk: &Disk, said: &[String], what: &str) {
    let promised = read_back(said);
    let (before, conclusions) = in_journal(disk);
    assert!(before.starts_with(&promised), "{what}: read back {promised:?}, in the journal {before:?}");
    let whole = || {
        let found = verify(&mut disk.folder(), None).unwrap_or_else(|why| panic!("{what}: {why}"));
        assert!(found.sound && found.ended, "{what}: {:?}", found.faults);
    };
    let session = match Session::resume_on(Box::new(disk.folder()), Path::new("memory")) {
        Ok(TakenUp::Walk(session)) => *session,
        Ok(TakenUp::Ended { .. }) => {
            assert_eq!(conclusions, [CONCLUSION], "{what}");
            return whole();
        }
        Err(why) if why.to_string().contains("walk is over") => {
            assert_eq!(conclusions, [CONCLUSION], "{what}");
            return whole();
        }
        Err(why) => panic!("{what}: {why}"),
    };
    let (end, said) = drive(session, true);
    assert_eq!(end, Ok(0), "{what}: {said:#?}");
    let (after, conclusions) = in_journal(disk);
    assert!(after.starts_with(&before) && after.len() == READINGS, "{what}: {before:?}, then {after:?}");
    assert_eq!(conclusions, [CONCLUSION], "{what}");
    whole();
}

/// The power is cut before each of the last operations, which write the last entry and the digest. Resuming completes what is left.
#[test]
fn a_walk_that_broke_off_at_its_very_end_is_ended_by_taking_it_up() {
    let files = Files::new();
    let whole = Disk::new();
    drive(files.begin(&whole).unwrap(), false).0.unwrap();
    let (mut ended, mut told) = (0, Vec::new());
    for cut in whole.operations() - 20..whole.operations() {
        let disk = Disk::new();
        disk.cut_before(cut, Keep::Nothing);
        assert_ne!(drive(files.begin(&disk).unwrap(), false).0, Ok(0), "cut before {cut}");
        disk.restart();
        let review = gather(&mut disk.folder()).unwrap();
        told.extend(to_be_done(&review, &mut disk.folder()));
        match Session::resume_on(Box::new(disk.folder()), Path::new("memory")) {
            Ok(TakenUp::Walk(session)) => assert_eq!(drive(*session, true).0, Ok(0), "cut before {cut}"),
            Ok(TakenUp::Ended { digest, .. }) => {
                ended += 1;
                let found = verify(&mut disk.folder(), Some(&digest.short)).unwrap();
                assert!(found.sound && found.ended, "cut before {cut}: {:?}", found.faults);
                let notes = gather(&mut disk.folder()).unwrap().notes;
                assert!(notes.iter().any(|note| note.what.contains("ended")), "cut before {cut}: {notes:?}");
            }
            // The cut came before the last check of what was written: everything is there.
            Err(why) if why.to_string().contains("walk is over") => {
                let found = verify(&mut disk.folder(), None).unwrap();
                assert!(found.sound && found.ended, "cut before {cut}: {:?}", found.faults);
            }
            Err(why) => panic!("cut before {cut}: {why}"),
        }
        let again = Session::resume_on(Box::new(disk.folder()), Path::new("memory")).err().map(|why| why.to_string());
        assert!(again.is_some_and(|why| why.contains("walk is over")), "cut before {cut}: once");
    }
    assert!(ended >= 5, "{ended} were over");
    assert!(told.iter().any(|what| what.contains("digest is missing")), "{told:?}");
    assert!(told.iter().any(|what| what.contains("was not ended")), "{told:?}");
}

#[test]
fn an_undisturbed_walk_reads_all_back_and_concludes() {
    let (files, disk) = (Files::new(), Disk::new());
    let (end, said) = drive(files.begin(&disk).unwrap(), false);
    assert_eq!(end, Ok(0), "{said:#?}");
    assert_eq!(read_back(&said), [12.6, 12.1, 0.25], "{said:#?}");
    assert_eq!(in_journal(&disk), (vec![12.6, 12.1, 0.25], vec![CONCLUSION.to_owned()]));
}

#[test]
fn power_is_cut_before_every_operation_of_a_walk() {
    let files = Files::new();
    let mut promised = [0; READINGS + 1];
    for (keep, every) in [(Keep::Nothing, 1), (Keep::Some(7), 3)] {
        for cut in (0..).step_by(every) {
            let disk = Disk::new();
            disk.cut_before(cut, keep);
            let what = format!("power cut before operation {cut}, {keep:?}");
            let Ok(session) = files.begin(&disk) else { continue };
            let (end, said) = drive(session, false);
            promised[read_back(&said).len()] += 1;
            let whole = disk.operations() <= cut;
            assert_eq!(end == Ok(0), whole, "{what}: {end:?}");
            disk.restart();
            resumes(&disk, &said, &what);
            if whole {
                break;
            }
        }
    }
    assert!(promised.iter().all(|times| *times > 10), "cuts after 0, 1, 2 and 3 readings: {promised:?}");
}

#[test]
fn every_operation_of_a_walk_fails_once() {
    let files = Files::new();
    for (fault, every) in [(Fault::Full, 1), (Fault::Device, 3)] {
        for number in (0..).step_by(every) {
            let disk = Disk::new();
            disk.fail(number..number + 1, fault);
            let what = format!("{fault:?} at operation {number}");
            let Ok(session) = files.begin(&disk) else { continue };
            let (end, said) = drive(session, true);
            if disk.operations() <= number {
                break;
            }
            // The very last entry is retried, too.
            assert_eq!(end, Ok(0), "{what}: {said:#?}");
            assert_eq!(read_back(&said).len(), READINGS, "{what}: {said:#?}");
            disk.restart();
            resumes(&disk, &said, &what);
        }
    }
}

/// The samples of all pieces of session audio on this disk, concatenated. `verify` must find nothing altered.
fn kept(disk: &Disk, what: &str) -> Vec<i32> {
    let found = verify(&mut disk.folder(), None).unwrap_or_else(|why| panic!("{what}: {why}"));
    assert!(found.faults.iter().all(|f| f.place == "digest.json"), "{what}: {:?}", found.faults);
    let review = gather(&mut disk.folder()).unwrap_or_else(|why| panic!("{what}: {why}"));
    let sound = |piece: &Clip| {
        let bytes = disk.folder().read(&piece.file, limits::CLIP).ok()?;
        Some(clip_sound(&bytes, piece.samples as usize).unwrap())
    };
    pieces(&review).into_iter().filter_map(sound).flatten().map(|s| sixteen_bits(&s)).collect()
}

#[test]
fn everything_that_was_heard_is_kept_and_written_as_one() {
    let (files, disk, room) = (Files::new(), Disk::new(), Room::default());
    let (end, said) = drive_in(&room, files.begin_keeping(&disk, KeepSound::Everything).unwrap(), false);
    assert_eq!(end, Ok(0), "{said:#?}");
    let heard = room.heard.borrow().clone();
    assert!(heard.len() >= 5 * SOUND, "{} samples", heard.len());
    assert!(kept(&disk, "undisturbed") == heard);
    let review = gather(&mut disk.folder()).unwrap();
    let one = whole(&review, &mut disk.folder()).unwrap();
    let all: Vec<i32> = clip_sound(&one.sound, usize::MAX).unwrap().iter().map(sixteen_bits).collect();
    assert!(all.iter().copied().filter(|s| *s != 0).eq(heard), "in order, with silence between");
    for piece in pieces(&review) {
        let at = piece.began_ms.unwrap() as usize * 16;
        assert!(all[at - 16] == 0 && all[at] != 0, "it stands where the session was at that time, {at}");
    }
    let nothing = Disk::new();
    drive_in(&Room::default(), files.begin_keeping(&nothing, KeepSound::Nothing).unwrap(), false).0.unwrap();
    let review = gather(&mut nothing.folder()).unwrap();
    assert!(review.clips.is_empty() && whole(&review, &mut nothing.folder()).is_err());
}

#[test]
fn a_power_cut_loses_the_open_piece_at_most() {
    let files = Files::new();
    for cut in (0..).step_by(2) {
        let (disk, room) = (Disk::new(), Room::default());
        disk.cut_before(cut, Keep::Nothing);
        let what = format!("power cut before operation {cut}");
        let Ok(session) = files.begin_keeping(&disk, KeepSound::Everything) else { continue };
        let (end, said) = drive_in(&room, session, false);
        let whole = disk.operations() <= cut;
        assert_eq!(end == Ok(0), whole, "{what}: {end:?}");
        disk.restart();
        let (there, heard) = (kept(&disk, &what), room.heard.borrow().clone());
        let safe = if whole { heard.len() } else { room.safe.get() };
        assert!(there.len() >= safe && heard.starts_with(&there), "{what}: {} of {} samples", there.len(), heard.len());
        let all_read = in_journal(&disk).0.len() == READINGS;
        resumes(&disk, &said, &what);
        if whole {
            break;
        }
        assert!(all_read || kept(&disk, &what).len() > there.len(), "{what}: taken up again, it hears on");
    }
}

#[test]
fn sound_that_could_not_be_stored_is_stored_later() {
    let files = Files::new();
    for number in (0..).step_by(2) {
        let (disk, room) = (Disk::new(), Room::default());
        disk.fail(number..number + 1, Fault::Full);
        let what = format!("full at operation {number}");
        let Ok(session) = files.begin_keeping(&disk, KeepSound::Everything) else { continue };
        let (_, said) = drive_in(&room, session, true);
        if disk.operations() <= number {
            break;
        }
        assert_eq!(read_back(&said).len(), READINGS, "{what}: {said:#?}");
        disk.restart();
        // Opening sets aside the remains of a torn last line.
        in_journal(&disk);
        let (there, heard) = (kept(&disk, &what), room.heard.borrow());
        assert!(there == *heard, "{what}: {} of {} samples", there.len(), heard.len());
    }
}

/// The wall clock is set back by an hour during a measurement.
#[test]
fn a_clock_that_is_set_back_is_said_at_once_and_journalled() {
    let (files, disk, room) = (Files::new(), Disk::new(), Room::default());
    let clock = SetClock::start();
    let session = files.begin(&disk).unwrap().timed_by(clock.clone());
    room.at_answer(4, move || clock.set_by(-3_600_000));
    let (end, said) = drive_in(&room, session, true);
    assert_eq!(end, Ok(0), "{said:#?}");
    let spoken = said.iter().filter(|s| s.starts_with("The clock was set back.")).count();
    assert_eq!(spoken, 1, "{said:#?}");
    assert_eq!(read_back(&said).len(), READINGS, "{said:#?}");
    let review = gather(&mut disk.folder()).unwrap();
    let told = review.interruptions.iter().filter(|r| r.what.contains("clock-set-back: by 3")).count();
    assert_eq!((told, review.interruptions.len()), (1, 2), "the clock and the pause: {:?}", review.interruptions);
    assert_eq!(review.gaps.len(), 1, "{:?}", review.gaps);
    assert!(review.gaps[0].what.contains("the wall clock was set back by"), "{:?}", review.gaps);
    let over = Session::resume_on(Box::new(disk.folder()), Path::new("memory")).err().map(|why| why.to_string());
    assert!(over.is_some_and(|why| why.contains("walk is over")), "the journal replays");
}

/// The same between the two halves of a walk.
#[test]
fn a_clock_that_was_set_back_while_nobody_walked_is_said() {
    let (files, disk, room) = (Files::new(), Disk::new(), Room::default());
    let clock = SetClock::start();
    clock.set_by(3_600_000);
    let session = files.begin(&disk).unwrap().timed_by(clock);
    // Late in the walk, after a reading.
    let whole = Disk::new();
    assert!(drive(files.begin(&whole).unwrap(), false).0.is_ok());
    disk.cut_before(whole.operations() * 3 / 4, Keep::Nothing);
    let (end, said) = drive(session, false);
    assert!(end == Ok(1) && !read_back(&said).is_empty(), "{end:?} {said:#?}");
    disk.restart();
    room.live.set(true);
    let session = taken_up(&disk);
    let (end, said) = drive_in(&room, session, true);
    assert_eq!(end, Ok(0), "{said:#?}");
    assert_eq!(said.iter().filter(|s| s.starts_with("The clock was set back.")).count(), 1, "{said:#?}");
    assert_eq!(in_journal(&disk), (vec![12.6, 12.1, 0.25], vec![CONCLUSION.to_owned()]));
    let review = gather(&mut disk.folder()).unwrap();
    let told = review.interruptions.iter().filter(|r| r.what.contains("clock-set-back: by 3")).count();
    assert_eq!(told, 1, "{:?}", review.interruptions);
}
