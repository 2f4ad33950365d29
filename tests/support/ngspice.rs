//! Runs the reference program.

use std::collections::BTreeMap;
use std::process::Command;

/// Runs ngspice on a deck. `None` if it is not installed and may be missing.
pub fn ngspice(deck: &str) -> Option<String> {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("deck.cir");
    std::fs::write(&file, deck).unwrap();
    match Command::new("ngspice").arg("-b").arg(&file).output() {
        Ok(out) => Some(String::from_utf8_lossy(&out.stdout).into_owned() + &String::from_utf8_lossy(&out.stderr)),
        Err(error) if std::env::var("PROBESIDE_MUST").as_deref() == Ok("1") => {
            panic!("ngspice does not start ({error}); apt install ngspice")
        }
        Err(_) => {
            println!("ngspice is not installed: nothing was compared; `apt install ngspice` mends it");
            None
        }
    }
}

/// `name = value` lines of ngspice.
pub fn values(text: &str) -> BTreeMap<String, f64> {
    let pair = |line: &str| {
        let (name, value) = line.split_once('=')?;
        Some((name.trim().to_owned(), value.split_whitespace().next()?.parse().ok()?))
    };
    text.lines().filter_map(pair).collect()
}
