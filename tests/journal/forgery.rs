//! Alterations of a finished session, and the findings of `verify`.

use crate::bench::*;
use crate::disk::Disk;
use crate::rebuilt::rebuilt;
use probeside::review::verify;
use probeside::session::{Clip, DIGEST_FILE, JOURNAL_FILE, Storage, sha256_hex};

/// The files of the session.
fn files() -> [String; 7] {
    let plain = |name: &str| name.to_owned();
    let [first, second, third] = [1, 2, 3].map(clip_file);
    let (procedure, bike) = (plain("procedure/no-spark.yaml"), plain("bike/borage.yaml"));
    [plain(JOURNAL_FILE), plain(DIGEST_FILE), first, second, third, procedure, bike]
}

fn lines(bytes: &[u8]) -> Vec<Vec<u8>> {
    bytes.split_inclusive(|b| *b == b'\n').map(<[u8]>::to_vec).collect()
}

/// Alters the session in one way chosen by the dice, and says how.
fn alter(disk: &Disk, dice: &mut fastrand::Rng) -> String {
    // Half of the attacks go at the journal.
    let files = files();
    let name = if dice.usize(..2) == 0 { JOURNAL_FILE } else { &files[dice.usize(..files.len())] };
    let mut bytes = disk.contents(name).unwrap();
    let at = dice.usize(..bytes.len());
    let mut rows = lines(&bytes);
    let row = dice.usize(..rows.len());
    let what = match dice.usize(..if name == JOURNAL_FILE { 9 } else { 5 }) {
        0 => {
            bytes[at] ^= 1 << dice.usize(..8);
            "a bit flipped"
        }
        1 => {
            bytes.remove(at);
            "a byte removed"
        }
        2 => {
            bytes.insert(at, b"0 \"}x\n"[dice.usize(..6)]);
            "a byte added"
        }
        3 => {
            bytes.truncate(at);
            "the end cut off"
        }
        4 => {
            disk.folder().remove(name).unwrap();
            return format!("{name} removed");
        }
        choice => {
            let what = match choice {
                5 => {
                    rows.remove(row);
                    "a line removed"
                }
                6 => {
                    rows.insert(dice.usize(..rows.len() + 1), rows[row].clone());
                    "a line doubled"
                }
                7 => {
                    let other = (row + 1 + dice.usize(..rows.len() - 1)) % rows.len();
                    rows.swap(row, other);
                    "two lines exchanged"
                }
                _ => {
                    let text = String::from_utf8(rows[row].clone()).unwrap();
                    rows[row] = text.replacen("10:14", "10:15", 1).into_bytes();
                    "a time changed"
                }
            };
            bytes = rows.concat();
            what
        }
    };
    disk.put(name, &bytes);
    format!("{what} in {name}, byte {at}, line {}", row + 1)
}

#[test]
fn random_alterations_are_all_found() {
    let alterations = times(400, 10_000);
    let (whole, _) = finished();
    let originals: Vec<Vec<u8>> = files().iter().map(|name| whole.contents(name).unwrap()).collect();
    assert!(verify(&mut whole.folder(), None).unwrap().sound);
    let mut tried = 0;
    for seed in 0..alterations {
        let disk = Disk::new();
        files().iter().zip(&originals).for_each(|(name, bytes)| disk.put(name, bytes));
        let what = alter(&disk, &mut fastrand::Rng::with_seed(seed));
        let changed = files().iter().zip(&originals).any(|(name, bytes)| disk.contents(name).as_ref() != Some(bytes));
        if !changed {
            continue;
        }
        tried += 1;
        // Without a journal there is an error instead of findings.
        if let Ok(found) = verify(&mut disk.folder(), None) {
            assert!(!found.sound, "seed {seed}: {what}");
        }
    }
    assert!(tried > alterations * 9 / 10);
    println!("{tried} alterations, all found");
}

