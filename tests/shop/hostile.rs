//! Sessions from strangers: refused with a sentence, or stored and shown harmlessly. Nothing outside is read, followed or written.

use super::long::{self, EVIL};
use super::sessions::{Made, copied, forged, header, record};
use super::{suite, wait};
use probeside::review::{Around, gather, page_in};
use probeside::session::{Folder, Header, Record, Storage, StoredCopy, sha256_hex};
use probeside::shop::{Archive, Mode, PreparedSession, Query, Shelf};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

const NOW: &str = "2026-11-25T12:00:00.000+01:00";
const WALL: &str = "2026-11-25T10:00:00.000+01:00";

/// Every file and folder under a folder, links not followed, with what is in it.
fn picture(of: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut seen = BTreeMap::new();
    for entry in std::fs::read_dir(of).unwrap() {
        let path = entry.unwrap().path();
        let about = std::fs::symlink_metadata(&path).unwrap();
        if about.is_dir() {
            seen.extend(picture(&path));
        } else if about.is_file() {
            seen.insert(path.clone(), std::fs::read(&path).unwrap());
        }
        seen.entry(path).or_default();
    }
    seen
}

fn take(folder: &Path, unverified: bool) -> Result<PreparedSession, String> {
    PreparedSession::from(&mut Shelf::in_folder(folder), unverified, NOW).map_err(|error| error.to_string())
}

fn report(shelf: &mut Shelf) -> String {
    let review = gather(shelf).unwrap();
    page_in(&review, shelf, Around { silent: true, ..Around::default() }).unwrap()
}

/// Puts a stranger's values in the place of what a walk wrote.
fn alter(body: &mut Value, altered: Value) {
    let (Value::Object(body), Value::Object(altered)) = (body, altered) else { panic!("objects") };
    body.extend(altered);
}

/// A reading as a stranger may write it.
fn reading(name: &str, value: Value) -> (&'static str, Value) {
    let mut body = record(|record| matches!(record, Record::Read { .. }));
    body["reading"]["value"] = value;
    let altered = json!({"step": EVIL, "round": EVIL, "number": u32::MAX, "name": name, "band": EVIL, "verdict": "bad",
        "low": -1e308, "high": 1e308, "source": EVIL, "words": EVIL, "confidence": 1e300, "confirmed": true,
        "amends": u32::MAX, "clip": "../../etc/passwd"});
    alter(&mut body, altered);
    ("record", body)
}

/// Strangers' sessions that the chain has no objection to, each with what they try.
fn forgeries(into: &Path) -> Vec<PathBuf> {
    let secret = std::fs::read("/etc/hostname").unwrap_or_default();
    let copy = |name: &str, sha256: String, bytes| StoredCopy { name: name.into(), sha256, bytes };
    let climbing = vec![
        copy("../../../etc/hostname", sha256_hex(&secret), 1),
        copy("/etc/hostname", sha256_hex(&secret), u64::MAX),
        copy("procedure/../../x", String::new(), 0),
    ];
    let clip = json!({"id": "../../etc/passwd", "file": "clips/../../../etc/hostname", "sha256": sha256_hex(&secret), "samples": u64::MAX});
    let note = json!({"by": EVIL, "text": EVIL.repeat(1000), "about": u64::MAX});
    let odd = json!({"record": "no-such-record", "deep": EVIL});
    let mut concluded = record(|record| matches!(record, Record::Concluded { .. }));
    let altered = json!({"procedure": EVIL, "conclusion": EVIL, "cause": EVIL, "remedy": EVIL, "rules_out": [EVIL],
        "not_tested": [EVIL], "recheck": [EVIL], "put_back": [EVIL]});
    alter(&mut concluded, altered);
    let all: Vec<(Header, Vec<(&str, Value)>)> = vec![
        (header(EVIL, climbing), vec![("clip", clip.clone()), ("clip-stored", clip)]),
        (
            header("\u{0}\u{202e}Borage\u{1b}[2J", Vec::new()),
            vec![reading("a_\u{0}b", json!(1e308)), reading("a_\u{0}b", json!(-1e308))],
        ),
        (
            header("Borage", Vec::new()),
            vec![("note", note), ("record", odd), ("record", concluded), ("strange", json!(EVIL)), ("end", json!({}))],
        ),
        (header(&"Ä".repeat(100_000), Vec::new()), vec![reading(&"n".repeat(100_000), json!(0))]),
    ];
    all.into_iter()
        .enumerate()
        .map(|(at, (header, entries))| {
            let folder = into.join(format!("forged-{at}"));
            forged(&folder, header, &entries, WALL);
            folder
        })
        .collect()
}

