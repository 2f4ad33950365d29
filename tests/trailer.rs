//! Another trade from YAML alone: the lights of a trailer, in `procedures/examples/trailer`. The real program checks the folder, proves the
//! procedure against its own fault library, and walks it; none of these is told where the library is.

use probeside::bike::{BikeState, load};
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

#[test]
fn its_own_faults_are_the_suspects_and_its_own_words_are_said() {
    let into = tempfile::tempdir().unwrap();
    let folder = into.path().join("walk");
    let typed = "ready\nready\nready\nready\nanother lamp\n6.2\nwhat is left\n0.0\n";
    let folder = folder.to_string_lossy();
    let walk = [
        "walk",
        "trailer-lights.yaml",
        "--bike",
        "bikes/hogweed-trailer.yaml",
        "--hear",
        "typed",
        "--say",
        "printed",
        "--into",
        &folder,
    ];
    let out = probeside(&walk, typed);
    let said = String::from_utf8_lossy(&out.stdout);
    let errors = String::from_utf8_lossy(&out.stderr);
    assert!(said.contains("Most likely: the ground wire left lamp cluster to the frame is corroded"), "{said}{errors}");
    assert!(said.contains("The ground wire of the left lamp cluster loses volts"), "{said}{errors}");
    assert!(said.contains("Left indicator switch to on."), "{said}");
    for other_trade in ["spark", "points", "coil", "Box-1"] {
        assert!(!said.contains(other_trade), "{other_trade} in:\n{said}");
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
