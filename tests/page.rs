//! The review's page: its content, and how a real browser handles it.

#[path = "page/browser.rs"]
mod browser;
#[path = "support/disk.rs"]
mod disk;
#[path = "support/fits.rs"]
mod fits;
#[path = "page/palette.rs"]
mod palette;
#[path = "page/session.rs"]
mod session;
#[path = "support/stage.rs"]
#[allow(dead_code)]
mod stage;
#[path = "support/walked.rs"]
mod walked;

use disk::Disk;
use fits::fits;
use probeside::review::{customer, gather};
use probeside::session::{JobDetails, Record, Storage};
use serde_json::Value;
use session::{CORRECTED, in_memory, page};
use stage::{Handed, JournalLine};
use std::path::{Path, PathBuf};
use std::process::Command;
use walked::Walk;

/// A missing program fails the test in the set-up's own run, and otherwise skips it.
fn missing(what: &str) {
    assert!(std::env::var_os("PROBESIDE_MUST").is_none(), "{what} is missing; models/setup test installs it");
    eprintln!("skipped: {what} is missing; models/setup test installs it");
}

fn there(program: &str) -> bool {
    Command::new(program).arg("-v").output().is_ok()
}

/// Every place in a page that a browser would load or follow.
fn leads(page: &str) -> Vec<&str> {
    let of = |name: &'static str| page.match_indices(name).map(move |(at, _)| &page[at + name.len()..]);
    [" src=\"", " href=\"", " action=\"", " data=\"", " srcset=\"", "url("]
        .into_iter()
        .flat_map(of)
        .map(|rest| rest.split('"').next().unwrap_or_default())
        .collect()
}

#[test]
fn a_strangers_words_stay_words() {
    let disk = in_memory(10, 2);
    let review = gather(&mut disk.folder()).unwrap();
    for page in [page(&disk), customer(&review).unwrap()] {
        assert!(!page.contains("<script") && !page.contains("<img"), "markup of the journal came through");
        assert!(page.contains("&lt;script&gt;") && page.contains("{{ 7*7 }}") && !page.contains('\u{202e}'));
        assert!(page.contains("default-src &#x27;none&#x27;; style-src &#x27;sha256-"));
        for lead in leads(&page) {
            let own = lead.starts_with('#') || lead.starts_with("data:audio/flac;base64,");
            assert!(own, "the page leads to {lead:.60}");
        }
    }
}

#[test]
fn what_a_reviewer_asks_for_is_there() {
    let page = page(&in_memory(10, 2));
    let order: Vec<usize> = [
        "id=\"found\"",
        "id=\"look\"",
        "id=\"way\"",
        "id=\"suspects\"",
        "id=\"feed\"",
        "id=\"readings\"",
        "id=\"checks\"",
        "id=\"cautions\"",
    ]
    .iter()
    .map(|part| page.find(part).unwrap_or_else(|| panic!("{part} is missing")))
    .collect();
    assert!(order.is_sorted(), "the conclusion comes first");
    for words in [
        "The key switch loses 0.7 volts",
        "Points drop, ground side, spark.",
        "Points gap, left side.",
        "Left out",
        "Corrects the value before it with this number.",
        "the next value with this number holds",
        "70.0 % sure, asked back and agreed",
        "its sound was not kept",
        "Acknowledged by Marta Quill",
        "Source of the limits: common practice, no source",
        "0.7 V lost from key.supply to key.load",
        "concludes",
        "7 after the first answer that tells something, 2 after the last of ",
        "the key switch connects badly (90 %)",
        "Does not fit together.",
        "Not ruled out:</strong> The kill switch connects badly",
    ] {
        assert!(page.contains(words), "{words}");
    }
    assert_eq!(page.matches("<audio").count(), 2);
}

/// The text of a page, without tags and attributes.
fn words(page: &str) -> String {
    page.split('<').map(|part| part.split_once('>').map_or(part, |(_, text)| text)).collect::<Vec<_>>().join(" ")
}