/// Whatever the chain of it says, a stranger's session does no harm in this archive.
pub fn on(at: &str) {
    let around = tempfile::tempdir().unwrap();
    let into = around.path().join("deep/inside");
    std::fs::create_dir_all(&into).unwrap();
    let mut folders = forgeries(&into);
    let whole = into.join("long");
    long::write(Folder::create(&whole).unwrap(), 20, 2);
    folders.push(whole);
    let before = picture(around.path());
    wait(async {
        let archive = Archive::open(at, Mode::Write).await.unwrap();
        for folder in &folders {
            let name = folder.display().to_string();
            let prepared = take(folder, true).unwrap_or_else(|error| panic!("{name}: {error}"));
            archive.put(&prepared, &name).await.unwrap_or_else(|error| panic!("{name}: {error}"));
            let mut kept = archive.kept(prepared.row().mark).await.unwrap();
            let page = report(&mut kept.shelf);
            assert!(!page.contains("<script") && !page.contains("<img") && !page.contains("<audio"), "{name}");
            let compared = probeside::shop::compare(archive.visits(&prepared.row().bike).await.unwrap());
            assert!(!compared.visits.is_empty(), "{name}");
        }
        let found = archive.find(&Query::default()).await.unwrap().sessions;
        assert_eq!(found.len(), folders.len());
        for session in found {
            let texts = serde_json::to_string(&session).unwrap();
            assert!(!texts.contains("\\u00") && !texts.contains('\u{202e}'), "{texts:.200}");
            let mut kept = archive.kept(session.mark).await.unwrap();
            let (parts, names): (Vec<String>, Vec<String>) =
                kept.shelf.list().unwrap().into_iter().partition(|name| name.starts_with("parts/"));
            let wanted: &[&str] = match session.id.as_str() {
                "forged" => &["journal.jsonl"],
                _ => &["bike/bike.yaml", "journal.jsonl", "procedure/feed-round.yaml", "vocabulary/words.yaml"],
            };
            assert_eq!(names, wanted, "neither a file from outside nor a voice came in");
            let of_the_bike = if session.id == "forged" { Vec::new() } else { parts_beside(folders.last().unwrap()) };
            assert_eq!(parts, of_the_bike, "the kinds of the bike's parts, and no other file");
        }
        altered(&archive, &into).await;
        archive.close().await;
    });
    let mut after = picture(around.path());
    after.retain(|path, _| !path.starts_with(into.join("altered")));
    assert!(after == before, "nothing in or around the sessions was written");
}

/// The copies of the kinds of part in a session's folder.
fn parts_beside(folder: &Path) -> Vec<String> {
    let mut all = Folder::at(folder).list().unwrap();
    all.retain(|name| name.starts_with("parts/"));
    all
}

/// A good session with random bytes of its files altered is refused or kept, never a panic, and never kept as verified.
async fn altered(archive: &Archive, into: &Path) {
    let seed = std::env::var("PROBESIDE_SEED").ok().and_then(|s| s.parse().ok()).unwrap_or_else(|| fastrand::u64(..));
    eprintln!("PROBESIDE_SEED={seed}");
    let mut dice = fastrand::Rng::with_seed(seed);
    let work = into.join("altered");
    std::fs::create_dir_all(&work).unwrap();
    let good = work.join("good");
    long::write(Folder::create(&good).unwrap(), 8, 1);
    let mut there = Folder::at(&good).list().unwrap().into_iter();
    let clip = there.find(|name| name.starts_with("clips/")).expect("one answer has sound");
    let files = ["journal.jsonl", "digest.json", "procedure/feed-round.yaml", &clip];
    for n in 0..24 {
        let folder = copied(&good, &work.join(format!("n{n}")));
        let path = folder.join(files[if n % 4 == 0 { dice.usize(..4) } else { 0 }]);
        let mut bytes = std::fs::read(&path).unwrap();
        for _ in 0..dice.usize(1..6) {
            let at = dice.usize(..bytes.len());
            match dice.u8(..4) {
                0 => bytes[at] ^= 1 << dice.u8(..8),
                1 => bytes[at] = b"{}[]\",:0e9\n\\\0"[dice.usize(..13)],
                2 => drop(bytes.drain(at..(at + dice.usize(..300)).min(bytes.len()))),
                _ => {
                    let piece = bytes[at..(at + dice.usize(..300)).min(bytes.len())].to_vec();
                    bytes.splice(at..at, piece);
                }
            }
            if bytes.is_empty() {
                break;
            }
        }
        let same = std::fs::read(&path).unwrap() == bytes;
        std::fs::write(&path, &bytes).unwrap();
        assert_eq!(take(&folder, false).is_ok(), same, "{}", path.display());
        if let Ok(prepared) = take(&folder, true)
            && archive.put(&prepared, "altered").await.is_ok()
        {
            let mut kept = archive.kept(prepared.row().mark).await.unwrap();
            assert!(!report(&mut kept.shelf).contains("<script"));
        }
        std::fs::remove_dir_all(&folder).unwrap();
    }
}