#[test]
fn the_first_fault_names_its_line_or_file() {
    let (disk, _) = finished();
    let first = |disk: &Disk| verify(&mut disk.folder(), None).unwrap().faults[0].place.clone();
    let journal = disk.contents(JOURNAL_FILE).unwrap();
    let mut rows = lines(&journal);
    rows.remove(4);
    disk.put(JOURNAL_FILE, &rows.concat());
    assert_eq!(first(&disk), "journal.jsonl:5");
    disk.put(JOURNAL_FILE, &lines(&journal)[..8].concat());
    assert_eq!(first(&disk), "journal.jsonl:9", "a dropped tail");
    disk.put(JOURNAL_FILE, &journal);
    disk.put("clips/more.flac", b"RIFF");
    assert_eq!(first(&disk), "clips/more.flac", "an added clip");
    disk.folder().remove("clips/more.flac").unwrap();
    disk.folder().remove(&clip_file(2)).unwrap();
    assert_eq!(first(&disk), clip_file(2), "a removed clip");
}

/// "Never stored" and "removed" differ.
#[test]
fn a_clip_that_was_never_stored_is_no_fault() {
    let disk = Disk::new();
    let mut journal = begin(disk.folder()).unwrap();
    step(&mut journal, 0).unwrap();
    let announced = disk.operations() + 2;
    disk.fail(announced..announced + 1, crate::disk::Fault::Full);
    step(&mut journal, 2).unwrap_err();
    drop(journal);
    let found = verify(&mut disk.folder(), None).unwrap();
    assert!(found.sound, "{:?}", found.faults);
    assert!(found.notes.iter().any(|note| note.place == clip_file(1) && note.what.contains("never stored")));
}

/// A forger alters a line and makes every hash after it anew, `digest.json` too.
fn rebuild(disk: &Disk, altered: usize, from: &str, to: &str) -> bool {
    let journal = disk.contents(JOURNAL_FILE).unwrap();
    let mut lines = lines(&journal);
    let line = String::from_utf8(lines[altered].clone()).unwrap();
    lines[altered] = line.replace(from, to).into_bytes();
    let (journal, digest) = rebuilt(&lines.concat());
    disk.put(JOURNAL_FILE, &journal);
    disk.put(DIGEST_FILE, &serde_json::to_vec_pretty(&digest).unwrap());
    line.contains(from)
}

#[test]
fn rebuilt_chains_are_found_against_the_digest_only() {
    let (whole, _) = finished();
    let kept = verify(&mut whole.folder(), None).unwrap().digest;
    for form in [&kept.short, &kept.sha256] {
        assert!(verify(&mut whole.folder(), Some(form)).unwrap().sound);
    }
    let mut forged = 0;
    // Each line's hour put back by one, by two, ...
    for (row, hour) in (1..=times(1, 9)).flat_map(|hour| (0..STEPS as usize).map(move |row| (row, hour))) {
        let (disk, _) = finished();
        if !rebuild(&disk, row, "2026-11-25T10", &format!("2026-11-25T0{}", 10 - hour)) {
            continue;
        }
        forged += 1;
        let found = verify(&mut disk.folder(), None).unwrap();
        assert!(found.sound, "the chain alone cannot know: {:?}", found.faults);
        assert!(!verify(&mut disk.folder(), Some(&kept.short)).unwrap().sound);
        assert!(!verify(&mut disk.folder(), Some(&kept.sha256)).unwrap().sound);
    }
    assert!(forged > times(10, 100));
    println!("{forged} rebuilt chains, all found against the digest");
}

#[test]
fn a_clip_named_out_of_the_folder_is_not_read() {
    let disk = Disk::new();
    let mut journal = begin(disk.folder()).unwrap();
    let clip =
        Clip { id: "x".into(), file: "../../etc/passwd".into(), sha256: sha256_hex(b""), samples: 0, began_ms: None };
    journal.append(probeside::session::Kind::ClipStored, &clip, &now(1)).unwrap();
    assert!(journal.clip("../x", &[0.0], &now(2)).is_err());
    drop(journal);
    let found = verify(&mut disk.folder(), None).unwrap();
    assert!(
        found.faults.iter().any(|fault| fault.place == "../../etc/passwd" && fault.what.contains("cannot be read"))
    );
}