#[test]
fn steps_are_called_by_their_question_and_ids_are_for_machines() {
    let disk = in_memory(10, 2);
    let page = page(&disk);
    let read = words(&page);
    for title in [
        "Across it, way in to way out. What does the meter read? (key)",
        "Can you smell petrol?",
        "Is the gap of the left points right?",
    ] {
        assert!(read.contains(title), "{title}");
    }
    assert!(page.contains("<article id=\"check-2\" data-step=\"drop-part\""));
    for id in ["drop-part", "points-gap", "vapour ("] {
        assert!(!read.contains(id), "{id} is read:\n{read}");
    }
}

/// If a record lacks the question, the step's words name the check.
#[test]
fn a_check_whose_question_is_missing_is_called_by_its_step() {
    let mut walk = Walk::begin(JobDetails::default());
    walk.say_all(&["measure the battery", "twelve point six", "the points", "have not got one", "they never close"]);
    let is_question =
        |line: &JournalLine| matches!(&line.what, Handed::Record(Record::Entered { step, .. }) if step == "points-gap");
    let lines = walk.stage.lines.as_mut().unwrap();
    let all = lines.len();
    lines.retain(|line| !is_question(line));
    assert_eq!(lines.len(), all - 1);
    let disk = Disk::new();
    walk.finish(disk.folder());
    let page = page(&disk);
    let read = words(&page);
    assert!(read.contains("points gap (left)") && !read.contains("points-gap"), "{read}");
}

#[test]
fn an_altered_clip_is_not_played() {
    let disk = in_memory(3, 2);
    let mut folder = disk.folder();
    let clip = folder.list().unwrap().into_iter().find(|name| name.starts_with("clips/")).unwrap();
    let mut sound = folder.read(&clip, 1 << 20).unwrap();
    *sound.last_mut().unwrap() ^= 1;
    folder.create(&clip).unwrap();
    folder.append(&clip, &sound).unwrap();
    folder.create("procedure/feed-round.yaml").unwrap();
    let page = page(&disk);
    assert_eq!(page.matches("<audio").count(), 1);
    assert!(page.contains("its sound was altered after the walk"));
    assert!(!page.contains("not answered"), "an altered copy of the procedure is not drawn from");
}

#[test]
fn the_customers_sheet_has_no_voice() {
    let disk = in_memory(10, 2);
    let sheet = customer(&gather(&mut disk.folder()).unwrap()).unwrap();
    assert!(!sheet.contains("<audio") && !sheet.contains("point oh five"));
    for words in [
        "Found",
        "Done",
        "Before and after",
        "Not tested",
        "Watch next",
        "part drop, key",
        "Drop from battery to coil feed.",
    ] {
        assert!(sheet.contains(words), "{words}");
    }
}

#[test]
fn json_is_as_published() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures/schema/review.json");
    let schema: Value = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
    let review = gather(&mut in_memory(10, 2).folder()).unwrap();
    let mut faults = Vec::new();
    fits(&serde_json::to_value(&review).unwrap(), &schema, &schema, "review", &mut faults);
    assert!(faults.is_empty(), "{}", faults.join("\n"));
    fits(&serde_json::json!({"schema": "x", "version": 1, "more": 1}), &schema, &schema, "review", &mut faults);
    assert!(faults.len() > 10, "the check can fail");
}

fn written(page: &str) -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("page.html");
    std::fs::write(&file, page).unwrap();
    (folder, file)
}