/// Folders that are no session, or not only one.
#[test]
fn folders_that_are_none_are_refused() {
    let around = tempfile::tempdir().unwrap();
    let good = Made::default().write(around.path(), "good");
    let at = |name: &str| around.path().join(name);
    let link = |from: &Path, to: &Path| std::os::unix::fs::symlink(from, to).unwrap();

    std::fs::create_dir(at("linked")).unwrap();
    link(&good.join("journal.jsonl"), &at("linked/journal.jsonl"));
    std::fs::create_dir(at("passwd")).unwrap();
    link(Path::new("/etc/passwd"), &at("passwd/journal.jsonl"));
    std::fs::create_dir(at("fifo")).unwrap();
    assert!(Command::new("mkfifo").arg(at("fifo/journal.jsonl")).status().unwrap().success());
    std::fs::create_dir_all(at("folder/journal.jsonl")).unwrap();
    std::fs::create_dir(at("empty")).unwrap();
    std::fs::write(at("zip"), b"PK\x03\x04 a packed session").unwrap();
    std::fs::create_dir(at("large")).unwrap();
    std::fs::File::create(at("large/journal.jsonl")).unwrap().set_len(1 << 40).unwrap();
    for (name, why) in [
        ("linked", "it is a link"),
        ("passwd", "it is a link"),
        ("fifo", "it is a pipe"),
        ("folder", "it is a folder"),
        ("empty", "is not a session"),
        ("zip", "is not a session"),
        ("large", "larger than"),
        ("absent", "is not a session"),
    ] {
        for unverified in [false, true] {
            let error = take(&at(name), unverified).unwrap_err();
            assert!(error.contains(why), "{name}: {error}");
        }
    }

    // A link in the place of a copy, of a clip, of a folder: a fault, and not followed.
    for (name, place) in [("copy", "procedure/feed-round.yaml"), ("clips", "clips"), ("digest", "digest.json")] {
        let folder = copied(&good, &at(name));
        let _ = std::fs::remove_file(folder.join(place));
        link(Path::new("/etc/passwd"), &folder.join(place));
        let error = take(&folder, false).unwrap_err();
        assert!(error.contains(place), "{name}: {error}");
        let prepared = take(&folder, true).unwrap();
        assert!(prepared.row().bike.contains("Borage"));
    }
    suite::prepared(&good);
}

/// FLAC that is none, with its right hash: kept as what it is, bytes that nobody decodes here.
#[test]
fn broken_sound_is_no_ones_concern() {
    let around = tempfile::tempdir().unwrap();
    let folder = around.path().join("broken");
    let bytes = b"fLaC and then nothing of the kind";
    let clip = json!({"id": "a", "file": "clips/a.flac", "sha256": sha256_hex(bytes), "samples": 1});
    forged(&folder, header("Borage", Vec::new()), &[("clip", clip.clone()), ("clip-stored", clip)], WALL);
    std::fs::create_dir(folder.join("clips")).unwrap();
    std::fs::write(folder.join("clips/a.flac"), bytes).unwrap();
    assert!(take(&folder, false).unwrap().row().verified);
    std::fs::write(folder.join("clips/a.flac"), b"other").unwrap();
    let error = take(&folder, false).unwrap_err();
    assert!(error.contains("clips/a.flac") && error.contains("altered"), "{error}");
}
