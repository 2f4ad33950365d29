//! Another trade from YAML alone: the lights of a trailer, in `procedures/examples/trailer`. The real program checks the folder, proves the
//! procedure against its own fault library, and walks it; none of these is told where the library is.

use probeside::bike::{BikeState, load};
use probeside::circuit::faults::Library;
use probeside::circuit::{Alteration, Glow, Model};
use serde_json::Value;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

fn example() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures/examples/trailer")
}

fn probeside(args: &[&str], typed: &str) -> Output {
    let mut child = Command::new(env!("CARGO_BIN_EXE_probeside"))
        .current_dir(example())
        .args(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    child.stdin.take().expect("an input").write_all(typed.as_bytes()).expect("it reads its input");
    child.wait_with_output().expect("it ends")
}

#[test]
fn the_folder_is_sound() {
    let out = probeside(&["check", "."], "");
    let said = String::from_utf8_lossy(&out.stdout);
    assert!(out.status.success() && said.trim() == "6 files: sound", "{said}{}", String::from_utf8_lossy(&out.stderr));
}

#[test]
fn every_fault_that_counts_is_found_with_its_cause() {
    let out = probeside(&["prove", "trailer-lights.yaml", "--bike", "bikes/hogweed-trailer.yaml", "--json"], "");
    let proof: Value = serde_json::from_slice(&out.stdout).expect("a proof as JSON");
    let rate = |name: &str| (proof[name].as_f64().unwrap(), proof["by_likelihood"][name].as_f64().unwrap());
    assert_eq!(rate("detection_rate"), (1.0, 1.0));
    assert_eq!(rate("right_cause_rate"), (1.0, 1.0));
    assert_eq!(rate("false_removal_rate"), (0.0, 0.0));
    assert_eq!(rate("false_alarm_rate"), (0.0, 0.0));
    let found = proof["faults"].as_array().expect("the faults");
    let counting = found.iter().filter(|fault| fault["counts"] == true).count();
    assert_eq!((found.len(), counting), (120, 96));
}

/// What the program says in a typed walk with the trailer, and its errors.
fn walked(procedure: &str, typed: &str) -> (String, String) {
    let into = tempfile::tempdir().unwrap();
    let folder = into.path().join("walk");
    let folder = folder.to_string_lossy();
    let walk = ["--bike", "bikes/hogweed-trailer.yaml", "--hear", "typed", "--say", "printed", "--into", &folder];
    let out = probeside(&[&["walk", procedure][..], &walk].concat(), typed);
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (text(&out.stdout), text(&out.stderr))
}

/// The answers of somebody whose left lamps have lost their ground, up to the first volts; then the question for what is left.
const GROUND_LOST: &str =
    "ready\nready\nready\nready\nanother lamp\nready\nanother lamp\n6.2\nready\n6.2\nwhat is left\n";

#[test]
fn its_own_faults_are_the_suspects_and_its_own_words_are_said() {
    let (said, errors) = walked("trailer-lights.yaml", &format!("{GROUND_LOST}0.0\nbright now\n"));
    assert!(said.contains("Most likely: the ground wire of the left lamp cluster is corroded"), "{said}{errors}");
    assert!(said.contains("The ground wire of the cluster with the left indicator loses volts"), "{said}{errors}");
    assert!(said.contains("Left indicator switch to on."), "{said}");
    assert!(said.contains("Before you leave: Take the jumper off."), "{said}");
    for other_trade in ["spark", "points", "coil", "bike", "Box-1"] {
        assert!(!said.contains(other_trade), "{other_trade} in:\n{said}");
    }
}

#[test]
fn a_procedure_that_covers_nothing_has_no_suspects() {
    let text = std::fs::read_to_string(example().join("trailer-lights.yaml")).unwrap();
    let none =
        text.replacen("\ntools:", "\ncovers: []\ntools:", 1).replace("procedure: trailer-lights", "procedure: none");
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("none.yaml");
    std::fs::write(&file, none).unwrap();
    std::fs::create_dir(folder.path().join("faults")).unwrap();
    std::fs::copy(example().join("faults/trailer.yaml"), folder.path().join("faults/trailer.yaml")).unwrap();
    let (said, errors) = walked(&file.to_string_lossy(), GROUND_LOST);
    assert!(said.contains("On bare metal of the frame: how many volts?"), "{said}{errors}");
    assert!(!said.contains("Most likely"), "{said}");
    assert!(errors.contains("its procedure is there to find none of the faults that are known"), "{errors}");
}

#[test]
fn every_procedure_for_motorcycles_is_refused_in_a_mechanics_words() {
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures");
    let mut refused = 0;
    for file in std::fs::read_dir(shipped).unwrap().map(|entry| entry.unwrap().path()) {
        if file.extension().is_none_or(|extension| extension != "yaml") {
            continue;
        }
        let (said, errors) = walked(&file.to_string_lossy(), "");
        let id = file.file_stem().unwrap().to_string_lossy();
        let why: Vec<&str> = errors.lines().filter_map(|line| line.split("Hogweed Trailer: ").nth(1)).collect();
        assert!(said.is_empty() && !why.is_empty(), "{id}: {said}{errors}");
        for reason in why {
            assert!(reason.starts_with("it has no "), "{id}: {reason}");
        }
        refused += 1;
    }
    assert!(refused >= 19, "{refused}");
    let out = probeside(&["check", "bikes/hogweed-trailer.yaml"], "");
    let said = String::from_utf8_lossy(&out.stdout);
    let yes: Vec<&str> = said.lines().filter(|line| line.ends_with(" yes")).map(str::trim).collect();
    assert_eq!(yes, ["trailer-lights  yes"], "{said}");
}

#[test]
fn faults_and_cures_are_told_in_words() {
    let trailer = load(&example().join("bikes/hogweed-trailer.yaml")).unwrap();
    let ids: Vec<String> = trailer.fault_places().into_iter().filter(|id| id.contains(['-', '.'])).collect();
    let library = Library::load(&example().join("faults/trailer.yaml")).unwrap();
    for fault in library.for_bike(&trailer).unwrap() {
        for text in [&fault.words, &fault.cure] {
            let named: Vec<&String> = ids.iter().filter(|id| text.contains(*id)).collect();
            assert!(named.is_empty() && !text.contains(['_', ':', '@']), "{}: {text}", fault.id);
        }
    }
}

#[test]
fn lamps_without_their_ground_glow_through_each_other() {
    let trailer = load(&example().join("bikes/hogweed-trailer.yaml")).unwrap();
    let on =
        |switch: &str| BikeState { switches: [(switch.to_owned(), "on".to_owned())].into(), ..BikeState::default() };
    let glowing = |model: &Model<'_>, switch: &str| -> Vec<(String, Glow)> {
        model.glows(&on(switch)).unwrap().into_iter().filter(|(_, glow)| *glow != Glow::Dark).collect()
    };
    let lit = |all: &[(&str, Glow)]| -> Vec<(String, Glow)> {
        all.iter().map(|(id, glow)| ((*id).to_owned(), *glow)).collect()
    };
    let sound = Model::new(&trailer);
    assert_eq!(glowing(&sound, "box-1"), lit(&[("left-indicator", Glow::Bright)]));
    assert_eq!(glowing(&sound, "box-6"), lit(&[("left-stop", Glow::Bright), ("right-stop", Glow::Bright)]));
    let floating = sound.altered([Alteration::Open { branch: "left-cluster to frame".to_owned() }]);
    // Three like bulbs in series share twelve volts: the indicator, and both stop lamps on the way to the other cluster's ground.
    let three = lit(&[("left-indicator", Glow::Dim), ("left-stop", Glow::Dim), ("right-stop", Glow::Dim)]);
    assert_eq!(glowing(&floating, "box-1"), three);
}
