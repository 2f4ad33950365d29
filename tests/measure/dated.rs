//! Records the results of measurements, one dated line each.

use std::io::Write;
use std::path::Path;
use std::process::Command;

/// Appends a line to `tests/measure/RESULTS.md`: the day, the commit, the command, the result.
pub fn line(command: &str, what: &str) {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let git = Command::new("git").args(["rev-parse", "--short", "HEAD"]).current_dir(root).output();
    let commit = git.map_or_else(|_| String::new(), |out| String::from_utf8_lossy(&out.stdout).trim().to_owned());
    let now = probeside::session::Clock::start().now().wall;
    let day = now.get(.."2026-11-25".len()).unwrap_or_default();
    let file = root.join("tests/measure/RESULTS.md");
    let new = !file.exists();
    let mut file = std::fs::OpenOptions::new().create(true).append(true).open(file).expect("the results are written");
    let head = if new { "# Results of measurements, a line each\n\n" } else { "" };
    writeln!(file, "{head}- {day}, commit {commit}, `--example {command}`: {what}").expect("the results are written");
}
