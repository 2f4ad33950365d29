//! Output files of commands.

use super::{Bench, walk};
use std::fs;
use std::os::unix::fs::symlink;

/// Every option that names a file to be written, but that of prompts.
fn writers<'a>(session: &'a str, file: &'a str) -> Vec<Vec<&'a str>> {
    vec![
        vec!["review", session, "--html", file],
        vec!["review", session, "--customer", file],
        vec!["review", session, "--csv", file],
        vec!["review", session, "--vtt", file],
        vec!["draw", "prove-lamp", "--svg", file],
        vec!["prove", "prove-lamp", "--bike", "borage-twin", "--csv", file],
    ]
}

#[test]
fn nothing_that_is_there_is_lost() {
    let bench = Bench::new();
    let session = bench.session("s");
    fs::copy(session.join("journal.jsonl"), bench.path("journal copy")).unwrap();
    bench.put("recording.wav", b"RIFF....WAVE somebody's voice");
    bench.put("table.csv", b"part,price\r\npoints,12\r\n");
    bench.put(
        "page.html",
        b"<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<title>Ours</title>",
    );
    bench.put(
        "picture.svg",
        b"<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 1 1\"/>",
    );
    bench.put("film.vtt", b"WEBVTT\n\n00:00.000 --> 00:01.000\nSomebody else's words\n");
    fs::create_dir(bench.path("folder")).unwrap();
    bench.pipe("pipe");
    bench.put("precious", b"");
    symlink(bench.path("precious"), bench.path("link")).unwrap();
    symlink(bench.path("not yet there"), bench.path("loose link")).unwrap();
    fs::hard_link(session.join("journal.jsonl"), bench.path("other name")).unwrap();
    let before = bench.picture();
    let there = [
        ("journal copy", "is there already"),
        ("recording.wav", "is there already"),
        ("table.csv", "is there already"),
        ("page.html", "is there already"),
        ("picture.svg", "is there already"),
        ("film.vtt", "is there already"),
        ("folder", "is a folder, not a plain file"),
        ("pipe", "is a pipe, not a plain file"),
        ("/dev/null", "is a device, not a plain file"),
        ("link", "is a link, not a plain file"),
        ("loose link", "is a link, not a plain file"),
        ("s/journal.jsonl", "nothing but its record is kept"),
        ("s/new", "nothing but its record is kept"),
        ("s/procedure/new", "nothing but its record is kept"),
        ("no folder/new", "cannot be written"),
    ];
    for (file, why) in there {
        for arguments in writers("s", file) {
            let did = bench.run(&arguments);
            assert!(did.code == Some(1) && did.said.contains(why), "{arguments:?}: {:?} {}", did.code, did.said);
            assert!(did.said.contains("give another file"), "{}", did.said);
        }
    }
    // The session's own journal under another name is an input of the review, and somebody else's file to the rest.
    for arguments in writers("s", "other name") {
        let did = bench.run(&arguments);
        let wanted = if arguments[0] == "review" {
            (Some(2), "is what this command reads")
        } else {
            (Some(1), "is there already")
        };
        assert!(
            (did.code, did.said.contains(wanted.1)) == (wanted.0, true),
            "{arguments:?}: {:?} {}",
            did.code,
            did.said
        );
    }
    assert_eq!(bench.picture(), before, "nothing was changed, and nothing is left beside it");
}

#[test]
fn own_files_are_made_and_replaced_and_keep_who_may_read_them() {
    use std::os::unix::fs::PermissionsExt;
    let bench = Bench::new();
    bench.session("s");
    let first: Vec<String> = (0..writers("", "").len()).map(|n| format!("made {n}")).collect();
    for round in ["wrote", "replaced"] {
        for (n, file) in first.iter().enumerate() {
            let arguments = writers("s", file)[n].clone();
            let did = bench.run_with("umask 022;", "", &arguments);
            assert!(did.said.contains(&format!("{round} {file}")), "{arguments:?}: {:?} {}", did.code, did.said);
            let mode = fs::metadata(bench.path(file)).unwrap().permissions().mode() & 0o777;
            assert_eq!(mode, if round == "wrote" { 0o644 } else { 0o640 }, "{file}");
            fs::set_permissions(bench.path(file), fs::Permissions::from_mode(0o640)).unwrap();
        }
    }
    // The reviewer's page and the customer's are both pages; no other two take each other's place.
    for (n, file) in first.iter().enumerate() {
        for (other, arguments) in writers("s", file).iter().enumerate() {
            let same = n == other || (n < 2 && other < 2);
            assert_eq!(
                bench.run(arguments).said.contains("replaced "),
                same,
                "{arguments:?} over {:?}",
                writers("s", "")[n]
            );
        }
    }
    // An empty file holds nothing that could be lost.
    bench.put("empty", b"");
    assert!(bench.run(&["draw", "prove-lamp", "--svg", "empty"]).said.contains("replaced empty"));
    // Standard output stays what it was.
    let did = bench.run(&["draw", "prove-lamp", "--svg", "-"]);
    assert!(did.code == Some(0) && did.out.starts_with("<?xml"));
}

