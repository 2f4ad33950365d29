//! A walk as a user types it.

use std::io::Write;
use std::process::{Command, Stdio};

/// `probeside ARGS` with typed answers and printed prompts: exit code, what it said, what it complained of.
pub fn typed(args: &[&str], answers: &str) -> (Option<i32>, String, String) {
    let mut child = Command::new(env!("CARGO_BIN_EXE_probeside"))
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
