//! The fuzz targets, one function each: arbitrary bytes go into one of the library's entry points, and the assertions hold for every input.
//! `tests/hostile.rs` runs the same functions on every input found so far, as part of the ordinary test run.

#[path = "../support/disk.rs"]
mod disk;
#[path = "../support/rebuilt.rs"]
pub mod rebuilt;

use disk::Disk;
use probeside::bike::EnglishWords;
use probeside::commands::check::{CheckArgs, Spoken, run};
use probeside::hear::{Recogniser, Vosk, read_wav};
use probeside::phrase::{Answer, Grammar, NumberSlot, Phrase, Vocabulary};
use probeside::review::{csv, customer, gather, page, text, verify, vtt};
use probeside::session::{self, JOURNAL_FILE, Journal};
use probeside::shop::{Archive, Mode, PreparedSession, Put, Query, Shelf, compare};
use probeside::units::{Quantity, Unit};
use rebuilt::rebuilt;
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::path::Path;

/// A target: its name, and its door.
pub type Door = (&'static str, fn(&[u8]));

/// Every target.
pub const DOORS: [Door; 6] =
    [("journal", journal), ("yaml", yaml), ("wav", wav), ("flac", flac), ("vosk", vosk), ("archive", archive)];

/// A journal of lines: as they are, or, where the first byte is `#`, with numbers and hashes made right, so that what stands in them is
/// reached behind the chain.
fn lines(bytes: &[u8]) -> Vec<u8> {
    let Some(rest) = bytes.strip_prefix(b"#") else { return bytes.to_vec() };
    let lines = rest.split(|b| *b == b'\n').filter(|line| !line.is_empty());
    rebuilt(&lines.map(|line| [line, b"\n"].concat()).collect::<Vec<_>>().concat()).0
}

/// A journal: shown in every form, verified, opened to be gone on with.
pub fn journal(bytes: &[u8]) {
    let disk = Disk::new();
    disk.put(JOURNAL_FILE, &lines(bytes));
    if let Ok(review) = gather(&mut disk.folder()) {
        let shown = text(&review);
        assert!(shown.lines().all(|line| line.chars().count() <= 80), "a line is too long");
        assert!(!shown.chars().any(|c| c.is_control() && c != '\n'), "a control character is shown");
        assert!(csv(&review).ends_with("\r\n") && vtt(&review).starts_with("WEBVTT\n"));
        for page in [page(&review, &mut disk.folder()), customer(&review)] {
            let page = page.expect("a page is made of any journal");
            assert!(!page.contains("<script") && !page.contains("<img"), "markup came through");
        }
        serde_json::to_string(&review).expect("it is JSON");
    }
    let sound = verify(&mut disk.folder(), None).is_ok_and(|found| found.sound);
    match Journal::open(Box::new(disk.folder())) {
        Ok(opened) => assert!(!opened.entries.is_empty()),
        Err(error) => assert!(!sound && !error.to_string().is_empty(), "what verifies can be opened: {error}"),
    }
}

thread_local! {
    static FOLDER: tempfile::TempDir = tempfile::tempdir_in(if Path::new("/dev/shm").is_dir() { "/dev/shm" } else { "/tmp" }).expect("a folder");
}

/// A procedure and, after a line `%%%%`, a bike, as `probeside check` takes them: whatever they say, findings with their places.
pub fn yaml(bytes: &[u8]) {
    let mark = b"\n%%%%\n";
    let at = bytes.windows(mark.len()).position(|window| window == mark);
    let (procedure, bike) = at.map_or((bytes, None), |at| (&bytes[..at], Some(&bytes[at + mark.len()..])));
    FOLDER.with(|folder| {
        let [procedure_file, bike_file] = ["small.yaml", "bike.yaml"].map(|name| folder.path().join(name));
        std::fs::write(&procedure_file, procedure).expect("written");
        if let Some(bike) = bike {
            std::fs::write(&bike_file, bike).expect("written");
        }
        let bikes = Vec::from_iter(bike.map(|_| bike_file));
        let paths = [vec![procedure_file], bikes.clone()].concat();
        let vocabulary = |text: &str, file: &str| Vocabulary::from_yaml(text, file).err().unwrap_or_default();
        let spoken = Spoken { reserved: Vec::new(), words: &EnglishWords, vocabulary: &vocabulary };
        let mut out = Vec::new();
        let code = run(&CheckArgs { paths, bike: bikes, json: false }, &spoken, &mut out).expect("written");
        let told = String::from_utf8(out).expect("text");
        assert_eq!(code == 1, told.contains(": error ["), "{told}");
    });
}

/// A WAV file.
pub fn wav(bytes: &[u8]) {
    FOLDER.with(|folder| {
        let file = folder.path().join("x.wav");
        std::fs::write(&file, bytes).expect("written");
        match read_wav(&file) {
            Ok(sound) => assert!(sound.iter().all(|sample| sample.is_finite() && sample.abs() <= 2.0)),
            Err(why) => assert!(why.to_string().contains("x.wav")),
        }
    });
}

/// A clip.
pub fn flac(bytes: &[u8]) {
    const MOST: usize = 1 << 20;
    match session::clip_sound(bytes, MOST) {
        Ok(sound) => assert!(sound.len() <= MOST && sound.iter().all(|sample| sample.is_finite())),
        Err(why) => assert!(!why.is_empty()),
    }
}

/// What the second recogniser's program says: its lines, by a program that says nothing else.
pub fn vosk(bytes: &[u8]) {
    FOLDER.with(|folder| {
        let at = |name: &str| folder.path().join(name);
        if !at("says").exists() {
            std::fs::create_dir_all(at("vosk")).expect("a folder");
            std::fs::create_dir_all(at("model")).expect("a folder");
            std::fs::write(at("vosk/libvosk.so"), "none").expect("written");
            std::fs::write(at("says"), "#!/bin/sh\ncat \"$2/lines\"\nexec timeout 0.2 cat >/dev/null\n")
                .expect("written");
            std::fs::set_permissions(at("says"), std::os::unix::fs::PermissionsExt::from_mode(0o755))
                .expect("made to run");
            // Nothing else of this process reads its environment meanwhile: a target has one thread, the test opens its doors in a child.
            unsafe {
                std::env::set_var("PROBESIDE_MODELS", folder.path());
                std::env::set_var("PROBESIDE_VOSK", at("says"));
            }
        }
        std::fs::write(at("model/lines"), bytes).expect("written");
        let mut grammar = Grammar::default();
        grammar.phrases.push(Phrase { answer: Answer::Choice("lit".into()), words: "light on".into() });
        let (quantity, unit) = (Quantity::Voltage, Unit::Volt);
        grammar.number = Some(NumberSlot { quantity, unit, low: 0.0, high: 3.0, resolution: 1.0 });
        let heard = Vosk::open(Some(&at("model")), "en").and_then(|mut vosk| vosk.hear(&[0.1; 160], &grammar));
        match heard {
            Ok(heard) => {
                assert!((0.0..=1.0).contains(&heard.stranger), "a stranger by {}", heard.stranger);
                assert!(heard.best.iter().all(|best| (0.0..1.0).contains(&best.probability)), "{:?}", heard.best);
            }
            Err(why) => assert!(!why.to_string().is_empty()),
        }
    });
}

thread_local! {
    static ARCHIVE: RefCell<Option<(tokio::runtime::Runtime, Archive)>> = const { RefCell::new(None) };
}

/// A session of a stranger's, put into an archive, found, shown and compared.
pub fn archive(bytes: &[u8]) {
    let files = BTreeMap::from([(JOURNAL_FILE.to_owned(), lines(bytes))]);
    let prepared = match PreparedSession::from(&mut Shelf::of("there", files), true, "2026-11-25T10:00:00Z") {
        Ok(prepared) => prepared,
        Err(why) => return assert!(!why.to_string().is_empty()),
    };
    ARCHIVE.with_borrow_mut(|kept| {
        let (runtime, archive) = kept.get_or_insert_with(|| {
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("an event loop");
            let at = FOLDER.with(|folder| folder.path().join("archive.db").display().to_string());
            let archive = runtime.block_on(Archive::open(&at, Mode::Write)).expect("an archive");
            (runtime, archive)
        });
        runtime.block_on(async {
            match archive.put(&prepared, "there").await {
                Ok(Put::Added | Put::Replaced | Put::Unchanged | Put::Older) => {}
                Err(why) => return assert!(!why.to_string().is_empty()),
            }
            let mut kept = archive.kept(prepared.row().mark).await.expect("what was put is kept");
            gather(&mut kept.shelf).expect("what was put can be read");
            assert!(!archive.find(&Query::default()).await.expect("found").sessions.is_empty());
            assert!(!compare(archive.visits(&prepared.row().bike).await.expect("visits")).visits.is_empty());
        });
    });
}
