//! A walk as a user types it.

use std::io::Write;
use std::path::PathBuf;
use std::process::{Command, Stdio};

/// The program: of a test the one that was built for it, of an example the one beside it.
pub fn program() -> PathBuf {
    let beside = || {
        let example = std::env::current_exe().expect("a program");
        let built = example.ancestors().nth(2).expect("the folder of what was built").join("probeside");
        assert!(built.exists(), "build the program first: {} is missing", built.display());
        built
    };
    option_env!("CARGO_BIN_EXE_probeside").map_or_else(beside, PathBuf::from)
}

/// `probeside ARGS` with typed answers and printed prompts: exit code, what it said, what it complained of.
pub fn typed(args: &[&str], answers: &str) -> (Option<i32>, String, String) {
    let mut child = Command::new(program())
        .args(args)
        .args(["--hear", "typed", "--say", "printed"])
        .env("PROBESIDE_PROCEDURES", super::stage::procedures())
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the program starts");
    child.stdin.take().expect("a pipe").write_all(answers.as_bytes()).expect("answers go in");
    let out = child.wait_with_output().expect("the program ends");
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (out.status.code(), text(&out.stdout), text(&out.stderr))
}
