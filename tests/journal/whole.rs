//! The whole session's audio: its pieces attacked, removed, and written as one file with its words.

use crate::bench::*;
use crate::disk::Disk;
use probeside::review::{gather, verify, whole};
use probeside::session::{CLIP_RATE, Kind, PIECE, Pieces, Spoken, Storage, clip_sound};

/// When the walk was taken up again, milliseconds.
const DAY_MS: u64 = 86_400_000;

fn said(text: &str, began_ms: u64) -> Spoken {
    Spoken { text: text.into(), began_ms, ended_ms: began_ms + 800, ..said_back() }
}

/// A session whose microphone heard a tone of rising loudness for 70 s from its second second on, was away for ten seconds, then heard half
/// a minute more; a word at 40 s, one while it was away, one at 90 s, and one the next day.
fn heard() -> Disk {
    let disk = Disk::new();
    let mut journal = begin(disk.folder()).unwrap();
    let mut pieces = Pieces::after(0, true);
    let mut put = |journal: &mut probeside::session::Journal, from_ms: u64, seconds: u64| {
        let mut whole = Vec::new();
        for part in 0..seconds * 10 {
            let loud = (part % 90 + 5) as f32 / 100.0;
            whole.extend(pieces.push(&[loud; CLIP_RATE as usize / 10], from_ms + (part + 1) * 100));
        }
        whole.extend(pieces.close());
        for piece in whole {
            journal.piece(&piece, &now(1)).unwrap();
        }
    };
    put(&mut journal, 2_000, 70);
    put(&mut journal, 82_000, 30);
    put(&mut journal, DAY_MS, 1);
    for (text, at) in [("first", 40_000), ("nobody heard it", 75_000), ("second", 90_000), ("next day", DAY_MS + 200)] {
        journal.append(Kind::Said, &said(text, at), &now(1)).unwrap();
    }
    journal.finish(&now(2)).unwrap();
    disk
}

fn files(disk: &Disk) -> Vec<String> {
    disk.folder().list().unwrap().into_iter().filter(|name| name.starts_with("clips/whole-")).collect()
}

#[test]
fn pieces_are_half_a_minute_and_stand_in_one_file_where_they_were_heard() {
    let disk = heard();
    let names = ["000002000", "000032000", "000062000", "000082000", "086400000"];
    assert_eq!(files(&disk), names.map(|ms| format!("clips/whole-{ms}.flac")));
    let review = gather(&mut disk.folder()).unwrap();
    let one = whole(&review, &mut disk.folder()).unwrap();
    assert!(one.silent.is_empty() && one.pieces == 5);
    assert!(probeside::review::SOUND.is(&one.sound), "known again as a file of this program's");
    assert!(!probeside::review::SOUND.is(&disk.contents("clips/whole-000002000.flac").unwrap()));
    let sound = clip_sound(&one.sound, usize::MAX).unwrap();
    // 2 s of silence, 70 s, 10 s of silence, 30 s, a minute in the place of a day, 1 s.
    assert_eq!(sound.len(), 173 * CLIP_RATE as usize);
    let at = |tenths: usize| (sound[tenths * 1_600 + 800] * 100.0).round() as i32;
    assert_eq!([at(19), at(20), at(21), at(719), at(720), at(819), at(820), at(821)], [0, 5, 6, 74, 0, 0, 5, 6]);
    assert_eq!([at(1119), at(1120), at(1719), at(1720)], [34, 0, 0, 5]);
    let cue = |from: &str, to: &str, text: &str| format!("\n00:{from} --> 00:{to}\n<v Probeside>{text}</v>\n");
    let cues = [
        cue("00:40.000", "00:40.800", "first"),
        cue("01:15.000", "01:15.800", "nobody heard it"),
        cue("01:30.000", "01:30.800", "second"),
        cue("02:52.200", "02:53.000", "next day"),
    ];
    assert_eq!(one.vtt, format!("WEBVTT\n{}", cues.concat()));
}

#[test]
fn an_altered_or_removed_piece_is_found_and_is_silence() {
    let disk = heard();
    let file = "clips/whole-000032000.flac";
    let mut bytes = disk.contents(file).unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    disk.put(file, &bytes);
    assert_eq!(verify(&mut disk.folder(), None).unwrap().faults[0].place, file);
    let review = gather(&mut disk.folder()).unwrap();
    let one = whole(&review, &mut disk.folder()).unwrap();
    assert!(one.silent.len() == 1 && one.silent[0].contains("altered"), "{:?}", one.silent);
    let sound = clip_sound(&one.sound, usize::MAX).unwrap();
    let second = 32 * CLIP_RATE as usize;
    assert!(sound[second..second + PIECE].iter().all(|s| *s == 0.0) && sound[second + PIECE] != 0.0);
    disk.folder().remove(file).unwrap();
    let found = verify(&mut disk.folder(), None).unwrap();
    assert!(found.faults[0].place == file && found.faults[0].what.contains("removed"), "{:?}", found.faults);
}

#[test]
fn a_persons_wish_takes_the_pieces_too_and_the_chain_still_holds() {
    let disk = heard();
    let mut opened = open(disk.folder()).unwrap();
    let now = opened.clock.now();
    assert_eq!(opened.journal.forget_sound("Marta Quill", "she asked for it", &now).unwrap(), 5);
    opened.journal.finish(&now).unwrap();
    drop(opened);
    assert!(files(&disk).is_empty());
    let found = verify(&mut disk.folder(), None).unwrap();
    assert!(found.sound, "{:?}", found.faults);
    let review = gather(&mut disk.folder()).unwrap();
    assert!(whole(&review, &mut disk.folder()).unwrap_err().contains("not there"));
}
