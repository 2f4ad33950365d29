//! Power cuts and failures at every single operation, on the storage double that loses unsynced data.

use crate::bench::*;
use crate::disk::{Disk, Fault, Keep};
use probeside::review::verify;
use probeside::session::{DIGEST_FILE, JOURNAL_FILE, Journal, SessionError};

/// What the walk does when something could not be written: it tries the same again, once, and gives up if that fails too.
fn stubborn(
    disk: &Disk,
    spoken: &mut Vec<u32>,
    mut failed: impl FnMut(&SessionError),
) -> Result<Journal, SessionError> {
    let mut journal = begin(disk.folder()).or_else(|error| {
        failed(&error);
        begin(disk.folder())
    })?;
    for number in 0..STEPS {
        let done = match step(&mut journal, number) {
            Err(error) => {
                failed(&error);
                step(&mut journal, number)?
            }
            Ok(done) => done,
        };
        spoken.extend(done);
    }
    Ok(journal)
}

#[test]
fn power_is_cut_before_every_operation() {
    let (_, operations) = finished();
    assert!(operations > 50);
    for keep in std::iter::once(Keep::Nothing).chain((0..20).map(Keep::Some)) {
        for cut in 0..=operations {
            let (disk, mut spoken) = (Disk::new(), Vec::new());
            disk.cut_before(cut, keep);
            let done = walk(disk.folder(), &mut spoken);
            assert_eq!(done.is_ok(), cut == operations);
            if done.is_ok() {
                disk.cut_now(keep);
            }
            disk.restart();
            resumes(&disk, &spoken, &format!("power cut before operation {cut}, {keep:?}"));
        }
    }
}

#[test]
fn power_is_cut_again_while_the_session_is_taken_up() {
    let (_, operations) = finished();
    let mut repaired = 0;
    for first in 0..operations {
        for keep in [Keep::Nothing, Keep::Some(first), Keep::Some(first + 1000)] {
            for second in 0.. {
                let (disk, mut spoken) = (Disk::new(), Vec::new());
                disk.cut_before(first, keep);
                walk(disk.folder(), &mut spoken).unwrap_err();
                disk.restart();
                let before = disk.operations();
                disk.cut_before(before + second, keep);
                let opened = open(disk.folder());
                let done = disk.operations() < before + second;
                repaired += usize::from(opened.is_ok_and(|opened| opened.repair.is_some()));
                disk.restart();
                resumes(&disk, &spoken, &format!("power cut before {first} and again {second} on, {keep:?}"));
                if done {
                    break;
                }
            }
        }
    }
    assert!(repaired > 10, "torn ends were among them");
}

#[test]
fn every_operation_fails_once_and_is_tried_again() {
    let (_, operations) = finished();
    for fault in Fault::ALL {
        for number in 0..operations {
            let what = format!("{fault:?} at operation {number}");
            let (disk, mut spoken, mut failures) = (Disk::new(), Vec::new(), 0);
            disk.fail(number..number + 1, fault);
            let journal = stubborn(&disk, &mut spoken, |error| {
                failures += 1;
                assert!(
                    match fault {
                        Fault::Full => matches!(error, SessionError::Full { .. }),
                        Fault::ReadOnly => matches!(error, SessionError::ReadOnly { .. }),
                        Fault::Gone => matches!(error, SessionError::Vanished { .. }),
                        Fault::Device => matches!(error, SessionError::Io { .. }),
                    },
                    "{what}: {error}"
                );
            });
            drop(journal.unwrap_or_else(|error| panic!("{what}: {error}")));
            assert_eq!(failures, 1, "{what}: was said");
            assert_eq!(spoken, [1, 2, 3], "{what}");
            disk.restart();
            let found = verify(&mut disk.folder(), None).unwrap();
            assert!(found.sound, "{what}: {:?}", found.faults);
            assert_eq!(readings(&open(disk.folder()).unwrap().entries), [1, 2, 3], "{what}: each once");
        }
    }
}

