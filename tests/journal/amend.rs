//! Additions to a finished session: remarks, and the removal of audio on request.

use crate::bench::*;
use crate::disk::{Disk, Keep};
use probeside::review::verify;
use probeside::session::{CLIPS, JOURNAL_FILE, Remark, SessionError, Storage, clip_sound};

fn clips(disk: &Disk) -> Vec<String> {
    disk.folder().list().unwrap().into_iter().filter(|name| name.starts_with(CLIPS)).collect()
}

#[test]
fn sound_is_removed_by_name_and_the_chain_still_holds() {
    let (disk, _) = finished();
    let kept = verify(&mut disk.folder(), None).unwrap().digest;
    let before = clips(&disk);
    assert_eq!(before.len(), 3);
    assert!(clip_sound(&disk.contents(&before[0]).unwrap(), usize::MAX).is_ok());
    let mut opened = open(disk.folder()).unwrap();
    let now = opened.clock.now();
    assert_eq!(opened.journal.forget_sound("Marta Quill", "she asked for it", &now).unwrap(), 3);
    opened.journal.finish(&now).unwrap();
    drop(opened);
    assert!(clips(&disk).is_empty());
    let found = verify(&mut disk.folder(), Some(&kept.short)).unwrap();
    assert!(found.sound, "{:?}", found.faults);
    let said = |text: &str| found.notes.iter().filter(|note| note.what.contains(text)).count();
    assert_eq!(said("removed by Marta Quill: she asked for it"), 3, "{:?}", found.notes);
    assert_eq!(said("lines came after it"), 1, "{:?}", found.notes);
}

/// The power goes at every operation of the removal: the record is whole, and the wish can be carried out again.
#[test]
fn a_removal_that_was_interrupted_is_done_again() {
    let (whole, operations) = {
        let (disk, before) = finished();
        let mut opened = open(disk.folder()).unwrap();
        opened.journal.forget_sound("M", "wish", &opened.clock.now()).unwrap();
        (before, disk.operations())
    };
    for at in whole..operations {
        let (disk, _) = finished();
        disk.cut_before(at, Keep::Nothing);
        let Ok(mut opened) = open(disk.folder()) else {
            disk.restart();
            assert!(verify(&mut disk.folder(), None).unwrap().sound, "cut at {at}");
            continue;
        };
        let now = opened.clock.now();
        let done = opened.journal.forget_sound("M", "wish", &now);
        drop(opened);
        disk.restart();
        let found = verify(&mut disk.folder(), None).unwrap();
        assert!(found.sound, "cut at {at} ({done:?}): {:?}", found.faults);
        let mut again = open(disk.folder()).unwrap();
        again.journal.forget_sound("M", "wish", &again.clock.now()).unwrap();
        assert!(clips(&disk).is_empty(), "cut at {at}");
    }
}

/// What was removed stays removed when the power goes right after it was said to be.
#[test]
fn a_removal_survives_a_power_cut() {
    for keep in std::iter::once(Keep::Nothing).chain((0..20).map(Keep::Some)) {
        let (disk, _) = finished();
        disk.restart();
        let mut opened = open(disk.folder()).unwrap();
        let now = opened.clock.now();
        assert_eq!(opened.journal.forget_sound("M", "wish", &now).unwrap(), 3);
        drop(opened);
        disk.cut_now(keep);
        disk.restart();
        assert_eq!(clips(&disk), [""; 0], "{keep:?}");
    }
}

/// The double does bring back what was taken away without more.
#[test]
fn a_name_that_was_only_taken_away_may_come_back() {
    let (disk, _) = finished();
    disk.restart();
    let all = clips(&disk);
    disk.folder().unlink(&all[0]).unwrap();
    assert_eq!(clips(&disk), all[1..]);
    disk.cut_now(Keep::Nothing);
    disk.restart();
    assert_eq!(clips(&disk), all);
}

/// A folder's own name is lost where only the names in it were synced.
#[test]
fn a_new_folder_is_kept_with_what_is_in_it() {
    let disk = Disk::new();
    let mut folder = disk.folder();
    for name in ["clips/a", "clips/deep/b"] {
        folder.create(name).unwrap();
        folder.sync(name).unwrap();
    }
    folder.sync_names("clips").unwrap();
    folder.sync_names("clips/deep").unwrap();
    disk.restart();
    assert!(clips(&disk).is_empty(), "the folder has no name");
    folder.write_whole("clips/deep/c", b"sound").unwrap();
    disk.restart();
    assert_eq!(clips(&disk), ["clips/deep/c"]);
}

#[test]
fn a_remark_is_a_new_line_and_one_about_no_line_is_refused() {
    let (disk, _) = finished();
    let before = disk.contents(JOURNAL_FILE).unwrap();
    let mut opened = open(disk.folder()).unwrap();
    let now = opened.clock.now();
    let remark = |about| Remark { by: "Ines Rook".into(), text: "meter checked".into(), about };
    let line = opened.journal.remark(&remark(Some(3)), &now).unwrap();
    assert!(matches!(opened.journal.remark(&remark(Some(line + 1)), &now), Err(SessionError::NoSuchLine { .. })));
    drop(opened);
    let after = disk.contents(JOURNAL_FILE).unwrap();
    assert!(after.starts_with(&before) && after.len() > before.len());
    assert!(String::from_utf8(after).unwrap().contains("Ines Rook"));
}