/// What lies under the name that the half-written file once had is nobody's business.
#[test]
fn no_link_beside_it_is_followed() {
    let bench = Bench::new();
    bench.session("s");
    bench.put("precious", b"kept");
    for arguments in writers("s", "new") {
        let part = bench.path("new.part");
        symlink(bench.path("precious"), &part).unwrap();
        let did = bench.run(&arguments);
        assert!(did.said.contains("wrote new"), "{arguments:?} {}", did.said);
        assert_eq!(fs::read(bench.path("precious")).unwrap(), b"kept", "{arguments:?}");
        assert!(fs::symlink_metadata(&part).unwrap().is_symlink());
        fs::remove_file(part).unwrap();
        fs::remove_file(bench.path("new")).unwrap();
    }
}

/// On a disk that takes no more the older file stays, and nothing half-written lies beside it. The limit of a file's size stands in for the
/// disk: a shell's `ulimit -f 1` lets files have 512 or 1,024 bytes.
#[test]
fn what_does_not_go_on_the_disk_changes_nothing() {
    let bench = Bench::new();
    bench.session("s");
    assert_eq!(bench.run(&["review", "s", "--html", "page"]).code, Some(0));
    let before = bench.picture();
    for file in ["page", "new page"] {
        let did = bench.run_with("trap '' XFSZ; ulimit -f 1;", "", &["review", "s", "--html", file]);
        assert!(did.code == Some(1) && did.said.contains("cannot be written"), "{:?} {}", did.code, did.said);
        assert_eq!(bench.picture(), before);
    }
}

#[test]
fn an_input_is_no_output() {
    let bench = Bench::new();
    // A procedure's file has its name.
    fs::copy(concat!(env!("CARGO_MANIFEST_DIR"), "/procedures/prove-lamp.yaml"), bench.path("prove-lamp.yaml"))
        .unwrap();
    fs::create_dir(bench.path("link")).unwrap();
    symlink("../prove-lamp.yaml", bench.path("link/prove-lamp.yaml")).unwrap();
    let before = bench.picture();
    for (procedure, picture) in [
        ("./prove-lamp.yaml", "prove-lamp.yaml"),
        ("prove-lamp.yaml", "./link/../prove-lamp.yaml"),
        ("link/prove-lamp.yaml", "prove-lamp.yaml"),
    ] {
        let did = bench.run(&["draw", procedure, "--svg", picture]);
        assert!(did.code == Some(2) && did.said.contains("is what this command reads"), "{:?} {}", did.code, did.said);
    }
    assert_eq!(bench.picture(), before);
}

#[test]
fn prompts_take_nothings_place() {
    let bench = Bench::new();
    bench.put("answers.wav", b"RIFF....WAVE somebody's voice");
    bench.put("music.wav", b"RIFF....WAVE somebody's music");
    bench.put("empty.wav", b"");
    symlink("music.wav", bench.path("link.wav")).unwrap();
    symlink("nowhere.wav", bench.path("loose.wav")).unwrap();
    fs::hard_link(bench.path("answers.wav"), bench.path("other name.wav")).unwrap();
    bench.pipe("pipe.wav");
    let old = bench.session("old");
    let before = bench.picture();
    for (say, code, why) in [
        ("answers.wav", 2, "is what this command reads"),
        ("./answers.wav", 2, "is what this command reads"),
        ("other name.wav", 2, "is what this command reads"),
        ("music.wav", 1, "is there already"),
        ("empty.wav", 1, "is there already"),
        ("link.wav", 1, "is a link"),
        ("loose.wav", 1, "is a link"),
        ("pipe.wav", 1, "is a pipe"),
        ("old/said.wav", 1, "nothing but its record is kept"),
        ("new/said.wav", 1, "nothing but its record is kept"),
    ] {
        let begin =
            ["walk", "prove-lamp", "--bike", "borage-twin", "--hear", "answers.wav", "--say", say, "--into", "new"];
        let resume = ["walk", "--resume", "old", "--hear", "answers.wav", "--say", say];
        for arguments in [&begin[..], &resume[..]] {
            if say == "new/said.wav" && arguments[1] == "--resume" {
                continue;
            }
            let did = bench.run(arguments);
            assert!(did.code == Some(code) && did.said.contains(why), "{arguments:?}: {:?} {}", did.code, did.said);
        }
    }
    let did = bench.run(&["demo", "--say", "music.wav", "--into", "new"]);
    if super::hears() {
        assert!(did.code == Some(1) && did.said.contains("is there already"), "{:?} {}", did.code, did.said);
    }
    assert_eq!(bench.picture(), before, "no session was begun either");
    drop(old);
    // A new name is written, and can be played.
    let did = bench.run_with("", "ready\n", &walk(&["--into", "new", "--say", "said.wav"]));
    if did.code == Some(3) {
        assert!(std::env::var_os("PROBESIDE_MUST").is_none(), "{}", did.said);
        return eprintln!("left out: {}", did.said);
    }
    assert!(probeside::hear::read_wav(&bench.path("said.wav")).unwrap().len() > 16_000, "{}", did.said);
}
