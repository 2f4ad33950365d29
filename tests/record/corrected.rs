//! A corrected reading counts once in everything derived from a record. Readings are corrected by "correct that" at once, twice, and after
//! going back.

use crate::support::typed_round::{CONCLUSION, Round};
use probeside::review::{Review, csv, customer, gather, page, text};
use probeside::session::Folder;
use std::collections::BTreeMap;
use std::path::Path;

/// The record of a walk in which, when a step is asked for the first time, something else is said first.
fn walked(instead: &[(&str, &[&str])], answers: &[(&str, &[&str])]) -> (tempfile::TempDir, Review) {
    let round = Round::new();
    let folder = tempfile::tempdir().expect("a folder");
    let lines = round.answers(instead, answers);
    round.walk(&folder.path().join("session"), &lines);
    let review = gather(&mut Folder::at(folder.path().join("session"))).expect("a record");
    assert_eq!(review.conclusion.as_ref().map(|c| c.id.as_str()), Some(CONCLUSION), "{lines}");
    (folder, review)
}

/// Exactly these readings count, and each was read so many times.
fn counts(folder: &Path, review: &Review, expected: &[(&str, f64, usize)]) {
    let mut read: BTreeMap<&str, Vec<_>> = BTreeMap::new();
    for reading in &review.readings {
        read.entry(&reading.name).or_default().push(reading);
    }
    assert_eq!(read.len(), expected.len());
    for (name, value, times) in expected {
        let of = &read[name];
        let effective: Vec<f64> = of.iter().filter(|r| r.effective).filter_map(|r| r.value).collect();
        assert_eq!((effective, of.len()), (vec![*value], *times), "{name}: {of:#?}");
        let last = of.last().expect("a reading");
        assert!(last.effective && last.amended_by.is_none(), "the last one counts: {last:?}");
        assert!(of.iter().filter(|r| !r.effective).all(|r| r.amended_by == Some(last.number)), "{name}: {of:#?}");
        assert!(of.iter().skip(1).all(|r| r.amends.is_some()), "{name}: {of:#?}");
    }
    // Review for the terminal, table, JSON.
    let corrected = review.readings.len() - expected.len();
    let shown = text(review).split_whitespace().collect::<Vec<_>>().join(" ");
    let said = shown.matches("; corrected later").count() + shown.matches("; amended by reading").count();
    assert_eq!(said, corrected, "{shown}");
    let rows: Vec<String> = csv(review).lines().skip(1).map(str::to_owned).collect();
    // The last two columns: whether it counts, and whether it is only told.
    assert_eq!(rows.iter().filter(|row| row.ends_with(",true,false")).count(), expected.len(), "{rows:#?}");
    assert_eq!(rows.len(), review.readings.len());
    let json = serde_json::to_value(review).expect("JSON");
    let effective = json["readings"].as_array().expect("readings").iter().filter(|r| r["effective"] == true).count();
    assert_eq!(effective, expected.len());
    // The pages: nothing was measured before and after a repair.
    let sheet = customer(review).expect("a page");
    assert!(sheet.contains("No check was made twice"), "{sheet}");
    assert!(sheet.contains(&format!("{} readings taken", expected.len())), "{sheet}");
    let page = page(review, &mut Folder::at(folder.join("session"))).expect("a page");
    assert_eq!(page.matches("class=\"old\"").count(), corrected);
    archived(folder, expected);
}

#[cfg(not(feature = "shop"))]
fn archived(_: &Path, _: &[(&str, f64, usize)]) {}