/// With its policy in force and without a network: the style applies, a clip plays, none of the stranger's content runs, and nothing is
/// refused.
#[test]
fn a_browser_shows_and_plays_it() {
    if browser::program().is_none() {
        return missing("chromium");
    }
    let script = "addEventListener('load', async () => {
        const style = getComputedStyle(document.querySelector('.cause')).fontWeight;
        const chart = getComputedStyle(document.querySelector('.chart .end')).stroke;
        const sound = document.querySelector('audio');
        sound.muted = true;
        let played = 0;
        try { await sound.play(); await new Promise(r => sound.addEventListener('ended', r)); played = sound.currentTime; } catch (e) { played = String(e); }
        console.log('PROBESIDE-REPORT ' + JSON.stringify({style, chart, played, title: document.title, wide: document.documentElement.scrollWidth <= innerWidth}));
    });";
    let (folder, file) = written(&browser::with_script(&page(&in_memory(10, 2)), script, false));
    let (report, log) = browser::report(&file, &folder.path().join("home"));
    let told: serde_json::Value = serde_json::from_str(&report).unwrap_or_else(|_| panic!("{report}"));
    assert_eq!(told["style"], "700", "the page's style was refused");
    assert_ne!(told["chart"], "none");
    assert!(told["played"].as_f64().is_some_and(|s| s > 0.4), "the clip of half a second did not play: {report}");
    assert!(told["title"].as_str().is_some_and(|title| title != "run"));
    assert_eq!(told["wide"], true, "the page is wider than the window");
    let refused: Vec<_> = log.iter().filter(|line| line.contains("Refused") || line.contains("violates")).collect();
    assert!(refused.is_empty(), "{refused:?}");
}

/// axe-core's rules (https://github.com/dequelabs/axe-core, 4.11), in the light and the dark palette.
#[test]
fn a_browser_finds_it_accessible() {
    let axe = Path::new(env!("CARGO_MANIFEST_DIR")).join("models/cache/axe-core/axe.min.js");
    let (Some(_), Ok(axe)) = (browser::program(), std::fs::read_to_string(axe)) else {
        return missing("chromium or axe-core");
    };
    let disk = in_memory(60, 2);
    let sheet = customer(&gather(&mut disk.folder()).unwrap()).unwrap();
    let page = page(&disk);
    browser::is_accessible("page", &page, &axe);
    browser::is_accessible("customer", &sheet, &axe);
}

/// In print, every row of the table of readings stays on one page.
#[test]
fn no_row_is_cut_on_paper() {
    const READINGS: u32 = 120;
    if browser::program().is_none() || !there("pdftotext") {
        return missing("chromium or pdftotext");
    }
    let page = page(&in_memory(READINGS, 0));
    for paper in ["A4", "letter"] {
        let (folder, file) =
            written(&page.replace("@page { margin: 14mm; }", &format!("@page {{ size: {paper}; margin: 14mm; }}")));
        // The hash of the style no longer matches, so the policy must be removed.
        let free = browser::with_script(&std::fs::read_to_string(&file).unwrap(), "", true);
        std::fs::write(&file, free).unwrap();
        let pdf = folder.path().join("page.pdf");
        browser::pdf(&file, &pdf, &folder.path().join("home"));
        let text = Command::new("pdftotext").arg("-layout").arg(&pdf).arg("-").output().unwrap();
        let text = String::from_utf8_lossy(&text.stdout).into_owned();
        let pages: Vec<&str> = text.split('\u{c}').collect();
        assert!(pages.len() > 3, "{paper}: {} pages", pages.len());
        let whole = |number: u32| {
            let row = |line: &&str| {
                let words: Vec<&str> = line.split_whitespace().collect();
                words.first() == Some(&number.to_string().as_str())
                    && words.contains(&"V")
                    && matches!(words.last(), Some(&"good" | &"bad"))
            };
            pages.iter().flat_map(|page| page.lines()).filter(row).count()
        };
        for number in 1..=READINGS {
            assert_eq!(whole(number), if number == CORRECTED { 2 } else { 1 }, "{paper}: row {number}");
        }
        let tables: Vec<&&str> = pages
            .iter()
            .filter(|p| p.lines().any(|l| l.trim_start().starts_with("No.") && l.contains("Limits")))
            .collect();
        assert!(tables.len() > 1, "{paper}: the table's head is repeated on each of its pages");
    }
}
