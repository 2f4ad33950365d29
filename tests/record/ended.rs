//! What `verify`, `review` and `walk --resume` say about a session killed at its very end, and what `verify` says it cannot prove.

use crate::support::typed::program;
use crate::support::typed_round::{ANSWERS, Round};
use probeside::session::{DIGEST_FILE, JOURNAL_FILE};
use std::path::Path;
use std::process::Command;

/// The record of a whole walk.
fn walked() -> tempfile::TempDir {
    let (round, folder) = (Round::new(), tempfile::tempdir().expect("a folder"));
    round.walk(&folder.path().join("session"), &round.answers(&[], &ANSWERS));
    folder
}

/// `probeside ARGUMENTS SESSION MORE`, what is after "SESSION" among the arguments being more: exit code, what it said, what it complained
/// of.
fn asked(arguments: &[&str], session: &Path) -> (Option<i32>, String, String) {
    let mut parts = arguments.split(|argument| *argument == "SESSION");
    let (before, after) = (parts.next().unwrap_or_default(), parts.next().unwrap_or_default());
    let out = Command::new(program()).args(before).arg(session).args(after).output().expect("the program starts");
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).split_whitespace().collect::<Vec<_>>().join(" ");
    (out.status.code(), text(&out.stdout), text(&out.stderr))
}

/// Cuts so many lines off the end.
fn cut(session: &Path, lines: usize) {
    let file = session.join(JOURNAL_FILE);
    let all = std::fs::read_to_string(&file).expect("a journal");
    let all: Vec<&str> = all.split_inclusive('\n').collect();
    std::fs::write(&file, all[..all.len() - lines].concat()).expect("a journal");
}

#[test]
fn a_walk_killed_before_its_digest_is_ended_by_resuming_it() {
    // Killed between the last line and its digest, and between the conclusion and the last line.
    for lines in [0, 1] {
        let folder = walked();
        let session = folder.path().join("session");
        std::fs::remove_file(session.join(DIGEST_FILE)).expect("a digest");
        cut(&session, lines);
        let (code, said, _) = asked(&["verify"], &session);
        match lines {
            0 => assert!(code == Some(1) && said.contains("digest missing") && !said.contains("Whole"), "{said}"),
            _ => assert!(code == Some(0) && said.contains("Not ended") && !said.contains("Whole"), "{said}"),
        }
        let (_, _, told) = asked(&["review"], &session);
        assert!(told.contains("probeside walk --resume"), "{told}");
        let (code, said, why) = asked(&["walk", "--say", "printed", "--resume"], &session);
        assert!(code == Some(0) && why.contains("had come to its end") && said.contains("check number"), "{said}{why}");
        let (code, said, _) = asked(&["verify"], &session);
        assert!(code == Some(0) && said.contains("Whole:"), "{said}");
        let (_, said, told) = asked(&["review"], &session);
        assert!(!told.contains("--resume") && said.contains("ended"), "{told}{said}");
        let (code, _, why) = asked(&["walk", "--resume"], &session);
        assert!(code == Some(1) && why.contains("this walk is over"), "{why}");
        #[cfg(feature = "shop")]
        {
            let at = folder.path().join("archive.db");
            let (code, said, why) = asked(&["shop", "--archive", at.to_str().expect("a path"), "add"], &session);
            assert!(code == Some(0) && !said.contains("NOT VERIFIED"), "{said}{why}");
        }
    }
}

#[test]
fn verify_says_what_it_cannot_prove() {
    let folder = walked();
    let session = folder.path().join("session");
    let (code, said, _) = asked(&["verify"], &session);
    assert!(code == Some(0) && said.contains("Whole:") && said.contains("looks the same"), "{said}");
    let json: serde_json::Value = serde_json::from_str(&asked(&["verify", "--json"], &session).1).expect("JSON");
    assert!(json["sound"] == true && json["ended"] == true, "{json}");
    let digest = json["digest"]["short"].as_str().expect("digits").to_owned();
    let (code, said, _) = asked(&["verify", "--digest", &digest], &session);
    assert!(
        code == Some(0) && said.contains("nothing is altered or missing") && !said.contains("looks the same"),
        "{said}"
    );
    // Cut between two lines, the digest taken away: not called whole, not called forged, and found by the digest on paper.
    std::fs::remove_file(session.join(DIGEST_FILE)).expect("a digest");
    cut(&session, 5);
    let (code, said, _) = asked(&["verify"], &session);
    assert!(code == Some(0) && said.contains("Not ended:") && said.contains("look the same"), "{said}");
    assert!(!said.contains("Whole") && !said.contains("FAULT"), "{said}");
    let (code, said, _) = asked(&["verify", "--digest", &digest], &session);
    assert!(code == Some(1) && said.contains("FAULT"), "{said}");
    let (_, help, _) = asked(&["verify"], Path::new("--help"));
    assert!(help.contains("cannot be found without the digest on paper"), "{help}");
}

/// With the digest beside it, a journal that was cut is refused as it is.
#[test]
fn a_cut_journal_is_refused_where_its_digest_is_there() {
    let folder = walked();
    let session = folder.path().join("session");
    cut(&session, 3);
    let before = std::fs::read(session.join(JOURNAL_FILE)).expect("a journal");
    for arguments in [&["walk", "--say", "printed", "--resume"][..], &["amend", "SESSION", "--by", "Ada", "a remark"]] {
        let (code, _, why) = asked(arguments, &session);
        assert!(
            code == Some(1) && why.contains("it is missing, or damaged") && why.contains("nothing was changed"),
            "{why}"
        );
        assert_eq!(std::fs::read(session.join(JOURNAL_FILE)).expect("a journal"), before);
    }
}
