//! Freezes the inputs to all calculated minutes and shares: every step's minutes, the costs of set-up, the weights of belief, the fault
//! library. `tests/frozen/inputs.txt` lists each by name, so that a change shows as a line. To change one, write the reason, and the source
//! if there is one, into `tests/frozen/REASONS.md` with the new digest, measure under the old and the new values (`cargo run --release
//! --example frozen`), and only then bless: `PROBESIDE_BLESS=1 cargo test --test frozen`.

use probeside::procedure;
use sha2::{Digest, Sha256};
use std::fs;
use std::path::{Path, PathBuf};

#[path = "support/shipped_files.rs"]
#[allow(dead_code)] // the README is not written here
mod shipped_files;
use shipped_files::{name, root, yaml_in};

/// Files whose constants are costs or weights.
const CONSTANTS: [&str; 4] = [
    "src/diagnose/order/grounds.rs",
    "src/diagnose/order/outlook.rs",
    "src/diagnose/set_up.rs",
    "src/diagnose/weights.rs",
];

fn frozen(file: &str) -> PathBuf {
    root().join("tests/frozen").join(file)
}

fn sha256(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

/// The digest does not depend on how a checkout ends its lines.
fn text_of(path: &Path) -> String {
    fs::read_to_string(path).unwrap_or_else(|why| panic!("{}: {why}", path.display())).replace("\r\n", "\n")
}

/// Every input, a line each.
fn inputs() -> String {
    let mut lines = Vec::new();
    for file in yaml_in("procedures") {
        let all = procedure::load(&file).unwrap_or_else(|wrong| panic!("{}", wrong[0]));
        for step in &all.steps {
            lines.push(format!("{} {} {} min", name(&file), step.id.value, step.minutes));
        }
    }
    for file in CONSTANTS {
        let text = text_of(&root().join(file));
        // A constant ends with its semicolon; rustfmt may have broken it into several lines.
        for part in text.split("const ").skip(1) {
            let (what, _) = part.split_once(';').expect("a constant ends");
            let what: Vec<&str> = what.split_whitespace().collect();
            lines.push(format!("{file} {}", what.join(" ")));
        }
    }
    for file in yaml_in("procedures/faults") {
        lines.push(format!("faults {} sha256 {}", name(&file), sha256(text_of(&file).as_bytes())));
    }
    lines.join("\n") + "\n"
}

#[test]
fn what_minutes_and_shares_are_reckoned_with_is_as_it_was_frozen() {
    let now = inputs();
    assert!(now.lines().count() > 300, "only {} inputs were found", now.lines().count());
    if std::env::var_os("PROBESIDE_BLESS").is_some() {
        fs::write(frozen("inputs.txt"), &now).unwrap();
    }
    let then = text_of(&frozen("inputs.txt"));
    let missing = |from: &str, of: &str, sign: &str| -> Vec<String> {
        from.lines().filter(|line| !of.lines().any(|l| l == *line)).map(|line| format!("{sign} {line}")).collect()
    };
    let changes = [missing(&then, &now, "-"), missing(&now, &then, "+")].concat();
    assert!(
        changes.is_empty(),
        "changed without a reason and a measurement (see this test's head):\n{}",
        changes.join("\n")
    );
    assert_eq!(then, now, "the order of the inputs changed");
    let digest = sha256(now.as_bytes());
    let reasons = text_of(&frozen("REASONS.md"));
    assert!(reasons.contains(&digest), "tests/frozen/REASONS.md has no reason for inputs with the sha256 {digest}");
    let figures = text_of(&frozen("figures.csv"));
    let first = figures.lines().next().unwrap_or_default();
    assert!(
        reasons.contains(first.trim_start_matches("# inputs ")),
        "figures.csv was frozen with other inputs: {first}"
    );
}