/// What the archive says of the record.
#[cfg(feature = "shop")]
fn archived(folder: &Path, expected: &[(&str, f64, usize)]) {
    let shop = |arguments: &[&str]| {
        let out = std::process::Command::new(crate::support::typed::program())
            .arg("shop")
            .args(arguments)
            .env("PROBESIDE_ARCHIVE", folder.join("archive.db"))
            .output()
            .expect("the program starts");
        assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
        String::from_utf8(out.stdout).expect("text")
    };
    let json = |arguments: &[&str]| serde_json::from_str::<serde_json::Value>(&shop(arguments)).expect("JSON");
    shop(&["add", folder.join("session").to_str().expect("a path")]);
    let found = json(&["find", "--json"]);
    assert_eq!(found["sessions"][0]["readings"], expected.len());
    let id = found["sessions"][0]["mark"].as_str().expect("a mark").to_owned();
    let review = &json(&["show", "--json", &id])["review"];
    let effective = review["readings"].as_array().expect("readings").iter().filter(|r| r["effective"] == true).count();
    assert_eq!(effective, expected.len());
    let bike = shop(&["show", "--bike", "borage twin"]);
    assert!(!bike.contains(", after "), "{bike}");
}

const ANSWERS: &[(&str, &[&str])] = &[
    ("touch", &["lit"]),
    ("rest", &["twelve point six"]),
    ("load", &["twelve point one"]),
    ("drop", &["one point four"]),
];

#[test]
fn corrected_at_once() {
    let (folder, review) = walked(&[("drop", &["correct that", "twelve point six"])], ANSWERS);
    counts(folder.path(), &review, &[("rest_voltage", 12.6, 1), ("load_voltage", 12.6, 2), ("wire_drop", 1.4, 1)]);
}

#[test]
fn corrected_twice() {
    let twice: &[&str] = &["correct that", "twelve point six", "correct that", "twelve point four"];
    let (folder, review) = walked(&[("drop", twice)], ANSWERS);
    counts(folder.path(), &review, &[("rest_voltage", 12.6, 1), ("load_voltage", 12.4, 3), ("wire_drop", 1.4, 1)]);
}

/// Back to a check and answered anew; back over two of them, both asked again.
#[test]
fn gone_back_and_read_anew() {
    let answers: &[(&str, &[&str])] =
        &[ANSWERS[0], ANSWERS[1], ("load", &["twelve point one", "twelve point six"]), ANSWERS[3]];
    let (folder, review) = walked(&[("drop", &["go back"])], answers);
    counts(folder.path(), &review, &[("rest_voltage", 12.6, 1), ("load_voltage", 12.6, 2), ("wire_drop", 1.4, 1)]);

    let answers: &[(&str, &[&str])] = &[
        ANSWERS[0],
        ("rest", &["twelve point six", "twelve point five"]),
        ("load", &["twelve point one", "twelve point two"]),
        ANSWERS[3],
    ];
    let (folder, review) = walked(&[("drop", &["go back", "go back"])], answers);
    counts(folder.path(), &review, &[("rest_voltage", 12.5, 2), ("load_voltage", 12.2, 2), ("wire_drop", 1.4, 1)]);
}

/// Back to a check, "correct that" there, which amends the reading before it, and the check answered anew and corrected again.
#[test]
fn corrected_after_going_back() {
    let round = Round::new();
    let folder = tempfile::tempdir().expect("a folder");
    let instead: &[(&str, &[&str])] = &[("drop", &["go back", "correct that", "twelve point four"])];
    let answers: &[(&str, &[&str])] =
        &[ANSWERS[0], ANSWERS[1], ("load", &["twelve point one", "twelve point six"]), ANSWERS[3]];
    let lines = round.answers(instead, answers);
    round.walk(&folder.path().join("session"), &lines);
    let review = gather(&mut Folder::at(folder.path().join("session"))).expect("a record");
    let counting = |name: &str| review.readings.iter().filter(|r| r.name == name && r.effective).count();
    let told: Vec<_> = review.readings.iter().map(|r| (&r.name, r.number, r.value, r.amends, r.effective)).collect();
    for name in ["rest_voltage", "load_voltage", "wire_drop"] {
        assert_eq!(counting(name), 1, "{lines}{told:#?}");
        assert!(review.readings.iter().rfind(|r| r.name == name).is_some_and(|r| r.effective), "{told:#?}");
    }
    assert!(review.readings.len() > 4, "{told:#?}");
}
