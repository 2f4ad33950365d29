//! The shipped fault library: unaltered since it was written, complete, and expanded over every shipped bike.

use probeside::bike::{self, Bike};
use probeside::circuit::faults::Library;
use sha2::{Digest, Sha256};
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

fn procedures() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures")
}

fn library() -> Library {
    let file = procedures().join("faults/ignition.yaml");
    Library::load(&file).unwrap_or_else(|wrong| panic!("{}", wrong[0]))
}

fn bikes() -> Vec<Bike> {
    let mut files: Vec<PathBuf> =
        std::fs::read_dir(procedures().join("bikes")).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    files.iter().map(|file| bike::load(file).unwrap_or_else(|wrong| panic!("{}", wrong[0]))).collect()
}

#[test]
fn library_is_the_one_that_was_hashed_before_any_tuning() {
    let bytes = std::fs::read(procedures().join("faults/ignition.yaml")).unwrap();
    let text = String::from_utf8(bytes).unwrap().replace("\r\n", "\n");
    let digest: String = Sha256::digest(text.as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect();
    let kept = include_str!("faults.sha256");
    assert!(kept.starts_with(&digest), "the library was changed: its sha256 is now {digest}");
}

#[test]
fn every_bike_has_faults_of_every_kind_the_job_names() {
    let library = library();
    assert!(library.outside.iter().any(|text| text.contains("comes and goes")));
    for bike in bikes().into_iter().filter(|bike| bike.battery.is_some()) {
        let faults = library.for_bike(&bike).unwrap_or_else(|wrong| panic!("{}", wrong[0]));
        let ids: BTreeSet<&str> = faults.iter().map(|fault| fault.id.as_str()).collect();
        assert_eq!(ids.len(), faults.len(), "{}: an id stands for two faults", bike.name);
        println!("{}: {} faults, {} of them count", bike.name, ids.len(), faults.iter().filter(|f| f.counts).count());
        let has = |kind: &str, at_least: usize| {
            let count =
                faults.iter().filter(|fault| fault.kind == kind).map(|fault| &fault.place).collect::<BTreeSet<_>>();
            assert!(count.len() >= at_least, "{}: {kind} at {count:?}", bike.name);
        };
        let (sets, coils, plugs) = (bike.points.len(), bike.coils.len(), bike.plugs.len());
        for kind in ["points-oily", "points-burnt", "points-welded", "points-closed-up", "points-never-close"] {
            has(kind, sets);
        }
        for kind in
            ["coil-primary-open", "coil-primary-turns", "coil-secondary-open", "coil-reversed", "coil-wrong-voltage"]
        {
            has(kind, coils);
        }
        for kind in
            ["condenser-open", "condenser-shorted", "condenser-leaky", "condenser-lead-off", "condenser-ground-off"]
        {
            has(kind, bike.condensers.len());
        }
        for kind in ["lead-open", "lead-loose", "cap-open", "tracking-lead", "plug-fouled"] {
            has(kind, plugs);
        }
        for kind in [
            "battery-discharged",
            "battery-sulphated",
            "key-open",
            "key-resistive",
            "cam-sheared-open",
            "advancer-stuck",
        ] {
            has(kind, 1);
        }
        has("battery-terminal-open", 2);
        has("points-wire-grounded", 2 * sets);
        has("feed-wire-grounded", bike.feed(&bike.coils[0].id).len().saturating_sub(1).min(3));
        if bike.switch("kill").is_some() {
            assert!(faults.iter().any(|fault| fault.kind.starts_with("kill-") && fault.counts));
        }
        for fault in &faults {
            assert!(fault.likelihood > 0.0 && !fault.words.contains("  "), "{}: `{}`", fault.id, fault.words);
        }
    }
}

#[test]
fn a_short_after_the_fuse_has_blown_it_and_a_shorted_points_wire_has_not() {
    let library = library();
    for bike in bikes().into_iter().filter(|bike| bike.fuse.is_some()) {
        let faults = library.for_bike(&bike).unwrap();
        for fault in &faults {
            let blown = fault.looks.iter().any(|shown| shown.look == "fuse" && shown.is == "blown");
            match fault.kind.as_str() {
                // A ballast keeps the current below what blows the fuse, and gets hot.
                "feed-wire-grounded"
                    if fault.place.starts_with("ballast.load")
                        || fault.place.starts_with("coil-feed.load-side") && bike.part("ballast").is_some() =>
                {
                    assert!(!blown, "{}", fault.id)
                }
                "feed-wire-grounded" | "fuse-blown" => assert!(blown, "{}", fault.id),
                // The coil is bridged and the points close: the whole battery goes to ground.
                "points-wire-to-feed" if bike.part("ballast").is_none() => assert!(blown, "{}", fault.id),
                "points-wire-to-feed" => {}
                _ => assert!(!blown, "{}", fault.id),
            }
        }
    }
}

#[test]
fn a_wrong_library_is_told_where_it_is_wrong() {
    let file = std::fs::read_to_string(procedures().join("faults/ignition.yaml")).unwrap();
    let told = |from: &str, to: &str| {
        assert!(file.contains(from), "{from}");
        let text = file.replacen(from, to, 1);
        match Library::parse(&text, "f.yaml") {
            Err(wrong) => wrong[0].to_string(),
            Ok(library) => library.for_bike(&bikes()[0]).unwrap_err()[0].to_string(),
        }
    };
    assert!(told("alter: [{open: \"{{ bike.battery }}\"}]", "alter: [{opens: battery}]").contains("[missing-field]"));
    assert!(told("alter: [{open: \"{{ bike.battery }}\"}]", "alter: [{open: batery}]").contains("no branch `batery`"));
    assert!(
        told("{set: \"{{ bike.battery }}\", value: charge,", "{set: batery, value: charge,")
            .contains("no part `batery`")
    );
    assert!(
        told("{set: \"{{ bike.battery }}\", value: charge,", "{set: battery, value: charg,")
            .contains("no value of a part `charg`")
    );
    assert!(told("parts: [\"{{ bike.key }}\"]", "parts: [kee]").contains("the part `kee`"));
    assert!(told("look: cam,", "look: camm,").contains("Did you mean `cam`?"));
    assert!(told("to: \"1.0 - severity\"", "to: \"1.0 - severitty\"").contains("severitty"));
    assert!(told("is: blown", "is: whole").contains("healthy"));
}