#[test]
fn an_operation_fails_and_then_the_power() {
    let (_, operations) = finished();
    for fault in [Fault::Full, Fault::Device] {
        for number in 0..operations {
            for cut in number + 1..operations + 8 {
                let (disk, mut spoken) = (Disk::new(), Vec::new());
                disk.fail(number..number + 1, fault);
                let keep = if cut.is_multiple_of(2) { Keep::Nothing } else { Keep::Some(cut) };
                disk.cut_before(cut, keep);
                drop(stubborn(&disk, &mut spoken, |_| {}));
                disk.restart();
                resumes(&disk, &spoken, &format!("{fault:?} at {number}, power cut before {cut}, {keep:?}"));
            }
        }
    }
}

#[test]
fn a_disk_that_stays_full_takes_nothing_and_then_all() {
    let disk = Disk::new();
    let mut journal = begin(disk.folder()).unwrap();
    step(&mut journal, 0).unwrap();
    let before = disk.operations();
    disk.fail(before..u64::MAX, Fault::Full);
    for _ in 0..5 {
        assert!(matches!(step(&mut journal, 1), Err(SessionError::Full { .. })));
    }
    disk.mend();
    assert_eq!(step(&mut journal, 1).unwrap(), Some(1));
    drop(journal);
    disk.restart();
    assert_eq!(readings(&open(disk.folder()).unwrap().entries), [1]);
}

/// A resumed walk speaks the last reading back: whatever `open` shows has to survive, even what a killed process left unsynced, and even
/// after a sync that failed.
#[test]
fn what_is_shown_on_opening_survives() {
    for sync_fails in [false, true] {
        let disk = Disk::new();
        let mut journal = begin(disk.folder()).unwrap();
        step(&mut journal, 0).unwrap();
        if sync_fails {
            let sync = disk.operations() + 1;
            disk.fail(sync..sync + 1, Fault::Device);
            step(&mut journal, 1).unwrap_err();
        }
        drop(journal);
        let shown = open(disk.folder()).unwrap().entries;
        assert_eq!(shown.len(), if sync_fails { 3 } else { 2 });
        disk.restart();
        assert_eq!(open(disk.folder()).unwrap().entries, shown);
    }
}

#[test]
fn the_double_does_lose_what_was_not_synced() {
    let disk = Disk::new();
    let mut journal = begin(disk.folder()).unwrap();
    let length = disk.contents(JOURNAL_FILE).unwrap().len();
    step(&mut journal, 0).unwrap();
    assert!(disk.contents(JOURNAL_FILE).unwrap().len() > length);
    drop(journal);
    disk.restart();
    assert_eq!(disk.contents(JOURNAL_FILE).unwrap().len(), length);
}

#[test]
fn the_journal_is_cut_at_every_byte() {
    let (disk, _) = finished();
    let (whole, digest) = (disk.contents(JOURNAL_FILE).unwrap(), disk.contents(DIGEST_FILE).unwrap());
    let header = whole.iter().position(|b| *b == b'\n').unwrap();
    for cut in 0..whole.len() {
        let disk = Disk::new();
        disk.put(JOURNAL_FILE, &whole[..cut]);
        let lines = whole[..cut].iter().filter(|b| **b == b'\n').count();
        if cut <= header {
            assert!(matches!(open(disk.folder()), Err(SessionError::NotASession { .. })), "cut at {cut}");
            continue;
        }
        let opened = open(disk.folder()).unwrap_or_else(|error| panic!("cut at {cut}: {error}"));
        let with = Disk::new();
        with.put(JOURNAL_FILE, &whole[..cut]);
        with.put(DIGEST_FILE, &digest);
        assert!(matches!(open(with.folder()), Err(SessionError::Broken { .. })), "cut at {cut}: the digest knows");
        assert_eq!(with.contents(JOURNAL_FILE).as_deref(), Some(&whole[..cut]), "cut at {cut}: it is left as it is");
        let torn = whole[cut - 1] != b'\n';
        assert_eq!(opened.repair.is_some(), torn, "cut at {cut}");
        assert_eq!(opened.entries.len(), lines + usize::from(torn), "cut at {cut}: every whole line is there");
        if let Some(repair) = opened.repair {
            assert!(repair.sentence().contains(&repair.file));
            assert!(whole[..cut].ends_with(&disk.contents(&repair.file).unwrap()), "what was cut off is kept");
        }
        drop(opened.journal);
        assert!(open(disk.folder()).unwrap().repair.is_none(), "cut at {cut}: mended");
    }
}
